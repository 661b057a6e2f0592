"""Tables for spreadsheets: CSV and XLSX in which no text can become a formula."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter

from geoprune.text import clean
from geoprune.writing.tables import column_words

#: Where a spreadsheet may begin a formula (OWASP ASVS 5.0, 1.2.10; CWE-1236): at the start of a cell, and behind a
#: semicolon, which parts cells where the comma is the decimal mark; also behind blanks, and in wide letters.
FORMULA = re.compile(r"(^|;)(?=\s*[=+\-@＝＋－＠])")
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


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """Write a table as UTF-8 CSV (the workbook is the one for spreadsheets), decimal points and guarded text."""
    guarded = rounded(table)
    for name in guarded.columns:
        if not pd.api.types.is_numeric_dtype(guarded[name]):
            guarded[name] = guarded[name].map(guard_text)
    guarded.to_csv(path, index=False, encoding="utf-8", lineterminator="\r\n")


def write_workbook(tables: Mapping[str, pd.DataFrame], prescription: pd.DataFrame, path: Path) -> None:
    """Write the workbook: one sheet per table that people read, and one that explains every column."""
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(str(path), options) as book:
        book.set_properties({"title": "Pruning prescription", "comments": "The number is a guide: see each vine."})
        head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        for layer, title in SHEETS.items():
            table = prescription if layer == "zones" else tables[layer]
            add_sheet(book.add_worksheet(title), rounded(table.drop(columns="geometry", errors="ignore")), head)
        add_sheet(book.add_worksheet("columns"), explained_columns(), head)


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


def add_sheet(sheet: Any, table: pd.DataFrame, head: Any) -> None:
    """Fill a worksheet: header that stays in view, filter, print set-up, text as text."""
    sheet.freeze_panes(1, 0)
    sheet.repeat_rows(0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    for column, name in enumerate(table.columns):
        sheet.write_string(0, column, clean(name), head)
        for line, value in enumerate(table[name].tolist(), start=1):
            write_cell(sheet, line, column, value)
        sheet.set_column(column, column, 40 if name in ("meaning", "note", "reason") else 14)
    if len(table.columns):
        sheet.autofilter(0, 0, max(len(table), 1), len(table.columns) - 1)


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
