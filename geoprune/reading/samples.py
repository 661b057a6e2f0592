"""Weighed vines: weights and canes in SI, and a place for each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import CRSError

from geoprune.layers import column, columns_of
from geoprune.reading.columns import Columns, RawTable
from geoprune.reading.declared import NOTHING, Declared
from geoprune.reading.faults import LISTED_ONE_BY_ONE, Faults
from geoprune.reading.places import LONLAT, MOST_DEGREES, SWAP, check_near, to_work, without_place
from geoprune.reading.tables import read_table
from geoprune.reading.vector_files import ENDINGS, read_layers
from geoprune.text import few

#: Columns that are read apart: they depend on each other, or are places.
APART = ("block", "pruning_weight", "vines_weighed", "lon", "lat", "easting", "northing")


def read_sample_file(
    path: Path, faults: Faults, declared: Declared | None = None, *, layers: Mapping[str, str] = NOTHING
) -> RawTable | None:
    """Read a table of weighed vines, or a layer of points (`layers`: what layers are called there).

    None when nothing can be read, and a problem is noted.
    """
    declared = declared or Declared()
    if path.suffix.lower() not in ENDINGS:
        return read_table(
            path, faults.at(path.name, "samples"), also=ENDINGS, sheet=declared.sheet, header_row=declared.header_row
        )
    found = read_layers(path, faults.at(path.name), layers)
    if found and "samples" not in found:
        faults.at(path.name).add("there is no layer samples", "Name the layer samples")
    return found.get("samples")


def check_samples(raw: RawTable, blocks: gpd.GeoDataFrame, faults: Faults, *, crs: str | None = None) -> gpd.GeoDataFrame:
    """Check weighed vines.

    Parameters
    ----------
    raw : RawTable
        As read.
    blocks : GeoDataFrame
        Checked blocks; places are left alone where its CRS is None.
    faults : Faults
        Where problems are noted.
    crs : str, optional
        CRS of `easting` and `northing`.

    Returns
    -------
    GeoDataFrame
        The columns of `Vineyard.samples`; what could not be read is missing, and a problem is noted.
    """
    columns = Columns(raw, faults)
    if not len(raw.table):
        columns.faults.add("there are no samples", "Give a line per weighed vine")
    read = {entry.si_name: columns.read(entry) for entry in columns_of("samples") if entry.name not in APART}
    count = columns.read(column("samples", "vines_weighed")).fillna(1.0)
    weight = read["pruning_weight_kg"] = _weight(columns, count)
    canes, bulls = read["canes"], read["bull_canes"]
    found = [(raw.place(i), f"bull_canes is {bulls[i]:g} of {canes[i]:g} canes") for i in np.flatnonzero(bulls > canes)]
    columns.faults.add_each(found, "Correct the counts: bull canes are among the canes")
    rows, vines = read["row"], read["vine"]
    per_vine = {"vine_weight_kg": weight / count, "vines_weighed": count.astype(int)}
    table = pd.DataFrame(read | per_vine | {"source_row": raw.numbers, "source_place": raw.places()})
    named = ((rows != "") & vines.notna()).to_numpy()
    alone = np.flatnonzero((rows == "") & vines.notna())
    if len(alone):
        columns.faults.remark("dropped", "vine_without_row", places=few(raw.place(i) for i in alone))
    places = _places(columns, blocks, named, crs)
    table.insert(0, "block", _blocks_of(columns, blocks, named, places))
    return gpd.GeoDataFrame(table, geometry=places.values, crs=blocks.crs)


def _weight(columns: Columns, count: pd.Series) -> pd.Series:
    """Weights in kg; one that so many vines cannot give is missing, and a problem is noted."""
    entry = column("samples", "pruning_weight")
    assert entry.limits is not None
    low, high = entry.limits
    weight = columns.read(replace(entry, limits=None))
    name = next((str(c) for c in columns.table if str(c).startswith(entry.name)), entry.name)
    wrong = ((weight < low * count) | (weight > high * count)).to_numpy()
    place, given = columns.raw.place, columns.table.get(name)
    places = np.flatnonzero(wrong)
    found = [(place(i), f"{name} is '{given.iloc[i]}': not possible") for i in places[:LISTED_ONE_BY_ONE]]
    mend = f"A vine gives {low:g} to {high:g} kg of prunings: correct weight or unit, leave out missing vines"
    columns.faults.add_each(found, mend, count=len(places))
    return weight.mask(wrong)


def _places(columns: Columns, blocks: gpd.GeoDataFrame, named: NDArray[np.bool_], crs: str | None) -> gpd.GeoSeries:
    """The place given for each sample, in the work CRS; None where there is none. A named row and vine is enough."""
    raw, faults = columns.raw, columns.faults
    before = len(faults.problems)
    given, given_crs = given_places(columns, crs)
    missing = shapely.is_missing(given) | shapely.is_empty(given) | without_place(given)
    without = np.flatnonzero(missing & ~named)
    if len(faults.problems) == before:
        found = [(raw.place(i), "no place") for i in without]
        faults.add_each(found, "Give row and vine, or lon and lat, or easting and northing")
    if given_crs is None or blocks.crs is None or missing.all():
        return gpd.GeoSeries([None] * len(given), crs=blocks.crs)
    given[missing] = None
    highest = np.abs(shapely.get_y(given[~missing])).max() if given_crs == LONLAT else 0.0
    if highest > MOST_DEGREES:
        faults.add("lon and lat are no degrees", "Call the columns easting and northing, and give --crs")
    elif highest > 90:
        faults.add("latitudes beyond 90 degrees", SWAP)
    if highest > 90:
        return gpd.GeoSeries([None] * len(given), crs=blocks.crs)
    places = to_work(given, given_crs, blocks.crs)
    outlines = blocks.geometry[blocks.geometry.notna()]
    if len(outlines) and not check_near(places[~missing], given[~missing], given_crs, outlines, faults, whose="samples"):
        return gpd.GeoSeries([None] * len(given), crs=blocks.crs)
    return places


def given_places(columns: Columns, crs: str | None) -> tuple[NDArray[np.object_], CRS | None]:
    """Points as given, and their CRS; a problem is noted where there is no usable place in any line."""
    table, faults = columns.raw.table, columns.faults
    nothing = np.full(len(table), None, dtype=object)
    if columns.has("geometry"):
        if columns.raw.crs is None:
            faults.add("no CRS is declared", "Declare the coordinate reference system of this layer")
        given = table["geometry"].to_numpy(dtype=object, copy=True)
        single = (shapely.get_type_id(given) == 4) & (shapely.get_num_geometries(given) == 1)
        given[single] = shapely.get_geometry(given[single], 0)
        given[shapely.get_type_id(given) != 0] = None
        return given, columns.raw.crs
    pairs = [pair for pair in (("lon", "lat"), ("easting", "northing")) if all(map(columns.has, pair))]
    if not pairs and len(table):
        half = [f"{a} without {b}" for a, b in (("lon", "lat"), ("easting", "northing")) if columns.has(a) != columns.has(b)]
        by_number = columns.has("row") and columns.has("vine")
        if half or not by_number:
            what = f"only half a place ({', '.join(half)})" if half else "no columns with a place"
            faults.add(what, "Give row and vine, or lon and lat, or easting and northing with --crs")
    if not pairs:
        return nothing, None
    declared = _named_crs(crs, faults) if pairs[0][0] == "easting" else LONLAT
    east, north = (columns.number(name) for name in pairs[0])
    both = (east.notna() & north.notna()).to_numpy()
    nothing[both] = shapely.points(east[both].to_numpy(), north[both].to_numpy())
    return nothing, declared


def _named_crs(crs: str | None, faults: Faults) -> CRS | None:
    if crs is None:
        faults.add("easting and northing without a CRS", "Name it with --crs, such as --crs EPSG:32617")
        return None
    return parse_crs(crs, faults)


def parse_crs(crs: str, faults: Faults) -> CRS | None:
    """The CRS a user named; None when PROJ does not know it, and a problem is noted."""
    try:
        return CRS.from_user_input(crs)
    except CRSError:
        faults.at("", "").add(f"unknown CRS '{crs}'", "Name it by its EPSG code, such as EPSG:32617")
        return None


def _blocks_of(columns: Columns, blocks: gpd.GeoDataFrame, named: NDArray[np.bool_], places: gpd.GeoSeries) -> pd.Series:
    """The block of each sample: as given, the only one, or (by coordinate) the nearest; "" where it is not known."""
    raw, given, names = columns.raw, columns.text("block"), blocks["block"].tolist()
    if not names:
        return given
    found = columns.block_if_given(names)
    silent = (given == "").to_numpy()
    if len(blocks) == 1:
        return found.mask(silent, blocks["block"].iloc[0])
    needed = np.flatnonzero(silent & named)
    columns.faults.add_each(
        [(raw.place(i), "block is needed with several blocks") for i in needed], f"Add the block's name ({few(names)})"
    )
    placed = np.flatnonzero(silent & ~named & places.notna().to_numpy())
    if len(placed) and blocks.geometry.notna().any():
        outlines = blocks[blocks.geometry.notna()]
        near = outlines.sindex.nearest(places.values[placed], return_all=False)[1]
        found.iloc[placed] = outlines["block"].to_numpy()[near]
    return found
