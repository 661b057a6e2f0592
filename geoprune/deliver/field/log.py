"""What was entered on the phones: read back, joined from several phones, and turned into tables.

A log only grows. An entry is never changed: undoing and correcting are entries too, which name the one they undo. So the
logs of several phones join as sets do, in any order and any number of times, and nothing is lost.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from geoprune.errors import DataError, Problem
from geoprune.sources import LARGEST_TABLE, read_bytes
from geoprune.text import one_line
from geoprune.units import SUFFIXES

FORMAT, VERSION = "geoprune-field", 1
JOBS = ("weigh", "buds", "prune", "check")
#: Why a vine of the list could not be weighed.
LEFT_OUT = ("missing", "dead", "young", "sick", "pruned")
_WHOLE = ("vines_weighed", "canes", "bull_canes", "buds_cut", "primary_dead", "secondary_dead", "buds_left")
_NUMBERS = ("weight", "hours", "lon", "lat", *_WHOLE)
_TEXTS = ("unit", "note", "worker", "left_out")
#: No number that people enter reaches this.
MOST_ENTERED = 1e12
_EXPORT_AGAIN = "Export the list again on the phone, and give that file unchanged"

WEIGHTS = ("block", "row", "vine", "vines_weighed", "canes", "bull_canes", "note", "date", "season")
BUD_CHECKS = ("block", "row", "vine", "lon", "lat", "buds_cut", "primary_dead", "secondary_dead", "worker", "note", "date")
TICKS = ("block", "row", "hours", "worker", "done", "date")
COUNTS = ("block", "row", "vine", "buds_left", "worker", "note", "date")


@dataclass(frozen=True)
class Entry:
    """One touch of "Save".

    Attributes
    ----------
    id : str
        Random; of this entry alone.
    seq : int
        One more than the greatest known to the phone that made it (a Lamport clock), so that what undoes has a greater
        number than what it undoes, whatever the phones' clocks say.
    device : str
        Random name of the phone.
    at : str
        The phone's own time with its offset, ISO 8601.
    by : str
        Initials, "" where none were given.
    job : str
        One of `JOBS`.
    row : str
    vine : int or None
        None for a whole row.
    values : mapping
        What was entered; empty for a mere undoing.
    undoes : str
        The `id` that holds no longer, "" for none.
    """

    id: str
    seq: int
    device: str
    at: str
    by: str
    job: str
    row: str
    vine: int | None
    values: Mapping[str, Any] = field(default_factory=dict)
    undoes: str = ""

    @property
    def canonical(self) -> str:
        """All of the entry as one text: two entries are the same where this is."""
        return json.dumps(vars(self), sort_keys=True, separators=(",", ":"), ensure_ascii=False)

    @property
    def date(self) -> str:
        """Day, as the phone gave it."""
        return self.at[:10]


@dataclass(frozen=True)
class FieldLog:
    """The entries of one block and winter."""

    block: str
    season: int
    estate: str = ""
    entries: tuple[Entry, ...] = ()

    @property
    def described(self) -> str:
        """How the log is named in messages."""
        return f"block '{self.block}', season {self.season}" + (f", {self.estate}" if self.estate else "")


def merge_entries(*logs: Iterable[Entry]) -> tuple[Entry, ...]:
    """Join logs: every entry of each, once, in the order of `seq`.

    The order of the logs, how they are grouped and how often one is given make no difference. Two entries of one `id`
    that differ (which two honest phones never make) are both kept.
    """
    found = {entry.canonical: entry for log in logs for entry in log}
    return tuple(found[key] for key in sorted(found, key=lambda key: (found[key].seq, found[key].id, key)))


def live_entries(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Return the entries that hold: with values, and undone by none that holds itself. In the order of `seq`."""
    undone: set[str] = set()
    live: list[Entry] = []
    # From the newest back: whether an entry holds is known before anything older that it may undo is met.
    for entry in reversed(merge_entries(entries)):
        if entry.id in undone:
            continue
        if entry.undoes:
            undone.add(entry.undoes)
        if entry.values:
            live.append(entry)
    return tuple(reversed(live))


def merge_logs(logs: Iterable[FieldLog]) -> FieldLog:
    """Join the logs of one block and winter from several phones.

    Raises
    ------
    DataError
        If there is none, or they are not of one block, season and estate.
    """
    given = list(logs)
    kinds = {(log.estate, log.block, log.season): log for log in given}
    if len(kinds) != 1:
        described = "; ".join(log.described for log in kinds.values()) or "no list was given"
        raise DataError([Problem("", "", "", f"lists of one block are wanted: {described}", "Give the lists of one block")])
    first = given[0]
    return FieldLog(first.block, first.season, first.estate, merge_entries(*(log.entries for log in given)))


def read_field_log(path: str | Path) -> FieldLog:
    """Read the full list that a field page exports (JSON).

    Raises
    ------
    DataError
        With every problem found in the file.
    """
    path = Path(path)
    whole = _opened(path)
    problems: list[Problem] = []
    entries = []
    for number, given in enumerate(whole["entries"], start=1):
        faults = _faults(given)
        problems += [Problem(path.name, "", f"entry {number}", fault, _EXPORT_AGAIN) for fault in faults]
        if not faults:
            entries.append(_entry(given))
    if problems:
        raise DataError(problems)
    return FieldLog(whole["block"], whole["season"], whole["estate"], merge_entries(entries))


def list_of(log: FieldLog) -> dict[str, Any]:
    """Return the full list as a field page exports it and takes it in; `read_field_log` reads it back from JSON."""
    record = {"format": FORMAT, "version": VERSION, "estate": log.estate, "block": log.block, "season": log.season}
    return record | {"entries": [{**vars(entry), "values": dict(entry.values)} for entry in log.entries]}


def _opened(path: Path) -> dict[str, Any]:
    """The file as a mapping with the keys it must have, of the right kinds."""
    try:
        whole = json.loads(read_bytes(path, most=LARGEST_TABLE).decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        what = "the list cannot be read (it is no JSON)"
        raise DataError([Problem(path.name, "", "", what, _EXPORT_AGAIN)]) from error
    if not isinstance(whole, dict) or whole.get("format") != FORMAT:
        raise DataError([Problem(path.name, "", "", "this is not a list of a field page", "Give the file it exports")])
    if whole.get("version") != VERSION:
        what = f"the list is of version {one_line(whole.get('version'))}; version {VERSION} is read"
        raise DataError([Problem(path.name, "", "", what, "Export it from a page made with this geoprune")])
    whole.setdefault("estate", "")
    kinds: dict[str, type] = {"block": str, "season": int, "estate": str, "entries": list}
    wrong = [name for name, kind in kinds.items() if type(whole.get(name)) is not kind]
    if wrong:
        raise DataError([Problem(path.name, "", "", f"{name} is missing or not right", _EXPORT_AGAIN) for name in wrong])
    return whole


def _faults(given: Any) -> list[str]:
    """What is wrong with one entry; nothing for a right one."""
    if not isinstance(given, dict):
        return ["it is no entry"]
    texts = dict.fromkeys(("id", "device", "at", "by", "job", "row"), str)
    kinds: dict[str, type] = {**texts, "seq": int, "values": dict}
    found = [f"{name} is missing or not right" for name, kind in kinds.items() if type(given.get(name)) is not kind]
    if type(given.get("vine", "")) not in (int, type(None)):
        found.append("vine is no whole number")
    if type(given.get("undoes", "")) is not str:
        found.append("undoes is no text")
    if not found and given["job"] not in JOBS:
        found.append(f"job '{one_line(given['job'])}' is not known")
    return found or _value_faults(given["values"])


def _value_faults(values: dict[str, Any]) -> list[str]:
    def wrong(name: str, value: Any) -> bool:
        if name in _NUMBERS:
            number = type(value) in (int, float) and abs(value) < MOST_ENTERED
            return not number or (name in _WHOLE and (value < 0 or value != int(value)))
        return (name in _TEXTS and type(value) is not str) or (name == "done" and type(value) is not bool)

    found = [f"{name} '{one_line(value)}' is not right" for name, value in values.items() if wrong(name, value)]
    if "weight" in values and values.get("unit") not in SUFFIXES["weight"]:
        found.append("the weight has no unit")
    return found


def _entry(given: Mapping[str, Any]) -> Entry:
    names = ("id", "seq", "device", "at", "by", "job", "row", "vine", "values")
    values = {key: int(value) if key in _WHOLE else value for key, value in given["values"].items()}
    return Entry(**{name: given[name] for name in names} | {"values": values}, undoes=given.get("undoes", ""))


def weights_table(log: FieldLog, *, unit: str = "kg") -> pd.DataFrame:
    """Return the weighed vines as `prescribe --samples` reads them.

    Parameters
    ----------
    log : FieldLog
    unit : {"kg", "g", "lb", "oz"}
        Of the weight's column, `pruning_weight_<unit>`; a weight entered in it stays as it was entered.

    Returns
    -------
    DataFrame
        block, row, vine, vines_weighed, pruning_weight_<unit>, canes, bull_canes, note, date, season. A vine weighed twice
        stands twice.
    """
    factors = SUFFIXES["weight"]

    def weight(values: Mapping[str, Any]) -> float:
        given = values["unit"]
        return float(values["weight"]) if given == unit else round(values["weight"] * factors[given] / factors[unit], 6)

    name = f"pruning_weight_{unit}"
    columns = (*WEIGHTS[:4], name, *WEIGHTS[4:])

    def also(entry: Entry) -> dict[str, Any]:
        together = entry.values.get("vines_weighed", 1)
        return {name: weight(entry.values), "vines_weighed": together, "season": log.season}

    return _table(log, "weigh", columns, "weight", also)


def bud_check_table(log: FieldLog) -> pd.DataFrame:
    """Return the bud checks, a line each: block, row, vine, its place, buds cut and dead, who, note, date."""
    return _table(log, "buds", BUD_CHECKS, "buds_cut")


def bud_check_layer(log: FieldLog) -> gpd.GeoDataFrame:
    """Return the bud checks as the layer `bud_checks` of a vineyard file (WGS 84); those without a place are left out."""
    table = bud_check_table(log)
    table = table[table["lon"].notna() & table["lat"].notna()].reset_index(drop=True)
    points = gpd.points_from_xy(table["lon"].astype(float), table["lat"].astype(float))
    return gpd.GeoDataFrame(table.drop(columns=["lon", "lat"]), geometry=points, crs=4326)


def tick_table(log: FieldLog) -> pd.DataFrame:
    """Return the work reported row by row: block, row, hours, worker, done ("yes" or "no"), date."""
    return _table(log, "prune", TICKS, "done", lambda entry: {"done": "yes" if entry.values["done"] else "no"})


def count_table(log: FieldLog) -> pd.DataFrame:
    """Return the buds counted again: block, row, vine, buds_left, worker (who pruned), note, date."""
    return _table(log, "check", COUNTS, "buds_left", lambda entry: {"worker": entry.values.get("worker", "")})


def left_out_table(log: FieldLog) -> pd.DataFrame:
    """Return the vines of the list that could not be weighed, and why (`LEFT_OUT`): block, row, vine, left_out, date."""
    return _table(log, "weigh", ("block", "row", "vine", "left_out", "date"), "left_out")


def _table(
    log: FieldLog,
    job: str,
    columns: tuple[str, ...],
    needed: str,
    also: Callable[[Entry], dict[str, Any]] = lambda entry: {},
) -> pd.DataFrame:
    """The entries of a job that hold and have the value `needed`, a line each."""
    held = [entry for entry in live_entries(log.entries) if entry.job == job and needed in entry.values]
    lines = [
        {"block": log.block, "row": entry.row, "vine": entry.vine, "date": entry.date, "worker": entry.by}
        | dict(entry.values)
        | also(entry)
        for entry in held
    ]
    table = pd.DataFrame(lines, columns=list(columns))
    whole = [name for name in table if name in (*_WHOLE, "vine", "season")]
    texts = {name: table[name].map(_text).astype(object) for name in ("block", "row", *_TEXTS) if name in table}
    return table.assign(**texts).astype(dict.fromkeys(whole, "Int64"))


def _text(value: Any) -> str:
    return one_line(value) if isinstance(value, str) else ""
