"""The blocks layer: names, spacings, training, outlines."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from geoprune.areas import GEOD, geodesic_area_ha
from geoprune.errors import DataError
from geoprune.layers import Column, column, columns_of
from geoprune.reading.columns import Columns, RawTable, matched
from geoprune.reading.faults import Faults
from geoprune.reading.places import LONLAT, MOST_DEGREES, Projection, check_position, layers_crs, projections, without_place
from geoprune.rules import Training, find_training
from geoprune.rules.rule import fold
from geoprune.units import SUFFIXES

#: A bearing lies along a side this near to it, no shorter than this share of the longest, corners this small left out
#: (design choices); and how far ahead the north of a grid is measured against true north.
ALONG_DEG, LEAST_SIDE, STRAIGHT_M, AHEAD_M = 0.1, 0.4, 0.5, 50.0
AREA_HA = (0.01, 500.0)
#: A block lies in no more parts than this (design choice: terraces have dozens).
MOST_PARTS = 500
#: Shares of ground in common: of the smaller block, from which it is said; of the larger one, from which two are one.
OVERLAP, SAME_GROUND = 0.01, 0.9
#: Two lengths in one cell, with or without their unit: 2,5 x 1,2; 2.5m × 1.2m; 8/6.
TWO_LENGTHS = r"^\s*([\d.,]+)\s*(?:{unit}|{sign})?\.?\s*(?:[x×*/]|por|by|per)\s*([\d.,]+)\s*(?:{unit}|{sign})?\.?\s*$"


def two_lengths(unit: str) -> str:
    """Return the shape of two lengths in one cell, in a unit that may stand behind each: 2,5 x 1,2 or 9' x 8'."""
    return TWO_LENGTHS.format(unit=unit, sign="['′’]" if "ft" in unit else "(?!)")


def check_blocks(
    raw: RawTable, faults: Faults, trainings: Mapping[str, Training] | None = None
) -> tuple[list[gpd.GeoDataFrame], CRS | None]:
    """Check the blocks layer and bring it to projections true to length; `trainings` as `rules.load_trainings` gives them.

    Returns
    -------
    list of GeoDataFrame
        The columns of `Vineyard.blocks`, a table for each projection. Each names all blocks, those of other projections
        without a shape. One table without `crs` or shapes where places are not known. Values that could not be read are
        missing, and a problem is noted.
    CRS or None
        That in which people get layers (`Vineyard.layers_crs`).
    """
    columns = Columns(raw, faults)
    if not len(raw.table):
        columns.faults.add("there is no block", "Draw at least one polygon")
    names = _unique_names(columns)
    training = _training(columns, names, trainings)
    given = columns.text("training_as_given") if columns.has("training_as_given") else columns.text("training")
    special: dict[str, pd.Series] = {"block": names, "training": training, "training_as_given": given, **_spacings(columns)}
    sides = {entry.name: _one_of(columns, entry) for entry in columns_of("blocks") if entry.one_of}
    plain = {entry.si_name: entry for entry in columns_of("blocks") if entry.name != "row_by_vine"}
    read = {name: columns.read(entry) for name, entry in plain.items() if name not in special | sides}
    found = special | sides | read
    table = pd.DataFrame({name: found[name] for name in (*plain, "training_as_given")})
    table["row_bearing_deg"] %= 360.0
    return _placed(table, raw, names, columns.faults)


def _spacings(columns: Columns) -> dict[str, pd.Series]:
    """Spacings of rows and vines where both stand in one cell, such as 2,5 x 1,2; nothing where they have their columns."""
    entry = column("blocks", "row_by_vine")
    found = [name for name in entry.names if name in columns.table]
    if not found:
        return {}
    wanted = column("blocks", "row_spacing"), column("blocks", "vine_spacing")
    both = [name for spacing in wanted for name in spacing.names if name in columns.table]
    if both or len(found) > 1:
        columns.faults.add(
            f"spacings stand twice ({', '.join([*found, *both])})", f"Keep {found[0]}, or one column for each"
        )
    unit = found[0].rsplit("_", 1)[1]
    parts = columns.text(found[0]).str.extract(two_lengths(unit), flags=re.IGNORECASE)
    wrong = np.flatnonzero(parts[0].isna().to_numpy())
    said = [(columns.raw.place(i), f"{found[0]} '{columns.text(found[0]).iloc[i]}' is not two lengths") for i in wrong]
    columns.faults.add_each(said, "Write row spacing x vine spacing, such as 2.5 x 1.2")
    names = [f"{spacing.name}_{unit}" for spacing in wanted]
    split = parts.where(parts.notna(), "").set_axis(names, axis=1)
    apart = Columns(replace(columns.raw, table=split, decimal_comma=columns.raw.decimal_mark != "."), columns.faults)
    return {
        spacing.si_name: apart.number(name, spacing.limits, factor=SUFFIXES["length"][unit], shown_unit="m")
        for spacing, name in zip(wanted, names, strict=True)
    }


def _one_of(columns: Columns, entry: Column) -> pd.Series:
    """Texts of a column that takes a few words only, written as these; "" where empty."""
    given = columns.text(entry.name)
    found = matched(given, entry.one_of)
    wrong = np.flatnonzero(((found == "") & (given != "")).to_numpy())
    said = [(columns.raw.place(i), f"unknown {entry.name} '{given.iloc[i]}'") for i in wrong]
    columns.faults.add_each(said, f"Use one of {', '.join(entry.one_of)}")
    return found


def _unique_names(columns: Columns) -> pd.Series:
    names = columns.required_text("block")
    folded = names.str.casefold()
    for position in np.flatnonzero(folded.duplicated() & (names != "")):
        columns.faults.add(
            f"block '{names.iloc[position]}' stands twice", "Give each block its own name", row=columns.raw.place(position)
        )
    return names


def _training(columns: Columns, names: pd.Series, known: Mapping[str, Training] | None) -> pd.Series:
    """Training in geoprune's words; other names of the trade are taken and said."""
    given = columns.required_text("training")
    words = zip(given, names, strict=True)
    found = [_training_of(columns, i, word, block, known) for i, (word, block) in enumerate(words)]
    return pd.Series(found, given.index, dtype=object)


def _training_of(columns: Columns, position: int, given: str, block: str, known: Mapping[str, Training] | None) -> str:
    if not given:
        return ""
    try:
        training = find_training(given, known)
    except DataError as error:
        for problem in error.problems:
            columns.faults.add(f"{problem.what} of block '{block}'", problem.mend, row=columns.raw.place(position))
        return ""
    if fold(given) != fold(training.id):
        columns.faults.remark("assumed", "training_also_called", block=block, given=given, training=training.name)
    return training.id


def _placed(
    table: pd.DataFrame, raw: RawTable, names: pd.Series, faults: Faults
) -> tuple[list[gpd.GeoDataFrame], CRS | None]:
    nowhere = [gpd.GeoDataFrame(table, geometry=[None] * len(table))], None
    if raw.crs is None:
        faults.add("no CRS is declared", "Declare the coordinate reference system in the file (a .prj beside a .shp)")
        return nowhere
    outlines = _polygons(raw, names, faults)
    if raw.crs.is_geographic and np.abs(raw_bounds(raw)).max(initial=0.0) > MOST_DEGREES:
        faults.add("the CRS is in degrees, but the coordinates are not", "Declare the CRS the blocks were drawn in")
        outlines[:] = None
    series = gpd.GeoSeries(outlines, crs=raw.crs)
    known = ~shapely.is_missing(outlines)
    if not known.any():
        return nowhere
    try:
        lonlat = series.to_crs(LONLAT)
    except RuntimeError:
        faults.add("the coordinates lie nowhere on the earth", "Check the coordinates and the declared CRS")
        return nowhere
    if not check_position(lonlat[known], faults):
        return nowhere
    sound = known & _check_areas(names, geodesic_area_ha(lonlat), raw, known, faults)
    outlines_known = series.where(known, None)
    found = projections(outlines_known)
    wanted = layers_crs(outlines_known, found)
    drawn = outlines_known.to_crs(wanted)
    return [_projected(table, series, drawn, sound, one, raw, faults) for one in found], wanted


def _projected(
    table: pd.DataFrame,
    outlines: gpd.GeoSeries,
    drawn: gpd.GeoSeries,
    sound: NDArray[np.bool_],
    one: Projection,
    raw: RawTable,
    faults: Faults,
) -> gpd.GeoDataFrame:
    """The table with the shapes of those blocks that are worked in one projection, and their bearings on its grid."""
    shapes = np.full(len(table), None, dtype=object)
    here = one.blocks[sound[one.blocks]]
    shapes[here] = [_whole(outline) for outline in outlines.iloc[here].to_crs(one.crs)]
    blocks = gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes, table.index, crs=one.crs), crs=one.crs)
    _check_overlap(blocks, raw, faults)
    return _bearings_on_grid(blocks, drawn, faults)


def _whole(outline: shapely.Geometry) -> shapely.Geometry:
    """An outline that moving to another CRS made invalid, as where its parts meet at the antimeridian, made one."""
    if outline.is_valid:
        return outline
    parts = shapely.get_parts(shapely.make_valid(outline, method="structure", keep_collapsed=False))
    return shapely.union_all(parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON])


def _bearings_on_grid(blocks: gpd.GeoDataFrame, drawn: gpd.GeoSeries, faults: Faults) -> gpd.GeoDataFrame:
    """Row bearings, given from true north, on the grid of the work CRS.

    Where a bearing does not lie along a straight side of the outline, but would if it was read off the grid of the map
    (`drawn`: the outlines in the CRS of people's layers), it was: said.
    """
    there = np.flatnonzero(blocks["row_bearing_deg"].notna() & ~blocks.geometry.is_empty & blocks.geometry.notna())
    if not len(there):
        return blocks
    bearing = blocks["row_bearing_deg"].to_numpy(dtype=float, copy=True)
    middle = shapely.get_coordinates(shapely.centroid(drawn.values[there]))
    to_degrees = Transformer.from_crs(drawn.crs, LONLAT, always_xy=True)
    turn = np.deg2rad(bearing[there])
    read_off = middle + AHEAD_M * np.column_stack([np.sin(turn), np.cos(turn)])
    start, on_map = (np.column_stack(to_degrees.transform(*places.T)) for places in (middle, read_off))
    lon, lat, _ = GEOD.fwd(start[:, 0], start[:, 1], bearing[there], np.full(len(there), AHEAD_M))
    to_grid = Transformer.from_crs(LONLAT, blocks.crs, always_xy=True)
    ends = np.stack([np.column_stack(to_grid.transform(*p.T)) for p in (start, np.column_stack([lon, lat]), on_map)])
    ahead = ends[1:] - ends[0]
    given = np.rad2deg(np.arctan2(ahead[..., 0], ahead[..., 1])) % 360.0
    for i, true, off_map in zip(there, *given, strict=True):
        along_map = drawn.crs.is_projected and _along_a_side(drawn.iloc[i], bearing[i])
        bearing[i] = true
        if along_map and not _along_a_side(blocks.geometry.iloc[i], true):
            fields = {"degrees": float(abs((off_map - true + 180.0) % 360.0 - 180.0))}
            faults.remark("assumed", "bearing_on_grid", block=str(blocks["block"].iloc[i]), **fields)
            bearing[i] = off_map
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
    parts = shapely.get_num_geometries(outlines)
    many = ~wrong & (parts > MOST_PARTS)
    found = [
        (raw.place(i), f"block '{names.iloc[i]}' lies in {parts[i]} parts (at most {MOST_PARTS})")
        for i in np.flatnonzero(many)
    ]
    faults.add_each(found, "Draw its outline around the rows, or make blocks of its parts")
    wrong |= many
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
    names: pd.Series, area_ha: NDArray[np.float64], raw: RawTable, known: NDArray[np.bool_], faults: Faults
) -> NDArray[np.bool_]:
    low, high = AREA_HA
    sound = known & (area_ha >= low) & (area_ha <= high)
    degrees = raw.crs is not None and raw.crs.is_projected and np.abs(raw_bounds(raw)).max(initial=0.0) <= 360
    hint = "The numbers look like degrees, but the CRS is not: declare EPSG:4326" if degrees else "Check outline and CRS"
    found = [
        (raw.place(i), f"block '{names.iloc[i]}' has an area of {area_ha[i]:.4g} ha ({low:g} to {high:g})")
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
