"""Columns of a raw table, by name and unit, checked and turned into SI."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from difflib import get_close_matches
from functools import lru_cache
from typing import Any, SupportsIndex

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from geoprune.layers import Column
from geoprune.layers.columns import short_names as names_cut_short
from geoprune.reading.faults import LISTED_ONE_BY_ONE, Faults
from geoprune.text import few, one_line
from geoprune.units import SUFFIXES

#: Floats beyond this do not hold whole numbers to the digit.
LARGEST_WHOLE = 1e15
#: Texts that mean "not measured" in optional number columns.
BLANKS = frozenset({"", "na", "n/a", "nan", "none", "null", "-", "--", "?"})
#: A number with a decimal comma, and with one comma or point that may part thousands as well.
DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+")
POINTS_AND_COMMA = re.compile(r"[+-]?[1-9]\d{0,2}(\.\d{3})+,\d+")
MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")


@dataclass(frozen=True)
class RawTable:
    """A table as it was read, before any check.

    table : DataFrame with a fresh RangeIndex; column names cleaned; `geometry` (if any) as shapely objects
    numbers : line or feature number in the file of each row, for messages
    word : what those numbers count: "line" or "feature"
    crs : the declared CRS of `geometry`, None when there is none
    decimal_comma : numbers may be written 1,5
    decimal_mark : the decimal mark that was declared, "" where none was
    headers : cleaned name -> the name as it stands in the file
    """

    file: str
    layer: str
    table: pd.DataFrame
    numbers: NDArray[np.int64]
    word: str
    crs: CRS | None = None
    decimal_comma: bool = False
    decimal_mark: str = ""
    headers: Mapping[str, str] = field(default_factory=dict)

    def place(self, position: SupportsIndex) -> str:
        """How a row of the table is named in messages."""
        return f"{self.word} {self.numbers[position]}"

    def places(self) -> list[str]:
        """How each row is named in messages."""
        return [self.place(position) for position in range(len(self.table))]


def name_text(value: Any) -> str:
    """A cell as text on one line, nothing hidden: 3, 3.0 and '3' are one name; dates as year-month-day; "" when empty.

    Letters with marks are written in one way (Unicode normal form C), however they were typed.
    """
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return ""
    if isinstance(value, (float, np.floating)) and float(value).is_integer() and abs(float(value)) < LARGEST_WHOLE:
        return str(int(value))
    if isinstance(value, (datetime, date)):
        return value.isoformat().removesuffix("T00:00:00")
    return _text_on_one_line(str(value))


@lru_cache(maxsize=1 << 16)
def _text_on_one_line(value: str) -> str:
    """As `name_text`, of a text; columns hold the same few texts again and again."""
    text = unicodedata.normalize("NFC", one_line(value))
    return text[:-2] if re.fullmatch(r"[+-]?\d+\.0", text) else text


def may_hold_text(column: pd.Series) -> bool:
    """Return whether cells of a column may be texts, however pandas keeps them: as objects, or as strings of its own."""
    return column.dtype == object or isinstance(column.dtype, pd.StringDtype)


def known_rows(columns: Columns, blocks: pd.Series, given: pd.Series, names: Mapping[str, Collection[str]]) -> pd.Series:
    """Rows as the blocks call them; "" where none is given, or it is not known, and a problem is noted with its line.

    Parameters
    ----------
    columns : Columns
    blocks, given : (n,)
        Block of each line, and the row it names; "" where not given.
    names : mapping
        Block -> names of its rows.
    """
    found = pd.Series("", index=given.index, dtype=object)
    for block, here in blocks.groupby(blocks):
        found[here.index] = matched(given[here.index], names.get(str(block), ()))
    lost = np.flatnonzero(((found == "") & (given != "") & (blocks != "")).to_numpy())
    said = [(columns.raw.place(at), f"block '{blocks.iloc[at]}' has no row '{given.iloc[at]}'") for at in lost]
    columns.faults.add_each(said, "Write the row as it is painted on its end post")
    return found


def matched(given: pd.Series, names: Iterable[str]) -> pd.Series:
    """Names as they stand among `names`, whatever their case; "" where there is no such name."""
    folded = {name.casefold(): name for name in names}
    return given.map(lambda name: folded.get(name.casefold(), ""))


def clean_name(name: object) -> str:
    """Column names without case, outer spaces and the choice between space, hyphen and underscore."""
    return re.sub(r"[\s\-]+", "_", unicodedata.normalize("NFC", one_line(name)).casefold())


def headers_of(table: pd.DataFrame) -> dict[str, str]:
    """Return cleaned name -> name as it stands in the file, of a table with its own names."""
    return {clean_name(name): one_line(name) for name in table.columns}


def clean_names(table: pd.DataFrame, faults: Faults, *, short_names: bool = False) -> pd.DataFrame:
    """Return the table with cleaned column names; two columns that become one are a problem."""
    names = [clean_name(name) for name in table.columns]
    if short_names:
        names = [names_cut_short().get(name, name) for name in names]
    first: dict[str, int] = {}
    for position, name in enumerate(names):
        first.setdefault(name, position)
    for name in sorted({name for position, name in enumerate(names) if name and first[name] < position}):
        faults.add(f"column {name} stands twice", "Keep one of the two columns")
    keep = [position for name, position in first.items() if name]
    cleaned = table.iloc[:, keep].copy()
    cleaned.columns = [names[position] for position in keep]
    return cleaned


class Columns:
    """Reads the columns of one raw table and notes what is wrong with them.

    Every method returns values aligned with the table; what could not be read is missing there, and a problem
    has been noted, so that reading can go on and all problems are reported together.
    """

    def __init__(self, raw: RawTable, faults: Faults) -> None:
        self.raw, self.faults, self.table = raw, faults.at(raw.file, raw.layer), raw.table

    def has(self, name: str) -> bool:
        """Return whether the column is there and not empty throughout."""
        return name in self.table and bool(self.table[name].map(lambda value: name_text(value) != "").any())

    def require(self, name: str, *, mend: str = "") -> bool:
        """Return whether the column is there; note a problem, with the nearest name found, when it is not."""
        if name in self.table:
            return True
        near = get_close_matches(name, [str(c) for c in self.table.columns if c != "geometry"], n=1, cutoff=0.6)
        hint = mend or (f"Rename '{near[0]}' to {name}" if near else f"Add a column {name}")
        self.faults.add(f"column {name} is missing", hint)
        return False

    def text(self, name: str) -> pd.Series:
        """Texts of a column; "" where empty or where there is no such column."""
        if name not in self.table:
            return pd.Series("", index=self.table.index, dtype=object)
        return self.table[name].map(name_text).astype(object)

    def required_text(self, name: str) -> pd.Series:
        """Texts of a column that must be there and filled in every row."""
        if not self.require(name):
            return self.text(name)
        values = self.text(name)
        empty = np.flatnonzero((values == "").to_numpy())
        self.faults.add_each(((self.raw.place(i), f"{name} is empty") for i in empty), f"Fill in {name}")
        return values

    def block(self, names: Sequence[str]) -> pd.Series:
        """Names of blocks as they stand among `names`, whatever their case; "" where unknown, and a problem is noted.

        With a single block the column may be left out or empty.
        """
        given = self.text("block")
        if not len(names):
            return given
        if len(names) == 1:
            given = given.where(given != "", names[0])
        elif not self.require("block"):
            return given
        found = matched(given, names)
        self._report_unknown(given, found, names)
        empty = np.flatnonzero((given == "").to_numpy())
        self.faults.add_each(((self.raw.place(i), "block is empty") for i in empty), f"Use a block's name ({few(names)})")
        return found

    def block_if_given(self, names: Sequence[str]) -> pd.Series:
        """As `block`, but an empty cell and a missing column are no problem."""
        given = self.text("block")
        found = matched(given, names)
        self._report_unknown(given, found, names)
        return found

    def _report_unknown(self, given: pd.Series, found: pd.Series, names: Sequence[str]) -> None:
        said = []
        unknown = np.flatnonzero(((found == "") & (given != "")).to_numpy())
        for i in unknown[:LISTED_ONE_BY_ONE]:
            near = get_close_matches(given.iloc[i].casefold(), [name.casefold() for name in names], n=1, cutoff=0.6)
            hint = f" (nearest: '{matched(pd.Series(near), names).iloc[0]}')" if near else ""
            said.append((self.raw.place(i), f"unknown block '{given.iloc[i]}'{hint}"))
        self.faults.add_each(said, f"Use a name of the blocks layer ({few(names)})", count=len(unknown))

    def number(
        self,
        name: str,
        limits: tuple[float, float] | None = None,
        *,
        required: bool = False,
        whole: bool = False,
        factor: float = 1.0,
        shown_unit: str = "",
    ) -> pd.Series:
        """Numbers of a column times `factor`; NaN where empty.

        Parameters
        ----------
        name : str
            The column's name.
        limits : tuple of float, optional
            Lowest and highest possible value after `factor`, inclusive.
        required : bool
            Whether an empty cell is a problem.
        whole : bool
            Whether only whole numbers are possible.
        factor : float
            From the column's unit to SI.
        shown_unit : str
            SI unit of `limits`, for the message.
        """
        if name not in self.table:
            return pd.Series(np.nan, index=self.table.index)
        unclear = self._unclear(name)
        values, bad = _numbers(self.table[name].mask(unclear), self.raw.decimal_comma)
        self._report(name, unclear, "may have a decimal mark or one for thousands", "Write it without a mark for thousands")
        self._report(name, bad, "is not a number", f"Give {name} as a plain number")
        if required:
            self._report(name, np.isnan(values) & ~bad & ~unclear, "is empty", f"Give {name} as a number")
        if whole:
            with np.errstate(invalid="ignore"):  # what is infinite is reported as out of range
                self._report(name, values % 1 > 0, "is not a whole number", f"Give {name} as a whole number")
        with np.errstate(over="ignore"):  # what grows past all numbers is reported as out of range
            values = values * factor
        if limits is not None:
            low, high = limits
            unit = f" {shown_unit}" if shown_unit else ""
            outside = (values < low) | (values > high)
            self._report(name, outside, f"is not possible ({low:g} to {high:g}{unit})", "Correct the number or its unit")
            values = np.where(outside, np.nan, values)
        return pd.Series(values, index=self.table.index)

    def _unclear(self, name: str) -> NDArray[np.bool_]:
        """Where a text such as 1,234 (or 1.234 beside decimal commas) may mean a thousand, and no other value settles it."""
        column = self.table[name]
        if not self.raw.decimal_comma or not may_hold_text(column):
            return np.zeros(len(column), dtype=bool)
        texts = column.where(column.map(lambda value: isinstance(value, str)), "").map(name_text)
        unclear = texts.str.fullmatch(MAYBE_THOUSANDS).to_numpy(dtype=bool)
        comma = texts.str.contains(",").to_numpy(dtype=bool)
        settled = self.raw.decimal_mark or (texts.str.fullmatch(DECIMAL_COMMA).to_numpy(dtype=bool) & ~unclear).any()
        return unclear & (~comma if settled else comma)

    def read(self, entry: Column) -> pd.Series:
        """Read a column as its entry describes it, in SI; NaN or "" where empty or where there is no such column."""
        if entry.units:
            return self.quantity(entry.name, entry.kind, entry.limits, required="every row" if entry.must else "optional")
        if entry.kind == "text":
            return self.required_text(entry.name) if entry.must else self.text(entry.name)
        there = self.require(entry.name) if entry.must else entry.name in self.table
        if not there:
            return pd.Series(np.nan, self.table.index)
        return self.number(entry.name, entry.limits, required=entry.must, whole=entry.kind == "whole")

    def quantity(self, stem: str, kind: str, limits: tuple[float, float] | None, *, required: str = "optional") -> pd.Series:
        """A quantity in SI, from the one column whose ending names its unit; NaN where empty.

        `required` is "optional" or "every row" (the column must be there, and no cell may be empty).
        """
        accepted = [f"{stem}_{unit}" for unit in SUFFIXES[kind]]
        found = [name for name in (*accepted, stem) if name in self.table]
        mend = f"Keep exactly one of {', '.join(accepted)}"
        if len(found) > 1:
            self.faults.add(f"{stem} stands in two units ({', '.join(found)})", mend)
        elif found == [stem]:
            self.faults.add(f"column {stem} has no unit", f"Rename it to one of {', '.join(accepted)}")
        elif not found:
            self._without_unit(stem, accepted, required)
        else:
            unit = found[0].rsplit("_", 1)[1]
            return self.number(
                found[0],
                limits,
                required=required == "every row",
                factor=SUFFIXES[kind][unit],
                shown_unit=next(iter(SUFFIXES[kind])),
            )
        return pd.Series(np.nan, index=self.table.index)

    def _without_unit(self, stem: str, accepted: list[str], required: str) -> None:
        odd = [name for name in self.table if str(name).startswith(stem) or stem.startswith(str(name) + "_")]
        odd = odd or get_close_matches(stem, [str(name) for name in self.table], n=1, cutoff=0.75)
        names = ", ".join(accepted)
        if odd and (required == "every row" or str(odd[0]).startswith(stem + "_")):
            self.faults.add(f"no unit is known for {stem} (found {odd[0]})", f"Name the column one of {names}")
        elif required == "every row":
            self.faults.add(f"column {stem} is missing", f"Add one of {names}")

    def report_twice(
        self, table: pd.DataFrame, keys: Sequence[str], *, needed: Sequence[str], mend: str = "Keep one of the two"
    ) -> None:
        """Note lines of a checked table (aligned with this one) that say the same thing twice.

        `keys` are the columns that together must differ; only lines with all of `needed` filled in are compared.
        """
        texts = table[list(keys)].map(name_text)
        filled = texts[list(needed)].ne("").all(axis=1)
        twice = texts.map(str.casefold).where(filled).duplicated() & filled
        said = []
        for i in np.flatnonzero(twice.to_numpy()):
            shown = ", ".join(f"{key} '{text}'" for key, text in texts.iloc[i].items() if text)
            said.append((self.raw.place(i), f"{shown} stands twice"))
        self.faults.add_each(said, mend)

    def _report(self, name: str, wrong: NDArray[np.bool_], what: str, mend: str) -> None:
        column, places = self.table[name], np.flatnonzero(wrong)
        said = [(self.raw.place(i), f"{name} {_shown(column.iloc[i])}{what}") for i in places[:LISTED_ONE_BY_ONE]]
        self.faults.add_each(said, mend, count=len(places))


def _shown(value: Any) -> str:
    """A cell as it is quoted in a message: short, on one line, nothing when empty."""
    text = " ".join(name_text(value).split())
    return f"'{text[:40]}' " if text else ""


def _numbers(column: pd.Series, decimal_comma: bool) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Values of a column, and where there is something that is not a finite number."""
    if pd.api.types.is_bool_dtype(column.dtype):
        return np.full(len(column), np.nan), np.ones(len(column), dtype=bool)
    if pd.api.types.is_numeric_dtype(column.dtype):
        values = column.to_numpy(dtype=np.float64, na_value=np.nan)
        return np.where(np.isfinite(values), values, np.nan), np.isinf(values)
    texts = column.map(name_text)
    blank = texts.str.casefold().isin(BLANKS).to_numpy()
    if decimal_comma:
        texts = texts.where(~texts.str.fullmatch(POINTS_AND_COMMA), texts.str.replace(".", ""))
        texts = texts.where(~texts.str.fullmatch(DECIMAL_COMMA), texts.str.replace(",", "."))
    plain = texts
    shaped = plain.str.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?").to_numpy(dtype=bool)
    values = pd.to_numeric(plain.where(shaped & ~blank), errors="coerce").to_numpy(dtype=np.float64)
    return np.where(np.isfinite(values), values, np.nan), ~blank & ~np.isfinite(values)
