"""A weight as it was written, and what may have been meant instead: another unit, another digit."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass

from geoprune.units import SUFFIXES

#: Share of lines, in a hundred, on which each slip is made. Design choices: people who type numbers err on a few lines in a
#: hundred (from memory), and no study of weighing lists was read. Odds given are in proportion to them.
PRIOR = {"unit": 0.5, "decimal": 0.4, "transposed": 0.3, "doubled": 0.1, "misread": 0.2, "together": 0.3, "swapped": 0.3}
#: Digits that are taken for each other in handwriting (common practice, no source).
ALIKE = {"1": "7", "7": "1", "0": "6", "6": "0", "3": "8", "8": "3", "4": "9", "9": "4"}
#: What a vine can give, kg; a meaning beyond is none (`reading.samples` refuses it).
POSSIBLE_KG = (0.002, 12.0)
NUMBER = re.compile(r"\d*\.?\d+|\d+\.")


@dataclass(frozen=True)
class Meaning:
    """What may have been meant: kind of slip, its factor on the weight, its share of all lines, and what it was written in
    ("kg") or should read ("1.8"). `factor` turns the weight as written into the weight meant."""

    kind: str
    factor: float
    prior: float
    meant: str


def other_meanings(text: str, unit: str, *, together: tuple[int, ...] = ()) -> list[Meaning]:
    """What a weight may mean other than what is written.

    Parameters
    ----------
    text : str
        The number as written, with a decimal point.
    unit : str
        Unit of the column: kg, g, lb or oz.
    together : tuple of int
        Numbers of vines that other lines say were weighed together.

    Examples
    --------
    >>> [(m.kind, m.meant) for m in other_meanings("81", "lb")][3:6]
    [('decimal', '8.1'), ('decimal', '0.81'), ('transposed', '18')]
    """
    value = float(text) if NUMBER.fullmatch(text) else float("nan")
    if not value > 0:
        return []
    sizes = SUFFIXES["weight"]
    found = {"unit": [(sizes[other] / sizes[unit], other) for other in sizes if other != unit]}
    digits = {
        "decimal": _shifted(text),
        "transposed": _transposed(text),
        "doubled": _undoubled(text),
        "misread": _misread(text),
    }
    for kind, texts in digits.items():
        read = [(float(other) / value, other) for other in dict.fromkeys(texts)]
        found[kind] = [(factor, other) for factor, other in read if factor > 0 and factor != 1.0]
    found["together"] = [(1.0 / count, str(count)) for count in together]
    return [
        Meaning(kind, factor, PRIOR[kind] / 100 * (_unit_share(unit, meant) if kind == "unit" else 1 / len(options)), meant)
        for kind, options in found.items()
        for factor, meant in options
    ]


def _unit_share(unit: str, other: str) -> float:
    """Share of the unit slips of a column that are of another unit: kg and lb are exchanged most, by one button of a scale
    (design choice)."""
    return 0.6 if {unit, other} == {"kg", "lb"} else 0.2 if unit in ("kg", "lb") else 1 / 3


def decimals(text: str) -> int:
    """Digits after the decimal mark of a number as written."""
    return len(text.partition(".")[2])


def _shifted(text: str) -> list[str]:
    """The decimal mark one or two places to the left, or to the right."""
    value = float(text)
    digits = len(text.partition(".")[2])
    left = [f"{value / ten:.{digits + places}f}" for places, ten in ((1, 10), (2, 100))]
    right = [f"{value * ten:.{max(digits - places, 0)}f}" for places, ten in ((1, 10), (2, 100))]
    return [*left, *(right if "." in text or value < 1 else right[:1])]


def _transposed(text: str) -> list[str]:
    """Two neighbouring digits exchanged, the decimal mark in its place."""
    places = [k for k, sign in enumerate(text) if sign.isdigit()]
    found = []
    for one, other in itertools.pairwise(places):
        signs = list(text)
        signs[one], signs[other] = signs[other], signs[one]
        found.append("".join(signs))
    return [other for other in found if _is_written(other)]


def _undoubled(text: str) -> list[str]:
    """A digit typed twice left out once."""
    return [text[:k] + text[k + 1 :] for k in range(1, len(text)) if text[k] == text[k - 1] and text[k].isdigit()]


def _misread(text: str) -> list[str]:
    """The first digit taken for one that looks alike."""
    other = ALIKE.get(text[0], "") + text[1:]
    return [other] if text[0] in ALIKE and _is_written(other) else []


def _is_written(text: str) -> bool:
    """Whether a number is one that people write: no nought before another digit."""
    return not re.match(r"0\d", text)
