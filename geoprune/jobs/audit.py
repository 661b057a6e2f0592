"""Checking the crew's work: draw vines to recount, judge the counts, estimate hours. No click, nothing printed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from geoprune.audit import (
    AQLS,
    Audit,
    AuditOptions,
    Hours,
    Recount,
    buds_left,
    check_counts,
    draw_recount,
    hours_by_zone,
    judge_few,
    judge_groups,
    rows_to_redo,
    worker_hours,
)
from geoprune.deliver.field import estate_of, field_block_from_tables, render_field_page, season_of
from geoprune.deliver.folders import block_folders
from geoprune.errors import DataError, Message, Problem
from geoprune.jobs.prescribe import WRITTEN_SETTINGS
from geoprune.plan import vines_apart
from geoprune.reading import Results, Winter, read_counts, read_results, read_ticks, read_winter
from geoprune.settings.reading import settings_from
from geoprune.signs import READ_SIGNS, SIGNS_DISAGREE
from geoprune.toml_files import read_toml
from geoprune.words import Reader


def plan_recount(folder: Path, options: AuditOptions | None = None) -> Recount:
    """Draw the vines to recount from the results in a folder.

    Raises
    ------
    DataError
        If the folder holds no results, or the options do not go together.
    """
    options = options or AuditOptions()
    _check_options(options)
    results = read_results(folder)
    pruned = results.pruned
    vines, plans = draw_recount(
        pruned,
        results.runs,
        lot=options.lot,
        aql=options.aql,
        redo_from=options.redo_from,
        certainty=options.certainty,
        seed=options.seed,
    )
    keys = [name for name in ("block", options.lot) if name in pruned]
    sizes = pruned.groupby(list(dict.fromkeys(keys)), sort=False).size()
    lots = {key if isinstance(key, tuple) else (key,): int(size) for key, size in sizes.items()}
    return Recount(vines, plans, lots)


def recount_pages(folder: Path, recount: Recount, reader: Reader) -> dict[str, str]:
    """Return the field page of each block with its vines to recount: path -> page.

    The page keeps the book of the page that lies among the results: rows ticked off on that one tell who pruned.

    Raises
    ------
    DataError
        If the folder's layers or summary cannot be used.
    """
    winter, results = read_winter(folder), read_results(folder)
    folders = block_folders(winter.blocks)
    return {
        f"{folders[str(block)]}/field.html": _recount_page(winter, results, str(block), drawn, reader)
        for block, drawn in recount.vines.groupby("block", sort=False)
    }


def _recount_page(winter: Winter, results: Results, block: str, drawn: pd.DataFrame, reader: Reader) -> str:
    vines, zones = winter.of("vines", block), winter.of("zones", block)
    runs = results.runs[results.runs["block"] == block]
    why = dict(zip(zones["zone"], zones["no_number"], strict=True))
    page = field_block_from_tables(
        block,
        season=season_of(vines, winter.made),
        rows=winter.of("rows", block),
        runs=runs.assign(no_number=runs["zone"].map(why)),
        vines=vines,
        check=drawn,
        apart=vines_apart(vines),
        estate=estate_of(winter.sources),
        signs=(READ_SIGNS, SIGNS_DISAGREE) if (runs["bands"] > 0).any() else (),
    )
    return render_field_page(page, language=reader.language, units=reader.units)


def audit_counts(
    folder: Path, counts: list[Path], options: AuditOptions | None = None, *, settings: Path | None = None
) -> Audit:
    """Judge recounted vines against the results in a folder.

    Parameters
    ----------
    folder : Path
    counts : list of Path
    options : AuditOptions, optional
    settings : Path, optional
        Settings file whose [columns.counts] says what the columns are called; the results' own where none is given.

    Raises
    ------
    DataError
        If folder or counts cannot be used; all problems of the counts together.
    """
    options = options or AuditOptions()
    _check_options(options)
    results = read_results(folder)
    counted = read_counts(counts, results, _called("counts", folder, settings))
    checked = check_counts(counted, results.pruned, options.tolerance)
    if checked.empty:
        what, mend = "none of the counted vines is pruned to a number", "Count vines of the list that audit plan draws"
        raise DataError([Problem(counts[0].name, "counts", "", what, mend)])
    keys = list(dict.fromkeys(["block", options.lot]))
    named = checked[checked["worker"] != ""]
    limits = {"aql": options.aql, "redo_from": options.redo_from}
    return Audit(
        options,
        checked,
        judge_groups(checked, keys, aql=options.aql),
        judge_few(named, ["block", "worker"], **limits).sort_values(["worker", "block"], ignore_index=True),
        rows_to_redo(checked, **limits),
        buds_left(checked, results.pruned),
        _count_remarks(counted, results),
    )


def estimate_hours(
    folder: Path, ticks: list[Path], *, cost_per_hour: float | None = None, settings: Path | None = None
) -> Hours:
    """Tell pace, hours and cost from ticked rows.

    Raises
    ------
    DataError
        If folder or ticks cannot be used.
    """
    results = read_results(folder)
    ticked = read_ticks(ticks, results, _called("ticks", folder, settings))
    zones = hours_by_zone(ticked, results.runs, results.trainings, cost_per_hour=cost_per_hour)
    return Hours(zones, worker_hours(ticked, results.runs), _hour_remarks(ticked, zones))


def _called(table: str, folder: Path, settings: Path | None) -> Mapping[str, str]:
    """What the columns of a table are called, as a settings file says: the one given, else that of the results."""
    file = folder / WRITTEN_SETTINGS if settings is None else settings
    if settings is None and not file.exists():
        return {}
    return settings_from({"columns": read_toml(file).get("columns", {})}, file).columns.get(table, {})


def _check_options(options: AuditOptions) -> None:
    faults = []
    if options.aql not in AQLS:
        faults.append(f"the limit {options.aql:g} % is not one of the standard's ({', '.join(f'{a:g}' for a in AQLS)})")
    if not options.aql / 100 < options.redo_from <= 1:
        faults.append(f"the share to redo, {options.redo_from:.0%}, does not lie above the limit of {options.aql:g} %")
    if not 0.5 <= options.certainty < 1:
        faults.append(f"a certainty of {options.certainty:g} cannot be")
    if faults:
        raise DataError([Problem("", "", "options", fault, "Choose another figure") for fault in faults])


def _count_remarks(counted: pd.DataFrame, results: Results) -> tuple[Message, ...]:
    keys = ["block", "row", "vine"]
    places = pd.MultiIndex.from_frame(counted[keys])
    outside = ~places.isin(pd.MultiIndex.from_frame(results.pruned[keys]))
    numbers = {
        "audit.blank": counted.attrs["blank"],
        "audit.not_to_number": int(places[outside].nunique()),
        "audit.twice": int(places[~outside][places[~outside].duplicated()].nunique()),
    }
    return tuple(Message(key, {"count": count}) for key, count in numbers.items() if count)


def _hour_remarks(ticks: pd.DataFrame, zones: pd.DataFrame) -> tuple[Message, ...]:
    said = []
    for block, here in zones.groupby("block", sort=False):
        if here["minutes_per_vine"].isna().all():
            said.append(Message("audit.no_rate", {"block": block}))
        elif not here["own_rate"].all():
            said.append(Message("audit.shared_rate", {"block": block}))
    finished = ticks.groupby(["block", "row"])["done"].transform("any")
    open_hours = float(ticks.loc[~finished, "hours"].sum())
    if open_hours > 0:
        said.append(Message("audit.open_hours", {"hours": open_hours}))
    return tuple(said)
