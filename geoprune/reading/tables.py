"""Tables (CSV, XLSX) as raw tables: weighed vines, scores, yields."""

from __future__ import annotations

import csv
import io
import re
import zipfile
import zlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from geoprune.reading.columns import RawTable, clean_name, clean_names, headers_of, name_text
from geoprune.reading.faults import Faults
from geoprune.sources import LARGEST_TABLE, Unfit, read_bytes
from geoprune.text import few
from geoprune.workbook import Unreadable, read_workbook

#: Number of a line in its file, and its cells.
Line = tuple[int, list[Any]]
#: Stands for every sheet of a workbook that has the columns of the first.
ALL_SHEETS = "*"
TEXT_ENDINGS = (".csv", ".tsv", ".txt")
SEPARATORS = ",;\t"
#: A workbook's size unpacked (bytes), the cells from A1 to the farthest one of a sheet, and how a cell names its place.
LARGEST_BOOK, MOST_CELLS = 500_000_000, 10_000_000
CELL = re.compile(rb'<c [^<>]{0,200}?\br="([A-Z]{1,3})([0-9]{1,7})"')
PROTECTED = b"\xd0\xcf\x11\xe0"  # compound file: a workbook with a password, or of the kind before 2007


def read_table(
    path: Path, faults: Faults, *, also: Iterable[str] = (), sheet: str = "", header_row: Sequence[int] = ()
) -> RawTable | None:
    """Read a table: CSV (any separator and encoding) or XLSX (the sheet named as the layer, else the first with anything).

    Parameters
    ----------
    path : Path
    faults : Faults
        Where problems are noted; its layer says what the table is of.
    also : iterable of str
        Endings that are read elsewhere, for the message when this one is not.
    sheet : str
        Sheet of a workbook to read; "*" for all that have the columns of the first, "" for the one named as the layer, else
        the first with anything in it.
    header_row : sequence of int
        Lines that name the columns, counted from 1, read together as one name; empty for the first with anything in it.

    Returns
    -------
    RawTable or None
        None when nothing can be read; the problem is noted.
    """
    ending = path.suffix.lower()
    if ending not in (*TEXT_ENDINGS, ".xlsx"):
        faults.add(f"{faults.layer} ending in '{ending}' are not read", f"Give one of {', '.join(('.csv', '.xlsx', *also))}")
        return None
    try:
        data = read_bytes(path, most=LARGEST_TABLE)
    except Unfit as error:
        faults.add(error.what, error.mend)
        return None
    if not data.strip():
        faults.add("the file is empty", "Give a table: a line of column names and the lines below it")
        return None
    found = _workbook(path, data, faults, sheet) if ending == ".xlsx" else _text_lines(path, data, faults)
    if found is None:
        return None
    lines, decimal_comma = found
    return _table(path, _headed(lines, header_row, faults), faults, decimal_comma=decimal_comma)


def _text_lines(path: Path, data: bytes, faults: Faults) -> tuple[list[Line], bool] | None:
    """Lines of a text, and whether numbers in it may have a decimal comma."""
    text = _decoded(path, data, faults)
    if text is None:
        return None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    head = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(SEPARATORS, key=head.count)
    reader = csv.reader(io.StringIO(text), delimiter=separator)
    lines: list[Line] = []
    try:
        for cells in reader:
            lines.append((reader.line_num, cells))
    except csv.Error as error:
        faults.add(f"the table cannot be read ({error})", "Save it again as CSV", row=f"line {reader.line_num}")
        return None
    return lines, separator != ","


def _decoded(path: Path, data: bytes, faults: Faults) -> str | None:
    """The file's text: UTF-8 or UTF-16 by its mark, else UTF-8, else the Western code page (and said)."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    if b"\x00" in data or data.startswith(b"PK"):
        faults.add(f"the file is not what its ending {path.suffix} says", "Save it again as CSV (text)")
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        faults.remark("assumed", "western_encoding", file=path.name)
        return data.decode("cp1252", errors="replace")


def _workbook(path: Path, data: bytes, faults: Faults, wanted: str) -> tuple[list[Line], bool] | None:
    """Lines of a workbook's sheet, and that numbers written as text may have a decimal comma."""
    sheets = _sheets(data, faults)
    if sheets is None:
        return None
    if wanted == ALL_SHEETS:
        return together(sheets), True
    called = (wanted or faults.layer).strip().casefold()
    named = [lines for name, lines in sheets.items() if name.strip().casefold() == called]
    if wanted and not named:
        faults.add(f"there is no sheet '{wanted}'", f"Correct sheet in the settings ({few(sheets)})")
        return None
    filled = [lines for lines in named or sheets.values() if any(_holds_anything(cells) for _, cells in lines)]
    return filled[0] if filled else [], True


def together(sheets: Mapping[str, list[Line]]) -> list[Line]:
    """Return the lines of all sheets that have the columns of the first, each with its sheet's name as its block.

    The name is left out where the columns name a block themselves.
    """
    found: list[Line] = []
    for name, lines in sheets.items():
        filled = [(number, cells) for number, cells in lines if _holds_anything(cells)]
        if not filled or (found and _names(filled[0]) != _names(found[0])):
            continue
        found = found or filled[:1]
        width = len(_names(found[0]))
        found += [(number, [*(cells + [""] * width)[:width], name]) for number, cells in filled[1:]]
    if not found:
        return []
    names = _names(found[0])
    if any(clean_name(one) == "block" for one in names):
        return [(number, cells[: len(names)]) for number, cells in found]
    return [(found[0][0], [*names, "block"]), *found[1:]]


def same_columns(lines: Sequence[Line], others: Sequence[Line]) -> bool:
    """Return whether the first lines that hold anything name the same columns."""
    first, second = (next((line for line in one if _holds_anything(line[1])), (0, [])) for one in (lines, others))
    return bool(_names(first)) and _names(first) == _names(second)


def _names(line: Line) -> list[str]:
    """Names of columns on a line, without empty cells at its end."""
    names = [name_text(cell) for cell in line[1]]
    while names and not names[-1]:
        names.pop()
    return names


def sheets_of(path: Path, faults: Faults) -> dict[str, list[Line]]:
    """Return the lines of every sheet that holds anything, of a table in text under the name ""; empty when unreadable."""
    if path.suffix.lower() not in (*TEXT_ENDINGS, ".xlsx") or not path.is_file():
        return {}
    try:
        data = read_bytes(path, most=LARGEST_TABLE)
    except Unfit:
        return {}
    if path.suffix.lower() == ".xlsx":
        sheets = _sheets(data, faults) or {}
        return {name: lines for name, lines in sheets.items() if any(_holds_anything(cells) for _, cells in lines)}
    found = _text_lines(path, data, faults) if data.strip() else None
    return {} if found is None else {"": found[0]}


def _sheets(data: bytes, faults: Faults) -> dict[str, list[Line]] | None:
    if data.startswith(PROTECTED):
        faults.add("the workbook is protected by a password, or of the kind before 2007", "Save it as XLSX, unprotected")
        return None
    if not data.startswith(b"PK"):
        faults.add("the file is not what its ending .xlsx says", "Save it again as XLSX")
        return None
    if (reason := _too_wide(data)) is not None:
        faults.add(reason, "Copy the table alone to a new workbook")
        return None
    try:
        sheets = read_workbook(data)
    except Unreadable as error:
        faults.add(f"the workbook cannot be read ({error})", "Save it again as XLSX")
        return None
    return {name: list(enumerate(cells, start=1)) for name, cells in sheets.items()}


def _too_wide(data: bytes) -> str | None:
    """What makes a workbook too large to open: its size unpacked, or a cell so far out that its sheet is mostly empty."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if sum(member.file_size for member in archive.infolist()) > LARGEST_BOOK:
                return f"the workbook has more than {LARGEST_BOOK // 1_000_000} MB when unpacked"
            for name in archive.namelist():
                cells = CELL.findall(archive.read(name)) if name.endswith(".xml") else []
                row = max((int(row) for _, row in cells), default=0)
                letters = max((column for column, _ in cells), key=lambda column: (len(column), column), default=b"")
                column = sum((letter - 64) * 26**place for place, letter in enumerate(reversed(letters)))
                if row * column > MOST_CELLS:
                    return f"a sheet reaches to cell {letters.decode()}{row}, far beyond any table"
    except (zipfile.BadZipFile, zlib.error, OSError, ValueError, NotImplementedError, RuntimeError):
        return None  # what opens the workbook says what is wrong with it
    return None


def _headed(lines: list[Line], header_row: Sequence[int], faults: Faults) -> list[Line]:
    """Lines from the names of the columns on; names that stand on several lines are made one."""
    if not header_row:
        return lines
    last = max(header_row)
    heads = [cells for number, cells in lines if number in header_row]
    if not heads:
        faults.add(f"there is no line {last}, which is to name the columns", "Correct header_row in the settings")
        return []
    width = max(map(len, heads))
    titles = [[name_text(cell) for cell in cells] + [""] * (width - len(cells)) for cells in heads]
    names: list[Any] = [" ".join(filter(None, parts)) for parts in zip(*titles, strict=True)]
    return [(last, names), *(line for line in lines if line[0] > last)]


def _table(path: Path, lines: list[Line], faults: Faults, *, decimal_comma: bool) -> RawTable | None:
    """The first line that holds anything names the columns; lines without anything are left out."""
    lines = [(number, cells) for number, cells in lines if _holds_anything(cells)]
    if not lines:
        faults.add("the table is empty", "Give a line of column names and the lines below it")
        return None
    header = [name_text(cell) for cell in lines[0][1]]
    width = len(header)
    long = [(f"line {n}", "there are more cells than column names") for n, c in lines[1:] if _holds_anything(c[width:])]
    faults.add_each(long, "Put texts with separators in quotes, and decimal commas too")
    cells = [[*line[:width], *[""] * (width - len(line))] for _, line in lines[1:]]
    table = pd.DataFrame(cells, columns=range(width), dtype=object)
    table.columns = header
    numbers = np.array([number for number, _ in lines[1:]], dtype=np.int64)
    names = headers_of(table)
    cleaned = clean_names(table, faults)
    return RawTable(path.name, faults.layer, cleaned, numbers, "line", None, decimal_comma, headers=names)


def _holds_anything(cells: list[Any]) -> bool:
    return any(cell != "" and name_text(cell) for cell in cells)
