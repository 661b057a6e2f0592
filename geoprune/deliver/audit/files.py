"""The files of a check: whole, or not at all. What names people lies apart, in `manager_only`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pandas as pd

from geoprune.audit import Audit, AuditOptions, Hours, Recount
from geoprune.deliver.audit.pages import recount_page, report_page
from geoprune.deliver.writing.folder import replace_folder
from geoprune.deliver.writing.output import write_page, write_summary
from geoprune.deliver.writing.spreadsheets import write_csv
from geoprune.deliver.writing.summary import summary_head
from geoprune.words import Reader

#: The folder that stays with the manager.
MANAGER = "manager_only"
NO_PAGES: Mapping[str, str] = MappingProxyType({})
COUNT_COLUMNS = ("stop", "block", "row", "vine", "buds_left", "worker", "canes", "note")


@dataclass(frozen=True)
class Target:
    """Where files go and for whom: a folder (replaced when it is an earlier one of ours and `force`), a reader, the day."""

    out: Path
    reader: Reader
    made: date
    force: bool = False


def write_recount(recount: Recount, options: AuditOptions, target: Target, *, pages: Mapping[str, str] = NO_PAGES) -> Path:
    """Write the vines to recount: recount.csv to fill in, recount.html to print, further `pages` (path -> page), such as
    those for the phone, and summary.json with what was asked."""
    blank = recount.vines.reindex(columns=list(COUNT_COLUMNS))
    lots: dict[str, int] = {}
    for key, size in recount.lots.items():
        lots[str(key[0])] = lots.get(str(key[0]), 0) + size
    plans = [
        {"lot": [str(part) for part in key], "vines": recount.lots[key], "recount": plan.size, "may_be_off": plan.accept}
        for key, plan in recount.plans.items()
    ]

    def fill(folder: Path) -> None:
        write_csv(blank, folder / "recount.csv")
        page = recount_page(recount.vines, lots, target.reader, made=target.made)
        (folder / "recount.html").write_text(page, encoding="utf-8")
        for name, content in pages.items():
            write_page(folder / name, content)
        write_summary(_summary("audit plan", asdict(options), target.made) | {"plans": plans}, folder)

    return replace_folder(target.out, fill, force=target.force)


def write_audit(audit: Audit, target: Target) -> Path:
    """Write what a recount found.

    report.html, rows_to_redo.csv, left.csv (evidence for next winter) and checked.csv name nobody; manager_only/workers.csv,
    in the order of names and not of how well each did, is there where workers were named.
    """
    lots = [{name: _plain(value) for name, value in line.items()} for line in audit.lots.to_dict("records")]

    def fill(folder: Path) -> None:
        page = report_page(audit, target.reader, made=target.made)
        (folder / "report.html").write_text(page, encoding="utf-8")
        write_csv(audit.redo, folder / "rows_to_redo.csv")
        write_csv(audit.left, folder / "left.csv")
        write_csv(audit.checked.drop(columns="worker"), folder / "checked.csv")
        _write_workers(audit.workers, folder)
        write_summary(_summary("audit read", asdict(audit.options), target.made) | {"lots": lots}, folder)

    return replace_folder(target.out, fill, force=target.force)


def write_hours(hours: Hours, target: Target) -> Path:
    """Write hours: hours.csv by zone, and manager_only/workers.csv where workers were named."""

    def fill(folder: Path) -> None:
        write_csv(hours.zones, folder / "hours.csv")
        _write_workers(hours.workers, folder)
        write_summary(_summary("audit hours", {}, target.made), folder)

    return replace_folder(target.out, fill, force=target.force)


def _write_workers(workers: pd.DataFrame, folder: Path) -> None:
    if len(workers):
        (folder / MANAGER).mkdir()
        write_csv(workers, folder / MANAGER / "workers.csv")


def _summary(command: str, settings: Mapping[str, Any], made: date) -> dict[str, Any]:
    return {**summary_head(command, made), "settings": dict(settings)}


def _plain(value: Any) -> Any:
    return value.item() if hasattr(value, "item") else value
