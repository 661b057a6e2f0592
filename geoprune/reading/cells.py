"""Cells that hold more than a number: a unit behind each, or degrees with minutes and seconds. Read only where all agree."""

from __future__ import annotations

import re
from collections.abc import Sequence

from geoprune.reading.headers import unit_of

NUMBER_AND_UNIT = re.compile(r"([+-]?\d[\d.,]*)\s*([^\W\d_]{1,12})\.?")
LAST_WORD = re.compile(r"\d\s*([^\W\d_]{1,12}|['′’])\.?\s*$")
#: 33° 7' 12.5" S, 33°07,2'S, W 79 33 12: the letter may stand before. O is left out: it is east in German, west in Spanish.
DEGREES = re.compile(
    r"(?P<before>[NSEW])?\s*(?P<sign>[+-])?(?P<degrees>\d{1,3})\s*(?:°|º|deg|\s)\s*(?:(?P<minutes>\d{1,2}(?:[.,]\d+)?)\s*(?:['′’]|\s|$)\s*)"
    r"(?:(?P<seconds>\d{1,2}(?:[.,]\d+)?)\s*(?:[\"″”]|''|’’)?\s*)?(?P<behind>[NSEW])?",
    re.IGNORECASE,
)


def without_unit(texts: Sequence[str]) -> tuple[list[str], str]:
    """Return texts of numbers without the unit behind each, and that unit; as they are and "" where not all have the same.

    Examples
    --------
    >>> without_unit(["0,85 kg", "1,2kg", ""])
    (['0,85', '1,2', ''], 'kg')
    >>> without_unit(["0,85 kg", "850 g"])
    (['0,85 kg', '850 g'], '')
    """
    found = [NUMBER_AND_UNIT.fullmatch(text) for text in texts if text]
    units = {unit_of(f"x ({one[2]})") if one else "" for one in found}
    if len(units) != 1 or "" in units:
        return list(texts), ""
    numbers = iter(found)
    return [next(numbers)[1] if text else "" for text in texts], units.pop()  # type: ignore[index]


def unit_behind(texts: Sequence[str]) -> str:
    """Return the unit that stands behind the last number of every text; "" where not all have the same.

    Examples
    --------
    >>> unit_behind(["2,50 x 1,20 m", "3 x 1.5 m"])
    'm'
    """
    found = [LAST_WORD.search(text) for text in texts if text]
    units = {"ft" if one and one[1] in "'′’" else unit_of(f"x ({one[1]})") if one else "" for one in found}
    return units.pop() if len(units) == 1 else ""


def in_degrees(texts: Sequence[str]) -> list[str]:
    """Return degrees, minutes and seconds as plain degrees; texts as they are where one is written in another way.

    Examples
    --------
    >>> in_degrees(["33° 07' 12.0\\" S", "33 7,5 S"])
    ['-33.12000000', '-33.12500000']
    """
    found = [DEGREES.fullmatch(text.strip()) for text in texts if text]
    if not found or not all(found):
        return list(texts)
    degrees = iter(_degrees(one) for one in found if one)
    return [f"{next(degrees):.8f}" if text else "" for text in texts]


def _degrees(found: re.Match[str]) -> float:
    parts = (float((found[name] or "0").replace(",", ".")) for name in ("degrees", "minutes", "seconds"))
    size = sum(part / 60**place for place, part in enumerate(parts))
    letter = (found["behind"] or found["before"] or "").upper()
    return -size if letter in ("S", "W") or found["sign"] == "-" else size
