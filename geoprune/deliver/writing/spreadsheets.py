"""Tables for spreadsheets: CSV and XLSX in which no text can become a formula."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter

from geoprune.deliver.writing.tables import column_words
from geoprune.text import clean

#: Where a spreadsheet may begin a formula (OWASP ASVS 5.0, 1.2.10; CWE-1236): at the start of a cell, and behind a
#: semicolon, which parts cells where the comma is the decimal mark; also behind blanks, and in wide letters.
FORMULA = re.compile(r"(^|;)(?=\s*[=+\-@＝＋－＠])")
#: Lines of a worksheet (ECMA-376 leaves it open; the usual programs read 2**20).
MOST_LINES = 1_048_576
SHEETS = {
    "zones": "zones",
    "runs": "row list",
    "flags": "flags",
    "samples": "samples",
    "replant_areas": "replant areas",
    "next_vines": "next vines",
}


def guard_text(value: Any) -> Any:
    """Return text without hidden characters, an apostrophe before what a spreadsheet might compute; numbers as they are.

    Examples
    --------
    >>> guard_text("\\x01=1+1"), guard_text("row 3"), guard_text(-2.5)
    ("'=1+1", 'row 3', -2.5)
    """
    return FORMULA.sub(r"\1'", clean(value)) if isinstance(value, str) else value


def decimals(column: str) -> int:
    """Return how many decimals of a column mean something: two of lengths and counts, four of weights, areas, shares."""
    length = column.endswith(("_m", "_mm", "easting", "northing")) and not column.endswith("_kg_m")
    return 2 if length or column.startswith("buds_") else 4


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table for people, its numbers without the decimals that mean nothing."""
    return table.assign(**{name: table[name].round(decimals(name)) for name in table.select_dtypes("float")})


def write_csv(table: pd.DataFrame, path: Path, *, append: bool = False) -> None:
    """Write a table as UTF-8 CSV (the workbook is the one for spreadsheets), decimal points and guarded text.

    With `append` its lines are added to those that are there.
    """
    guarded = rounded(table)
    for name in guarded.columns:
        if not pd.api.types.is_numeric_dtype(guarded[name]):
            guarded[name] = guarded[name].map(guard_text)
    mode = "a" if append else "w"
    guarded.to_csv(path, mode=mode, header=not append, index=False, encoding="utf-8", lineterminator="\r\n")


class PrescriptionBook:
    """The workbook, filled in parts: one sheet per table that people read, and one that explains every column.

    Parameters
    ----------
    path : Path
    created : datetime
        Written into the file.
    """

    def __init__(self, path: Path, created: datetime) -> None:
        options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
        # what it puts aside lies in the hidden folder too, and goes with it when the run is killed
        self._book = xlsxwriter.Workbook(str(path), {**options, "constant_memory": True, "tmpdir": str(path.parent)})
        self._book.set_properties(
            {
                "title": "Pruning prescription",
                "comments": "The number is a guide: see each vine.",
                "created": created.replace(tzinfo=None),
            }
        )
        self._head = self._book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        self._sheets: dict[str, Sheet] = {}

    def add(self, tables: Mapping[str, pd.DataFrame], prescription: pd.DataFrame) -> None:
        """Add lines; the tables have the same columns each time."""
        for layer, title in SHEETS.items():
            table = prescription if layer == "zones" else tables[layer]
            self._add(title, rounded(table.drop(columns="geometry", errors="ignore")))

    def _add(self, title: str, table: pd.DataFrame) -> None:
        if title not in self._sheets:
            self._sheets[title] = Sheet(self._book, title, list(table.columns), self._head)
        self._sheets[title].add(table)

    def close(self) -> None:
        """Explain the columns and write the file."""
        self._add("columns", explained_columns())
        for sheet in self._sheets.values():
            sheet.finish()
        self._book.close()


class Sheet:
    """A table in a workbook, filled line by line: head that stays in view, filter, print set-up, text as text.

    What a worksheet cannot hold goes on in a further one.
    """

    def __init__(self, book: Any, title: str, columns: list[str], head: Any) -> None:
        self._book, self._title, self._columns, self._head = book, title, columns, head
        self._number = 0
        self._open()

    def _open(self) -> None:
        self._number += 1
        self._sheet = self._book.add_worksheet(self._title if self._number == 1 else f"{self._title} {self._number}")
        self._line = 1
        self._sheet.freeze_panes(1, 0)
        self._sheet.repeat_rows(0)
        self._sheet.set_landscape()
        self._sheet.fit_to_pages(1, 0)
        for column, name in enumerate(self._columns):
            self._sheet.set_column(column, column, 40 if name in ("meaning", "note", "reason") else 14)
            self._sheet.write_string(0, column, clean(name), self._head)

    def add(self, table: pd.DataFrame) -> None:
        """Add lines."""
        for values in zip(*(table[name].tolist() for name in self._columns), strict=True):
            if self._line == MOST_LINES:
                self.finish()
                self._open()
            for column, value in enumerate(values):
                write_cell(self._sheet, self._line, column, value)
            self._line += 1

    def finish(self) -> None:
        """Set the filter over what was written."""
        if self._columns:
            self._sheet.autofilter(0, 0, max(self._line - 1, 1), len(self._columns) - 1)


def explained_columns() -> pd.DataFrame:
    """Return one line per sheet and column: what it holds."""
    lines = [
        {"sheet": title, "column": column, "kind": kind, "meaning": meaning}
        for layer, title in SHEETS.items()
        for column, (kind, meaning) in column_words()[layer].items()
    ]
    extra = {
        "variety": "Variety as in the vineyard file",
        "rule": "Pruning rule",
        "training": "Training system",
        "verdict": "zone, or one_number when zones are not worth more than one number",
    }
    lines += [{"sheet": "zones", "column": c, "kind": "text", "meaning": m} for c, m in extra.items()]
    return pd.DataFrame(lines)


def write_cell(sheet: Any, line: int, column: int, value: Any) -> None:
    """Write one value by its kind; nothing where it is missing."""
    if value is None or value is pd.NA or (isinstance(value, float) and value != value):
        return
    if isinstance(value, bool):
        sheet.write_boolean(line, column, value)
    elif isinstance(value, int | float):
        sheet.write_number(line, column, value)
    else:
        sheet.write_string(line, column, clean(value)[:32_000])
