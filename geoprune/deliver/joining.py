"""The joined lists of several phones as files: tables for the other commands, what stands twice, a list for the phones."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from geoprune.deliver.field import (
    Entry,
    FieldLog,
    bud_check_table,
    count_table,
    left_out_table,
    list_of,
    live_entries,
    tick_table,
    weights_table,
)
from geoprune.deliver.folders import block_folders
from geoprune.deliver.writing.folder import replace_folder
from geoprune.deliver.writing.output import write_summary
from geoprune.deliver.writing.spreadsheets import write_csv
from geoprune.deliver.writing.summary import summary_head
from geoprune.layers import Source

#: Jobs in which a vine has one value; rows may be ticked off in parts.
ONE_VALUE = ("weigh", "buds", "check")
TWICE = ("block", "season", "job", "row", "vine", "value", "unit", "by", "phone", "at")
#: What an entry of a job is known by.
VALUES = {"weigh": "weight", "buds": "primary_dead", "check": "buds_left"}


@dataclass(frozen=True)
class WrittenAs:
    """The unit of the weights ("kg", "g", "lb", "oz"), the day, and whether an earlier folder of ours may be replaced."""

    unit: str
    made: date
    force: bool = False


def tables_of(logs: Sequence[FieldLog], *, unit: str = "kg") -> dict[str, pd.DataFrame]:
    """Return file name -> table over all blocks, those with lines only, the last one with what stands twice.

    Parameters
    ----------
    logs : sequence of FieldLog
    unit : {"kg", "g", "lb", "oz"}
        Of the weights.
    """
    made = {
        "weights": [weights_table(log, unit=unit) for log in logs],
        "not_weighed": [left_out_table(log) for log in logs],
        "bud_checks": [bud_check_table(log) for log in logs],
        "ticks": [tick_table(log) for log in logs],
        "counts": [count_table(log) for log in logs],
        "twice": [twice_table(log) for log in logs],
    }
    filled = {name: [table for table in tables if len(table)] for name, tables in made.items()}
    return {f"{name}.csv": pd.concat(tables, ignore_index=True) for name, tables in filled.items() if tables}


def twice_table(log: FieldLog) -> pd.DataFrame:
    """Return every entry of a vine that has more than one for a job, one line each; all of them stand in the tables too."""
    held = [entry for entry in live_entries(log.entries) if entry.job in ONE_VALUE]
    times = Counter(map(_place, held))
    lines = [
        {
            "block": log.block,
            "season": log.season,
            "job": entry.job,
            "row": entry.row,
            "vine": entry.vine,
            "value": entry.values.get(VALUES[entry.job], entry.values.get("left_out", "")),
            "unit": entry.values.get("unit", ""),
            "by": entry.by,
            "phone": entry.device,
            "at": entry.at,
        }
        for entry in sorted(held, key=_place)
        if times[_place(entry)] > 1
    ]
    return pd.DataFrame(lines, columns=list(TWICE))


def write_joined(
    logs: Sequence[FieldLog],
    out: Path,
    asked: WrittenAs,
    *,
    entries: Sequence[tuple[str, int]] = (),
    sources: Sequence[Source] = (),
) -> Path:
    """Write tables and joined lists into the folder `out`: whole, or not at all.

    Parameters
    ----------
    logs : sequence of FieldLog
        Of one estate; one for each block and winter.
    out : Path
    asked : WrittenAs
    entries, sources
        For summary.json: how many entries each file held, and the digests of the files.
    """
    folders = block_folders(dict.fromkeys(log.block for log in logs))

    def fill(folder: Path) -> None:
        for name, table in tables_of(logs, unit=asked.unit).items():
            write_csv(table, folder / name)
        for log in logs:
            text = json.dumps(list_of(log), ensure_ascii=False, separators=(",", ":"))
            (folder / f"{folders[log.block]}_field_{log.season}.json").write_text(text, encoding="utf-8")
        record = {"files_read": [{"name": name, "entries": count} for name, count in entries]}
        record |= {"inputs": [asdict(source) for source in sources]}
        write_summary(summary_head("join", asked.made) | record, folder)

    return replace_folder(Path(out), fill, force=asked.force)


def _place(entry: Entry) -> tuple[str, str, int]:
    return entry.job, entry.row, -1 if entry.vine is None else entry.vine
