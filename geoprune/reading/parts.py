"""Rows, vines and bud checks: names, statuses and counts checked, places brought to the work CRS."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from geoprune.layers import STATUSES
from geoprune.reading.blocks import VINE_SPACING_M
from geoprune.reading.columns import Columns, RawTable, name_text
from geoprune.reading.faults import Faults
from geoprune.reading.places import check_near, to_work

MOST_BUDS = 100_000.0


def check_rows(raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults) -> gpd.GeoDataFrame:
    """Check the rows layer: block, row, line; rows of the same name in a block are a problem."""
    columns = Columns(raw, faults)
    table = pd.DataFrame({"block": known_blocks(columns, blocks), "row": columns.required_text("row")})
    _check_twice(table, ["block", "row"], columns)
    rows = _placed(table, raw, blocks, faults, whose="rows")
    lines = rows.geometry.values
    wrong = ~np.isin(shapely.get_type_id(lines), [1, 5]) | (shapely.length(lines) < VINE_SPACING_M[0])
    if rows.crs is not None:
        found = [(raw.place(i), f"row '{rows['row'].iloc[i]}' is not a line of any length") for i in np.flatnonzero(wrong)]
        columns.faults.add_each(found, "Draw each row as a line from the end of vine 1")
    return rows[~wrong].reset_index(drop=True) if rows.crs is not None else rows


def check_vines(raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults) -> gpd.GeoDataFrame:
    """Check the vines layer: block, row, vine, status; a position told twice is a problem."""
    columns = Columns(raw, faults)
    status = columns.text("status").str.casefold().replace("", "bearing")
    table = pd.DataFrame(
        {
            "block": known_blocks(columns, blocks),
            "row": columns.required_text("row"),
            "vine": columns.number("vine", (1.0, 100_000.0), required=True, whole=True)
            if columns.require("vine")
            else np.nan,
            "status": status,
        }
    )
    unknown = np.flatnonzero(~status.isin(STATUSES).to_numpy())
    found = [(raw.place(i), f"unknown status '{status.iloc[i]}'") for i in unknown]
    columns.faults.add_each(found, f"Use one of {', '.join(STATUSES)}")
    _check_twice(table, ["block", "row", "vine"], columns)
    vines = _placed(table, raw, blocks, faults, whose="vines")
    return vines[vines["vine"].notna()].assign(vine=lambda t: t["vine"].astype(int)).reset_index(drop=True)


def check_bud_checks(raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults) -> gpd.GeoDataFrame:
    """Check the bud checks: whole counts, none more than the buds cut."""
    columns = Columns(raw, faults)
    cut, dead = (
        columns.number(name, (low, MOST_BUDS), required=True, whole=True)
        if columns.require(name)
        else pd.Series(np.nan, raw.table.index)
        for name, low in (("buds_cut", 1.0), ("primary_dead", 0.0))
    )
    second = columns.number("secondary_dead", (0.0, MOST_BUDS), whole=True)
    for name, count in (("primary_dead", dead), ("secondary_dead", second)):
        found = [
            (raw.place(i), f"{name} is {count.iloc[i]:g} of {cut.iloc[i]:g} buds cut") for i in np.flatnonzero(count > cut)
        ]
        columns.faults.add_each(found, "Correct the counts: no more can be dead than were cut")
    table = pd.DataFrame(
        {
            "block": known_blocks(columns, blocks),
            "buds_cut": cut,
            "primary_dead": dead,
            "secondary_dead": second,
            "date": columns.text("date"),
            "source_row": raw.numbers,
        }
    )
    placed = _placed(table, raw, blocks, faults, whose="bud checks")
    whole = placed["buds_cut"].notna() & placed["primary_dead"].notna()
    return placed[whole].astype({"buds_cut": int, "primary_dead": int}).reset_index(drop=True)


def known_blocks(columns: Columns, blocks: gpd.GeoDataFrame) -> pd.Series:
    """Names of the blocks layer for a column of block names (case does not matter); "" where unknown, and noted.

    With a single block the column may be left out or empty.
    """
    raw, names = columns.raw, blocks["block"]
    told = columns.text("block")
    if not len(blocks):
        return told
    if len(blocks) == 1:
        told = told.where(told != "", names.iloc[0])
    elif "block" not in raw.table:
        columns.require("block")
        return told
    folded = {name.casefold(): name for name in names}
    found = told.map(lambda name: folded.get(name.casefold(), ""))
    lost = np.flatnonzero((found == "").to_numpy())
    shown = ", ".join(names.iloc[:6]) + (" ..." if len(names) > 6 else "")
    what = {i: f"unknown block '{told.iloc[i]}'" if told.iloc[i] else "block is empty" for i in lost}
    columns.faults.add_each([(raw.place(i), what[i]) for i in lost], f"Use a name of the blocks layer ({shown})")
    return found


def rows_as_drawn(table: gpd.GeoDataFrame, rows: gpd.GeoDataFrame | None) -> gpd.GeoDataFrame:
    """Return the table with its row names written as in the rows layer; case does not matter."""
    if rows is None:
        return table
    drawn = {(block, row.casefold()): row for block, row in zip(rows["block"], rows["row"], strict=True)}
    named = [drawn.get((b, r.casefold()), r) for b, r in zip(table["block"], table["row"], strict=True)]
    return table.assign(row=pd.Series(named, table.index, dtype=object))


def _check_twice(table: pd.DataFrame, keys: list[str], columns: Columns) -> None:
    filled = table[keys].map(name_text).ne("").all(axis=1)
    folded = table[keys].map(lambda value: name_text(value).casefold())
    found = []
    for i in np.flatnonzero((folded.duplicated() & filled).to_numpy()):
        shown = ", ".join(f"{key} '{name_text(table[key].iloc[i])}'" for key in keys)
        found.append((columns.raw.place(i), f"{shown} stands twice"))
    columns.faults.add_each(found, "Keep one of the two")


def _placed(table: pd.DataFrame, raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults, *, whose: str) -> gpd.GeoDataFrame:
    """The table with its geometry in the work CRS; geometry None and no CRS where places are not known."""
    given = raw.table["geometry"].to_numpy(dtype=object)
    faults = faults.at(raw.file, raw.layer)
    if raw.crs is None and not shapely.is_missing(given).all():
        faults.add("no CRS is declared", "Declare the coordinate reference system of this layer")
    if raw.crs is None or blocks.crs is None:
        return gpd.GeoDataFrame(table, geometry=[None] * len(table))
    series = to_work(given, raw.crs, blocks.crs)
    outlines = blocks.geometry[blocks.geometry.notna()]
    if len(outlines) and not shapely.is_missing(given).all():
        check_near(series, given, raw.crs, outlines, faults, whose=whose)
    return gpd.GeoDataFrame(table, geometry=series.values, crs=blocks.crs)
