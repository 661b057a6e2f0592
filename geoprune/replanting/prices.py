"""Prices, hours and crops that a sum rests on: read from the user's file, each checked; what is not given is invented.

No price is known to the program. Where the file says nothing an invented figure stands in, and is named wherever the sum is
given.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geoprune.errors import DataError, Problem
from geoprune.rules import Range
from geoprune.rules.losses import REPLANTS_LOST, REPLANTS_LOST_SPREAD
from geoprune.text import clean, one_line
from geoprune.toml_files import read_toml

Floats = NDArray[np.float64]
Value = float | str | Range | tuple[float, ...]


@dataclass(frozen=True)
class Entry:
    """A figure that may be set.

    kind : "range" (a number, or low, likely and high), "whole", "curve" (a share each year) or "text"
    known : whether the value that stands in is a published figure, not an invented one
    """

    kind: str
    value: Value
    low: float = 0.0
    high: float = 1e6
    known: bool = False


#: Every figure, in the order of the file. Those not `known` are invented.
ENTRIES: dict[str, Entry] = {
    "currency": Entry("text", "$", known=True),
    "rootstock": Entry("text", "", known=True),
    "plant": Entry("range", 5.0),
    "stake": Entry("range", 3.0),
    "guard": Entry("range", 1.0),
    "post": Entry("range", 14.0),
    "wire_m": Entry("range", 0.25),
    "hour": Entry("range", 22.0),
    "crop_t": Entry("range", Range(900.0, 1200.0, 1500.0)),
    "harvest_t": Entry("range", 250.0),
    "visit_hours": Entry("range", 1.0, 0.0, 100.0),
    "pull_vine_hours": Entry("range", 0.2, 0.0, 10.0),
    "plant_gap_hours": Entry("range", 0.3, 0.0, 10.0),
    "plant_section_hours": Entry("range", 0.15, 0.0, 10.0),
    "layer_hours": Entry("range", 0.2, 0.0, 10.0),
    "care_hours": Entry("range", 0.15, 0.0, 10.0),
    "care_years": Entry("whole", 3.0, 0.0, 10.0),
    "full_kg_per_vine": Entry("range", Range(3.0, 4.0, 5.0), 0.1, 100.0),
    "young_crop": Entry("curve", (0.0, 0.0, 0.3, 0.7, 1.0)),
    "layered_crop": Entry("curve", (0.0, 0.5, 1.0)),
    "gap_delay_years": Entry("whole", 1.0, 0.0, 10.0),
    "beside_gap_crop": Entry("range", Range(0.0, 0.2, 0.4), 0.0, 1.0),
    "weak_crop": Entry("range", Range(0.1, 0.3, 0.5), 0.0, 1.0),
    "sick_crop": Entry("range", Range(0.5, 0.8, 1.0), 0.0, 1.0),
    "layers_lost": Entry("range", Range(0.05, 0.1, 0.2), 0.0, 1.0),
    "layering": Entry("whole", 1.0, 0.0, 1.0),
    "wires": Entry("whole", 3.0, 0.0, 12.0),
    "trellis_renewed": Entry("range", 0.25, 0.0, 1.0),
    "years": Entry("whole", 20.0, 1.0, 60.0, known=True),
    "interest_percent": Entry("range", 5.0, 0.0, 50.0),
    "overage_percent": Entry("range", 5.0, 0.0, 100.0),
}
#: Losses of replants are known: `rules.losses`, with its source.
LOST, LOST_SPREAD = REPLANTS_LOST, REPLANTS_LOST_SPREAD
#: Share of the losses by year 3 that has come by the end of years 1, 2, 3: 60 % in year 1 (IVES Technical Reviews 2025);
#: the rest in equal parts (design choice).
LOST_BY_YEAR = (0.6, 0.8, 1.0)
TEXTS = frozenset(name for name, entry in ENTRIES.items() if entry.kind == "text")


@dataclass(frozen=True)
class Prices:
    """Figures for one block.

    values : name -> value, every name of `ENTRIES`
    invented : names whose figures nobody gave
    """

    values: Mapping[str, Value] = field(default_factory=lambda: {name: entry.value for name, entry in ENTRIES.items()})
    invented: tuple[str, ...] = tuple(name for name, entry in ENTRIES.items() if not entry.known)

    def text(self, name: str) -> str:
        """A text."""
        return str(self.values[name])

    def whole(self, name: str) -> int:
        """A whole number."""
        value = self.values[name]
        assert isinstance(value, float | int)
        return int(value)

    def likely(self, name: str) -> float:
        """The likely value of a figure."""
        value = self.values[name]
        return value.likely if isinstance(value, Range) else float(value)  # type: ignore[arg-type]

    def by_year(self, name: str, years: int, *, delay: int = 0) -> Floats:
        """A curve over years 1 to `years`, `delay` years later; after its last value it stays."""
        curve = np.array(self.values[name], dtype=float)
        year = np.arange(years) - delay
        return np.where(year >= 0, curve[np.clip(year, 0, len(curve) - 1)], 0.0)

    def draws(self, count: int, *, seed: int) -> dict[str, Floats]:
        """Equally likely values (count,) of every figure of kind "range": triangular between low and high."""
        names = [name for name, entry in ENTRIES.items() if entry.kind == "range"]
        u = np.random.default_rng([seed, 16]).random((len(names), count))
        found = {}
        for name, shares in zip(names, u, strict=True):
            value = self.values[name]
            found[name] = value.quantile(shares) if isinstance(value, Range) else np.full(count, float(value))  # type: ignore[arg-type]
        return found


@dataclass(frozen=True)
class PriceList:
    """The figures of a file: those of all blocks, and what blocks have of their own."""

    shared: Mapping[str, Value] = field(default_factory=dict)
    blocks: Mapping[str, Mapping[str, Value]] = field(default_factory=dict)

    def of(self, block: str) -> Prices:
        """Return the figures of a block: its own over those of all over invented ones."""
        given = {**self.shared, **self.blocks.get(block, {})}
        values = {name: given.get(name, entry.value) for name, entry in ENTRIES.items()}
        return Prices(values, tuple(name for name, entry in ENTRIES.items() if not entry.known and name not in given))

    def check_blocks(self, known: list[str], file: str) -> None:
        """Refuse figures for blocks that there are not."""
        strange = [name for name in self.blocks if name not in known]
        if strange:
            mend = f"Name one of: {', '.join(map(one_line, known[:6]))}"
            raise DataError(
                [Problem(file, "", f'[block."{one_line(name)}"]', "there is no such block", mend) for name in strange]
            )


def read_prices(path: Path) -> PriceList:
    """Read a file of prices.

    Parameters
    ----------
    path : Path
        TOML; figures for all blocks, and in ``[block."Name"]`` what differs in one.

    Raises
    ------
    DataError
        With every problem of the file.
    """
    data = read_toml(path)
    blocks = data.pop("block", {})
    problems: list[Problem] = []
    if not isinstance(blocks, dict) or not all(isinstance(own, dict) for own in blocks.values()):
        problems.append(Problem(path.name, "", "block", "it is not a table for each block", 'Write [block."Name"]'))
        blocks = {}
    shared = _checked(data, path.name, "", problems)
    own = {name: _checked(values, path.name, f'[block."{one_line(name)}"] ', problems) for name, values in blocks.items()}
    if problems:
        raise DataError(problems)
    return PriceList(shared, own)


def _checked(data: Mapping[str, Any], file: str, table: str, problems: list[Problem]) -> dict[str, Value]:
    kept: dict[str, Value] = {}
    for name, value in data.items():
        place = f"{table}{one_line(name)}"
        entry = ENTRIES.get(name)
        if entry is None:
            problems.append(Problem(file, "", place, "it is not known", "Use the names of the prices.toml that is written"))
            continue
        read = _read(entry, value)
        if read is None:
            problems.append(Problem(file, "", place, f"{one_line(value)[:40]!r} cannot be", _wanted(entry)))
        else:
            kept[name] = read
    return kept


def _read(entry: Entry, value: Any) -> Value | None:
    if entry.kind == "text":
        return clean(value)[:40] if isinstance(value, str) else None
    listed = value if isinstance(value, list) else [value]
    if not listed or any(isinstance(one, bool) or not isinstance(one, int | float) for one in listed):
        return None
    numbers = [float(one) for one in listed]
    if entry.kind == "curve":
        return tuple(numbers) if len(numbers) <= 30 and all(0.0 <= one <= 1.5 for one in numbers) else None
    if not all(entry.low <= one <= entry.high for one in numbers):
        return None
    if entry.kind == "whole":
        return numbers[0] if len(numbers) == 1 and numbers[0] == int(numbers[0]) else None
    if len(numbers) == 3 and numbers == sorted(numbers):
        return Range(*numbers)
    return numbers[0] if len(numbers) == 1 else None


def _wanted(entry: Entry) -> str:
    if entry.kind == "text":
        return "Give a text in quotes"
    if entry.kind == "curve":
        return "Give a list of shares of a full crop, one a year, such as [0, 0, 0.3, 0.7, 1]"
    limits = f"from {entry.low:g} to {entry.high:g}"
    return f"Give a whole number {limits}" if entry.kind == "whole" else f"Give a number {limits}, or [low, likely, high]"


def price_lines(prices: PriceList, blocks: list[str], words: Mapping[str, str]) -> Iterator[str]:
    """Yield the lines of a file of prices with what each figure means; `words` as `Reader.words("prices")`."""
    yield f"# {words['head']}"
    for name, entry in ENTRIES.items():
        value = prices.shared.get(name, entry.value)
        mark = "" if entry.known or name in prices.shared else f" {words['invented']}"
        yield ""
        yield f"# {words[name]}{mark}"
        yield f"{name} = {_toml(value, entry)}"
    yield ""
    yield f"# {words['blocks']}"
    for block in blocks:
        yield f"[block.{_quoted(block)}]"
        for name, value in prices.blocks.get(block, {}).items():
            yield f"{name} = {_toml(value, ENTRIES[name])}"


def _toml(value: Value, entry: Entry) -> str:
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, Range):
        return f"[{value.low:g}, {value.likely:g}, {value.high:g}]"
    if isinstance(value, tuple):
        return f"[{', '.join(f'{one:g}' for one in value)}]"
    return f"{int(value)}" if entry.kind == "whole" else f"{value:g}"


def _quoted(text: str) -> str:
    escaped = one_line(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
