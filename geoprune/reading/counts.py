"""Recounted vines and ticked rows, from tables that people or the phone's page filled in."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoprune.layers import column
from geoprune.reading.columns import Columns, RawTable, clean_name, known_rows, name_text
from geoprune.reading.faults import Faults
from geoprune.reading.results import Results
from geoprune.reading.tables import read_table
from geoprune.text import few

#: No vine is left more buds or canes (design choices), and no row takes longer on one line (design choice).
BUDS, CANES, HOURS = (0.0, 1000.0), (0.0, 500.0), (0.0, 500.0)
#: The apostrophe that our tables put before what a spreadsheet might compute: taken off again where a table comes back.
GUARD = re.compile(r"(^|;)'(?=\s*[=+\-@＝＋－＠])")
#: Columns that are read of each table; [columns.counts] and [columns.ticks] of the settings say what they are called.
NAMES = {
    "counts": ("block", "row", "vine", "buds_left", "worker", "canes", "note"),
    "ticks": ("block", "row", "hours", "started", "finished", "worker", "done"),
}
NOTHING: Mapping[str, str] = MappingProxyType({})
YES = frozenset({"1", "yes", "y", "true", "x", "done", "si", "sí", "s", "hecho", "hecha"})
NO = frozenset({"", "0", "no", "n", "false"})


def read_counts(paths: Sequence[Path], results: Results, called: Mapping[str, str] = NOTHING) -> pd.DataFrame:
    """Read recounted vines from one or more CSV or XLSX files; lines without a count are left out.

    Parameters
    ----------
    paths : sequence of Path
        Tables with block (may be left out where there is one), row, vine, buds_left, optional worker, canes, note.
    results : Results
        What blocks, rows and vines there are.
    called : mapping
        Column -> what it is called in the files; a file that has it under its own name is read as it is.

    Returns
    -------
    DataFrame, RangeIndex
        block, row, vine, buds_left, worker, canes, note ("" and NaN where not given); `attrs["blank"]`: lines with none

    Raises
    ------
    DataError
        With every problem: columns missing, unknown block, row or vine, impossible counts, no count at all.
    """
    faults = Faults()
    parts = [_counts_of(path, results, faults.at(path.name, "counts"), called) for path in paths]
    faults.problems.stop()
    given = pd.concat([part for part in parts if part is not None], ignore_index=True)
    counted = given[given["buds_left"].notna()].astype({"vine": "int64"}).reset_index(drop=True)
    if counted.empty:
        faults.at(paths[0].name, "counts").add("no vine was counted", "Fill in buds_left")
    faults.problems.stop()
    counted.attrs["blank"] = len(given) - len(counted)
    return counted


def read_ticks(paths: Sequence[Path], results: Results, called: Mapping[str, str] = NOTHING) -> pd.DataFrame:
    """Read ticked rows and their hours from one or more CSV or XLSX files.

    Parameters
    ----------
    paths : sequence of Path
        Tables with block (may be left out where there is one), row, and hours, or started and finished (year-month-day
        and hour:minute); optional worker and done (a row is done where this is left out).
    results : Results
    called : mapping
        See `read_counts`.

    Returns
    -------
    DataFrame, RangeIndex
        block, row, hours (0 where a line gives none), worker ("" where not given), done (bool)

    Raises
    ------
    DataError
        With every problem: columns missing, unknown block or row, hours that are missing, impossible or given twice over.
    """
    faults = Faults()
    parts = [_ticks_of(path, results, faults.at(path.name, "hours"), called) for path in paths]
    faults.problems.stop()
    return pd.concat([part for part in parts if part is not None], ignore_index=True)


def _counts_of(path: Path, results: Results, faults: Faults, called: Mapping[str, str]) -> pd.DataFrame | None:
    columns = _opened(path, faults, "counts", called)
    if columns is None:
        return None
    for name in ("row", "vine", "buds_left"):
        columns.require(name)
    given = pd.DataFrame(
        {
            **_rows(columns, results),
            "vine": columns.number("vine", column("scores", "vine").limits, whole=True, required="vine" in columns.table),
            "buds_left": columns.number("buds_left", BUDS, whole=True),
            "worker": columns.text("worker"),
            "canes": columns.number("canes", CANES, whole=True),
            "note": columns.text("note"),
        }
    )
    known = set(zip(results.vines["block"], results.vines["row"], results.vines["vine"], strict=True))
    asked = zip(given["block"], given["row"], given["vine"], strict=True)
    lost = [
        at
        for at, (block, row, vine) in enumerate(asked)
        if block and row and vine == vine and (block, row, vine) not in known
    ]
    said = [(columns.raw.place(at), f"row '{given['row'].iloc[at]}' has no vine {given['vine'].iloc[at]:g}") for at in lost]
    columns.faults.add_each(said, "Correct the number of the vine")
    return given


def _ticks_of(path: Path, results: Results, faults: Faults, called: Mapping[str, str]) -> pd.DataFrame | None:
    columns = _opened(path, faults, "ticks", called)
    if columns is None:
        return None
    columns.require("row")
    return pd.DataFrame(
        {**_rows(columns, results), "hours": _hours(columns), "worker": columns.text("worker"), "done": _done(columns)}
    )


def read_back(path: Path, faults: Faults) -> RawTable | None:
    """Read a table that we wrote and people filled in: names are as they were before they were guarded."""
    raw = read_table(path, faults)
    if raw is None:
        return None
    plain = raw.table.map(lambda cell: GUARD.sub(r"\1", cell) if isinstance(cell, str) else cell)
    return replace(raw, table=plain)


def _opened(path: Path, faults: Faults, kind: str, called: Mapping[str, str]) -> Columns | None:
    raw = read_back(path, faults)
    if raw is None:
        return None
    raw = replace(raw, table=_by_our_names(raw.table, faults, kind, called))
    if not len(raw.table):
        faults.add("there is no line below the names of the columns", "Fill in the table")
        return None
    return Columns(raw, faults)


def _by_our_names(table: pd.DataFrame, faults: Faults, kind: str, called: Mapping[str, str]) -> pd.DataFrame:
    """The table with its columns under the names they are read by, as the settings say what they are called."""
    names = {}
    for ours, theirs in called.items():
        given = clean_name(theirs)
        if clean_name(ours) not in NAMES[kind]:
            known = ", ".join(NAMES[kind])
            faults.add(f"the settings name a column {ours}, which is not read", f"Name one of {known}")
        elif given in table:
            names[given] = clean_name(ours)
        elif clean_name(ours) not in table:
            found = few((str(column) for column in table.columns), 12)
            faults.add(f"there is no column '{theirs}' for {ours}", f"Correct [columns.{kind}] in the settings ({found})")
    giving_way = [name for name in names.values() if name in table and name not in names]
    return table.drop(columns=giving_way).rename(columns=names)


def _rows(columns: Columns, results: Results) -> dict[str, pd.Series]:
    """Block and row of each line as the results call them; "" where unknown, and a problem is noted."""
    blocks = columns.block(results.blocks["block"].tolist())
    given = columns.required_text("row") if "row" in columns.table else columns.text("row")
    names = results.runs.groupby("block")["row"].unique().to_dict()
    return {"block": blocks, "row": known_rows(columns, blocks, given, names)}


def _hours(columns: Columns) -> pd.Series:
    timed = [name for name in ("started", "finished") if name in columns.table]
    if "hours" in columns.table:
        if timed:
            columns.faults.add("hours stand beside started and finished", "Keep either hours, or both times")
        given = columns.number("hours", HOURS)
        if given.isna().all() and not columns.faults.problems:
            columns.faults.add("no line gives its hours", "Fill in hours")
        return given.fillna(0.0)
    if len(timed) < 2:
        columns.faults.add("there are no hours", "Add a column hours, or columns started and finished")
        return pd.Series(np.nan, index=columns.table.index)
    started, finished = (_times(columns, name) for name in timed)
    hours = (finished - started).dt.total_seconds() / 3600
    wrong = np.flatnonzero(((hours <= 0) | (hours > HOURS[1])).to_numpy())
    columns.faults.add_each(
        [(columns.raw.place(at), "it is not finished after it was started") for at in wrong], "Correct the two times"
    )
    return hours


def _times(columns: Columns, name: str) -> pd.Series:
    given = columns.text(name)
    found = given.map(_time)
    wrong = np.flatnonzero(found.isna().to_numpy())
    said = [(columns.raw.place(at), f"{name} '{given.iloc[at][:40]}' is no day and hour") for at in wrong]
    columns.faults.add_each(said, "Write it as 2027-01-14 08:30")
    return pd.to_datetime(found)


def _time(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        return None


def _done(columns: Columns) -> NDArray[np.bool_]:
    """Whether each line says that the row is finished; every line does where there is no such column."""
    if "done" not in columns.table:
        return np.ones(len(columns.table), dtype=bool)
    given = columns.table["done"].map(_word)
    wrong = np.flatnonzero(~given.isin(YES | NO).to_numpy())
    columns.faults.add_each(
        [(columns.raw.place(at), f"done '{given.iloc[at][:40]}' is not known") for at in wrong], "Write yes or no"
    )
    return given.isin(YES).to_numpy(dtype=bool)


def _word(value: object) -> str:
    return name_text(value).casefold()
