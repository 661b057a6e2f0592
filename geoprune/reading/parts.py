"""Rows, vines and bud checks: names, statuses and counts checked, places brought to the work CRS."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from geoprune.layers import STATUSES, column
from geoprune.reading.columns import Columns, RawTable
from geoprune.reading.declared import Declared, as_declared
from geoprune.reading.faults import Faults
from geoprune.reading.places import LONLAT, check_near, to_work, without_place
from geoprune.reading.tables import read_table
from geoprune.reading.vector_files import ENDINGS, layer_names, read_layers
from geoprune.text import few

Table = TypeVar("Table", bound=pd.DataFrame)
#: Outlines are drawn by hand, and phones err: so far a row may lie outside its block unsaid, and this share of it beyond
#: that before it is not believed (design choices).
OUTLINE_M, MOST_OUTSIDE = 10.0, 0.5
#: A line shorter than the closest vines stand is none (design choice).
SHORTEST_ROW_M = 0.3
ROW, VINE = ("block", "row"), ("block", "row", "vine")


def check_rows(raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults) -> gpd.GeoDataFrame:
    """Check the rows layer: block, row, line inside its block; rows of the same name in a block are a problem."""
    columns = Columns(raw, faults)
    table = pd.DataFrame({"block": columns.block(blocks["block"].tolist()), "row": columns.required_text("row")})
    columns.report_twice(table, ROW, needed=ROW)
    before = len(faults.problems)
    rows = _placed(table, raw, blocks, faults, whose="rows")
    if rows.crs is None:
        return rows
    lines = rows.geometry.values
    wrong = ~np.isin(shapely.get_type_id(lines), [1, 5]) | (shapely.length(lines) < SHORTEST_ROW_M)
    lacking = wrong & ~without_place(raw.table["geometry"].to_numpy(dtype=object))
    found = [(raw.place(i), f"row '{rows['row'].iloc[i]}' is not a line of any length") for i in np.flatnonzero(lacking)]
    columns.faults.add_each(found, "Draw each row as a line from the end of vine 1")
    if len(faults.problems) == before:
        _check_inside(rows, blocks, columns)
    return rows[~wrong].reset_index(drop=True)


def _check_inside(rows: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, columns: Columns) -> None:
    """Note rows that lie mostly outside their block, and say where others run past its outline."""
    reach = dict(zip(blocks["block"], blocks.geometry.simplify(OUTLINE_M / 20).buffer(OUTLINE_M), strict=True))
    lines, outlines = rows.geometry.to_numpy(), np.array([reach.get(name) for name in rows["block"]], dtype=object)
    shapely.prepare(outlines)
    past = np.flatnonzero(~shapely.is_missing(outlines) & ~shapely.covers(outlines, lines))
    length = shapely.length(lines[past])
    outside = 1.0 - shapely.length(shapely.intersection(lines[past], outlines[past])) / length
    names = rows[["block", "row"]].iloc[past]
    found = [
        (columns.raw.place(i), f"{share:.0%} of row '{row}' lies outside its block '{block}'")
        for i, share, (block, row) in zip(past, outside, names.to_numpy(), strict=True)
        if share > MOST_OUTSIDE
    ]
    columns.faults.add_each(found, "Draw the row inside the block's outline, or correct its block")
    for block, farthest in pd.Series(outside * length).groupby(names["block"].to_numpy()):
        columns.faults.remark(
            "warning", "rows_past_outline", block=block, rows=len(farthest), outside_m=float(farthest.max())
        )


def check_vines(raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults) -> gpd.GeoDataFrame:
    """Check the vines layer: block, row, vine, status; a position listed twice is a problem."""
    columns = Columns(raw, faults)
    status = columns.text("status").str.casefold().replace("", "bearing")
    table = pd.DataFrame(
        {
            "block": columns.block(blocks["block"].tolist()),
            "row": columns.required_text("row"),
            "vine": columns.read(column("vines", "vine")),
            "status": status,
            "source_place": raw.places(),
        }
    )
    unknown = np.flatnonzero(~status.isin(STATUSES).to_numpy())
    found = [(raw.place(i), f"unknown status '{status.iloc[i]}'") for i in unknown]
    columns.faults.add_each(found, f"Use one of {', '.join(STATUSES)}")
    columns.report_twice(table, VINE, needed=VINE)
    vines = _placed(table, raw, blocks, faults, whose="vines")
    return vines[vines["vine"].notna()].assign(vine=lambda t: t["vine"].astype(int)).reset_index(drop=True)


def open_bud_check_file(path: Path, faults: Faults) -> RawTable | None:
    """Open bud checks as they are: a table, or a file of points; None when nothing can be read, and a problem is noted."""
    faults = faults.at(path.name, "bud_checks")
    if path.suffix.lower() not in ENDINGS:
        return read_table(path, faults, also=ENDINGS)
    names = layer_names(path) or [path.stem]
    only = {"bud_checks": names[0]} if len(names) == 1 else {}
    found = read_layers(path, faults, only)
    if found and "bud_checks" not in found:
        faults.add("there is no layer bud_checks", "Name the layer bud_checks")
    return found.get("bud_checks")


def read_bud_check_file(path: Path, faults: Faults, declared: Declared | None = None) -> RawTable | None:
    """Read bud checks as they were declared, from a table with lon and lat or a file of points.

    None when nothing can be read, and a problem is noted.
    """
    raw = open_bud_check_file(path, faults)
    if raw is None:
        return None
    raw = as_declared(raw, declared or Declared(), faults)
    if "geometry" in raw.table:
        return raw
    columns = Columns(raw, faults.at(path.name, "bud_checks"))
    named = [columns.require(name) for name in ("lon", "lat")]  # of both, what is missing is reported
    if not all(named):
        return None
    lon, lat = (columns.number(name, (-most, most), required=True) for name, most in (("lon", 180.0), ("lat", 90.0)))
    places = np.full(len(raw.table), None, dtype=object)
    there = (lon.notna() & lat.notna()).to_numpy()
    places[there] = shapely.points(lon[there].to_numpy(), lat[there].to_numpy())
    return replace(raw, table=raw.table.drop(columns=["lon", "lat"]).assign(geometry=places), crs=LONLAT)


def check_bud_checks(raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults) -> gpd.GeoDataFrame:
    """Check the bud checks: whole counts, none more than the buds cut."""
    columns = Columns(raw, faults)
    cut, dead, second = (columns.read(column("bud_checks", name)) for name in ("buds_cut", "primary_dead", "secondary_dead"))
    for name, count in (("primary_dead", dead), ("secondary_dead", second)):
        found = [
            (raw.place(i), f"{name} is {count.iloc[i]:g} of {cut.iloc[i]:g} buds cut") for i in np.flatnonzero(count > cut)
        ]
        columns.faults.add_each(found, "Correct the counts: no more can be dead than were cut")
    more = np.flatnonzero((second > dead) & ~(second > cut))
    if len(more):
        columns.faults.remark("warning", "more_secondary_dead", places=few(raw.place(i) for i in more))
    table = pd.DataFrame(
        {
            "block": columns.block(blocks["block"].tolist()),
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


def rows_as_drawn(table: Table, rows: gpd.GeoDataFrame | None) -> Table:
    """Return the table with its row names written as in the rows layer; case does not matter."""
    if rows is None:
        return table
    drawn = {(block, row.casefold()): row for block, row in zip(rows["block"], rows["row"], strict=True)}
    named = [drawn.get((b, r.casefold()), r) for b, r in zip(table["block"], table["row"], strict=True)]
    return table.assign(row=pd.Series(named, table.index, dtype=object))


def _placed(table: pd.DataFrame, raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults, *, whose: str) -> gpd.GeoDataFrame:
    """The table with its geometry in the work CRS; geometry None and no CRS where places are not known."""
    given = raw.table["geometry"].to_numpy(dtype=object)
    faults = faults.at(raw.file, raw.layer)
    if raw.crs is None and not shapely.is_missing(given).all():
        faults.add("no CRS is declared", "Declare the coordinate reference system of this layer")
    if raw.crs is None or blocks.crs is None:
        return gpd.GeoDataFrame(table, geometry=[None] * len(table))
    broken = [
        (raw.place(i), "a coordinate is no number or nowhere on the earth") for i in np.flatnonzero(without_place(given))
    ]
    faults.add_each(broken, "Draw it again")
    series = to_work(given, raw.crs, blocks.crs)
    outlines = blocks.geometry[blocks.geometry.notna()]
    if len(outlines) and not shapely.is_missing(given).all():
        check_near(series, given, raw.crs, outlines, faults, whose=whose)
    return gpd.GeoDataFrame(table, geometry=series.values, crs=blocks.crs)
