"""The blocks layer: names, spacings, training, outlines."""

from __future__ import annotations

from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import Transformer

from geoprune.areas import geodesic_area_ha
from geoprune.errors import DataError, Message
from geoprune.reading.columns import Columns, RawTable
from geoprune.reading.faults import Faults
from geoprune.reading.places import LONLAT, MOST_DEGREES, check_position, without_place, work_crs
from geoprune.rules import find_training
from geoprune.rules.rule import fold

#: What can be; beyond it a unit or a comma is wrong (design choices).
ROW_SPACING_M, VINE_SPACING_M = (0.9, 6.0), (0.3, 5.0)
#: A bearing lies along a side this near to it, no shorter than this share of the longest, corners this small left out
#: (design choices); and how far ahead the north of a grid is told from true north.
ALONG_DEG, LEAST_SIDE, STRAIGHT_M, AHEAD_M = 0.1, 0.4, 0.5, 50.0
AREA_HA = (0.01, 500.0)
#: Shares of ground in common: of the smaller block, from which it is said; of the larger one, from which two are one.
OVERLAP, SAME_GROUND = 0.01, 0.9
VINES_PER_PANEL = (1.0, 40.0)
PLANTED = (1600.0, date.today().year + 1.0)
WOOD_LENGTHS_M = {"cordon_length": (0.2, 20.0), "cane_length": (0.2, 5.0)}
WOOD_SPACINGS_MM = {"spur_spacing": (30.0, 1000.0), "node_spacing": (20.0, 300.0)}
WOOD_COUNTS = {
    "canes": (1.0, 12.0),
    "buds_per_cane": (4.0, 40.0),
    "buds_per_spur": (1.0, 8.0),
    "renewal_spurs": (0.0, 20.0),
    "buds_per_renewal_spur": (1.0, 3.0),
}


def check_blocks(raw: RawTable, faults: Faults) -> gpd.GeoDataFrame:
    """Check the blocks layer and bring it to the work CRS.

    Returns
    -------
    GeoDataFrame
        The columns of `Vineyard.blocks`; its `crs` is None, and its geometry empty, where places are not known.
        Values that could not be read are missing, and a problem is noted.
    """
    columns = Columns(raw, faults)
    if not len(raw.table):
        columns.faults.add("there is no block", "Draw at least one polygon")
    names = _unique_names(columns)
    table = pd.DataFrame(
        {
            "block": names,
            "variety": columns.required_text("variety"),
            "rule": columns.text("rule") if columns.require("rule") else "",
            "training": _training(columns, names),
            "row_spacing_m": columns.quantity("row_spacing", "length", ROW_SPACING_M, required="every row"),
            "vine_spacing_m": columns.quantity("vine_spacing", "length", VINE_SPACING_M, required="every row"),
            "planted": columns.number("planted", PLANTED, whole=True),
            "vines_per_panel": columns.number("vines_per_panel", VINES_PER_PANEL, whole=True),
            "row_bearing_deg": columns.number("row_bearing_deg", (-360.0, 360.0)) % 360.0,
            **_wood(columns),
        }
    )
    return _placed(table, raw, names, columns.faults)


def _wood(columns: Columns) -> dict[str, pd.Series]:
    """Lengths and numbers of the block's own wood, where it has columns for them."""
    lengths = {f"{name}_m": columns.quantity(name, "length", limits) for name, limits in WOOD_LENGTHS_M.items()}
    spacings = {f"{name}_mm": columns.quantity(name, "cane", limits) for name, limits in WOOD_SPACINGS_MM.items()}
    return lengths | spacings | {name: columns.number(name, limits, whole=True) for name, limits in WOOD_COUNTS.items()}


def _unique_names(columns: Columns) -> pd.Series:
    names = columns.required_text("block")
    folded = names.str.casefold()
    for position in np.flatnonzero(folded.duplicated() & (names != "")):
        columns.faults.add(
            f"block '{names.iloc[position]}' stands twice", "Give each block its own name", row=columns.raw.place(position)
        )
    return names


def _training(columns: Columns, names: pd.Series) -> pd.Series:
    """Training in geoprune's words; other names of the trade are taken and said."""
    told = columns.required_text("training")
    found = [_training_of(columns, i, word, block) for i, (word, block) in enumerate(zip(told, names, strict=True))]
    return pd.Series(found, told.index, dtype=object)


def _training_of(columns: Columns, position: int, told: str, block: str) -> str:
    if not told:
        return ""
    try:
        training = find_training(told)
    except DataError as error:
        for problem in error.problems:
            columns.faults.add(f"{problem.what} of block '{block}'", problem.mend, row=columns.raw.place(position))
        return ""
    if fold(told) != fold(training.id):
        ours = Message(f"recipe.training_{training.drawing}")
        columns.faults.remark("assumed", "training_also_called", block=block, told=told, training=ours)
    return training.id


def _placed(table: pd.DataFrame, raw: RawTable, names: pd.Series, faults: Faults) -> gpd.GeoDataFrame:
    if raw.crs is None:
        faults.add("no CRS is declared", "Declare the coordinate reference system in the file (a .prj beside a .shp)")
        return gpd.GeoDataFrame(table, geometry=[None] * len(table))
    outlines = _polygons(raw, names, faults)
    if raw.crs.is_geographic and np.abs(raw_bounds(raw)).max(initial=0.0) > MOST_DEGREES:
        faults.add("the CRS is in degrees, but the coordinates are not", "Declare the CRS the blocks were drawn in")
        outlines[:] = None
    series = gpd.GeoSeries(outlines, crs=raw.crs)
    known = ~shapely.is_missing(outlines)
    if not known.any():
        return gpd.GeoDataFrame(table, geometry=[None] * len(table))
    try:
        lonlat = series.to_crs(LONLAT)
        good = check_position(lonlat[known], faults)
        work = work_crs(series[known]) if good else None
    except RuntimeError:
        faults.add("the coordinates lie nowhere on the earth", "Check the coordinates and the declared CRS")
        work = None
    if work is None:
        return gpd.GeoDataFrame(table, geometry=[None] * len(table))
    blocks = gpd.GeoDataFrame(table, geometry=series.to_crs(work).values, crs=work)
    sound = _check_areas(blocks, geodesic_area_ha(lonlat), raw, known, faults)
    blocks.loc[~sound, "geometry"] = None
    _check_overlap(blocks, raw, faults)
    return _bearings_on_grid(blocks, faults)


def _bearings_on_grid(blocks: gpd.GeoDataFrame, faults: Faults) -> gpd.GeoDataFrame:
    """Row bearings, told from true north, on the grid of the work CRS.

    Where a bearing does not lie along a straight side of the outline, but would if it was read off the grid, it was: said.
    """
    there = np.flatnonzero(blocks["row_bearing_deg"].notna() & ~blocks.geometry.is_empty & blocks.geometry.notna())
    if not len(there):
        return blocks
    to_degrees = Transformer.from_crs(blocks.crs, blocks.crs.geodetic_crs, always_xy=True)
    middle = shapely.get_coordinates(shapely.centroid(blocks.geometry.values[there]))
    lon, lat = to_degrees.transform(*middle.T)
    bearing = blocks["row_bearing_deg"].to_numpy(dtype=float, copy=True)
    lon, lat, _ = blocks.crs.get_geod().fwd(lon, lat, bearing[there], np.full(len(there), AHEAD_M))
    ahead = np.column_stack(to_degrees.transform(lon, lat, direction="INVERSE")) - middle
    for i, true in zip(there, np.rad2deg(np.arctan2(ahead[:, 0], ahead[:, 1])) % 360.0, strict=True):
        outline = blocks.geometry.iloc[i]
        if _along_a_side(outline, bearing[i]) and not _along_a_side(outline, true):
            fields = {"degrees": float(abs((bearing[i] - true + 180.0) % 360.0 - 180.0))}
            faults.remark("assumed", "bearing_on_grid", block=str(blocks["block"].iloc[i]), **fields)
        else:
            bearing[i] = true
    return blocks.assign(row_bearing_deg=bearing)


def _along_a_side(outline: shapely.Geometry, bearing_deg: float) -> bool:
    """Whether a bearing lies along one of the longer straight sides of an outline, one way or the other."""
    rings = [part.exterior for part in shapely.get_parts(outline.simplify(STRAIGHT_M)) if not part.is_empty]
    sides = np.concatenate([np.diff(np.asarray(ring.coords), axis=0) for ring in rings])
    length = np.hypot(*sides.T)
    turn = (np.rad2deg(np.arctan2(sides[:, 0], sides[:, 1])) - bearing_deg + 90.0) % 180.0 - 90.0
    return bool(((np.abs(turn) <= ALONG_DEG) & (length >= LEAST_SIDE * length.max())).any())


def _polygons(raw: RawTable, names: pd.Series, faults: Faults) -> NDArray[np.object_]:
    """Outlines as valid polygons; None where there is none, and a problem is noted."""
    outlines = raw.table["geometry"].to_numpy(dtype=object, copy=True)
    wrong = ~np.isin(shapely.get_type_id(outlines), [3, 6]) | shapely.is_empty(outlines)
    found = [
        (raw.place(i), f"block '{names.iloc[i]}' is {_kind(outlines[i])}, not a polygon") for i in np.flatnonzero(wrong)
    ]
    faults.add_each(found, "Draw the block's outline as a polygon")
    broken = ~wrong & without_place(outlines)
    found = [(raw.place(i), f"block '{names.iloc[i]}' has a corner that is no place") for i in np.flatnonzero(broken)]
    faults.add_each(found, "Draw the outline again: a coordinate is no number or nowhere on the earth")
    wrong |= broken
    outlines[wrong] = None
    for i in np.flatnonzero(~wrong & ~shapely.is_valid(outlines)):
        mended = shapely.make_valid(outlines[i], method="structure", keep_collapsed=False)
        parts = [part for part in shapely.get_parts(mended) if part.geom_type == "Polygon" and part.area > 0]
        outlines[i] = shapely.union_all(parts) if parts else shapely.Polygon()
        if parts:
            faults.remark("mended", "outline_mended", block=names.iloc[i])
    return outlines


def _kind(geometry: shapely.Geometry | None) -> str:
    return "without a shape" if geometry is None or geometry.is_empty else f"a {geometry.geom_type}"


def _check_areas(
    blocks: gpd.GeoDataFrame, area_ha: NDArray[np.float64], raw: RawTable, known: NDArray[np.bool_], faults: Faults
) -> NDArray[np.bool_]:
    low, high = AREA_HA
    sound = known & (area_ha >= low) & (area_ha <= high)
    degrees = raw.crs is not None and raw.crs.is_projected and np.abs(raw_bounds(raw)).max(initial=0.0) <= 360
    hint = "The numbers look like degrees, but the CRS is not: declare EPSG:4326" if degrees else "Check outline and CRS"
    found = [
        (raw.place(i), f"block '{blocks['block'].iloc[i]}' has an area of {area_ha[i]:.4g} ha ({low:g} to {high:g})")
        for i in np.flatnonzero(known & ~sound)
    ]
    faults.add_each(found, hint)
    return sound


def raw_bounds(raw: RawTable) -> NDArray[np.float64]:
    """West, south, east, north of a raw table as given; empty when it holds no coordinates."""
    bounds = shapely.total_bounds(raw.table["geometry"].to_numpy(dtype=object))
    return bounds[np.isfinite(bounds)]


def _check_overlap(blocks: gpd.GeoDataFrame, raw: RawTable, faults: Faults) -> None:
    """Say which blocks lie over each other by more than 1 % of the smaller; the same ground under two names is a problem."""
    shapes, names = blocks.geometry.values, blocks["block"]
    first, second = blocks.sindex.query(shapes, predicate="intersects")
    for i, j in zip(first[first < second], second[first < second], strict=True):
        common = shapes[i].intersection(shapes[j]).area
        if names.iloc[i].casefold() == names.iloc[j].casefold():
            continue
        if common > SAME_GROUND * max(shapes[i].area, shapes[j].area):
            what = f"block '{names.iloc[j]}' is the same ground as block '{names.iloc[i]}'"
            faults.add(what, "Draw each block once", row=raw.place(j))
        elif common > OVERLAP * min(shapes[i].area, shapes[j].area):
            faults.remark("warning", "blocks_overlap", block=names.iloc[i], other=names.iloc[j])
