"""A file whose blocks need several projections: its lines shared among them, and what was read put together again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree

from geoprune.layers import LAYERS, Vineyard
from geoprune.reading.columns import Columns, RawTable, matched
from geoprune.reading.faults import Faults
from geoprune.reading.places import LONLAT, to_work
from geoprune.reading.samples import given_places


def share_by_place(
    raws: Mapping[str, RawTable], tables: list[gpd.GeoDataFrame], crs: str | None
) -> list[dict[str, RawTable]]:
    """Share the lines of every layer among the projections of the blocks.

    A line goes where its block is; one that names none, to the nearest block; what has neither a known block nor a place
    goes to the first, where it is reported.

    Parameters
    ----------
    raws : mapping
        Layer -> raw table.
    tables : list of GeoDataFrame
        As `reading.blocks.check_blocks` gives them.
    crs : str or None
        CRS of `easting` and `northing`.
    """
    if len(tables) == 1:
        return [dict(raws)]
    shares: list[dict[str, RawTable]] = [{} for _ in tables]
    for name, raw in raws.items():
        owner = _owners(raw, tables, crs)
        for number, share in enumerate(shares):
            mine = np.flatnonzero(owner == number)
            if len(mine) or (number == 0 and not len(owner)):
                share[name] = replace(raw, table=raw.table.iloc[mine].reset_index(drop=True), numbers=raw.numbers[mine])
    return shares


def with_block_or_place(raw: RawTable, faults: Faults) -> RawTable:
    """The lines of a table beside several blocks that tell where they belong; a problem is noted for each that does not."""
    columns = Columns(raw, faults)
    named = (columns.text("block") != "").to_numpy()
    if columns.has("geometry"):
        there = ~shapely.is_missing(raw.table["geometry"].to_numpy(dtype=object))
    else:
        pairs = [pair for pair in (("lon", "lat"), ("easting", "northing")) if all(map(columns.has, pair))]
        there = np.zeros(len(named), dtype=bool)
        for pair in pairs:
            there |= (raw.table[list(pair)].notna().all(axis=1) & (raw.table[list(pair)] != "").all(axis=1)).to_numpy()
    lost = np.flatnonzero(~named & ~there)
    said = [(raw.place(i), "block is needed with several blocks") for i in lost]
    faults.at(raw.file, raw.layer).add_each(said, "Add the name of each vine's block")
    kept = np.flatnonzero(named | there)
    return replace(raw, table=raw.table.iloc[kept].reset_index(drop=True), numbers=raw.numbers[kept])


def _owners(raw: RawTable, tables: list[gpd.GeoDataFrame], crs: str | None) -> NDArray[np.int64]:
    """The number of the projection each line of a layer goes to."""
    number_of = {name: i for i, table in enumerate(tables) for name in table["block"][table.geometry.notna()]}
    columns = Columns(raw, Faults())
    owner = matched(columns.text("block"), number_of).map(number_of).to_numpy(dtype=float, copy=True)
    if columns.has("geometry"):
        places, places_crs = raw.table["geometry"].to_numpy(dtype=object), raw.crs
    else:
        places, places_crs = given_places(columns, crs)
    lost = np.flatnonzero(np.isnan(owner) & ~shapely.is_missing(places))
    if len(lost) and places_crs is not None:
        middles = [_on_sphere(table.geometry[table.geometry.notna()].centroid.to_crs(LONLAT)) for table in tables]
        numbers = np.repeat(np.arange(len(tables)), [len(middle) for middle in middles])
        points = to_work(places[lost], places_crs, LONLAT)
        there = points.notna().to_numpy()
        _, nearest = cKDTree(np.concatenate(middles)).query(_on_sphere(points[there]))
        owner[lost[there]] = numbers[nearest]
    return np.where(np.isnan(owner), 0, owner).astype(np.int64)


def _on_sphere(points: gpd.GeoSeries) -> NDArray[np.float64]:
    """Places (n, 3) of points on a globe, between which the nearest is found whatever the meridian."""
    lon, lat = np.deg2rad(shapely.get_coordinates(shapely.centroid(points.values))).T
    return np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])


def joined(parts: list[Vineyard], names: Iterable[str]) -> Vineyard:
    """A vineyard of parts, blocks in the order of `names`; its own tables hold all their lines in WGS 84."""
    tables: dict[str, Any] = {name: _together(getattr(part, name) for part in parts) for name in LAYERS}
    order = {name: place for place, name in enumerate(names)}
    tables["blocks"] = tables["blocks"].sort_values("block", key=lambda column: column.map(order), ignore_index=True)
    empty = gpd.GeoDataFrame({"block": []}, geometry=[], crs=LONLAT)
    tables["samples"] = (
        empty if tables["samples"] is None else tables["samples"].sort_values("source_row", ignore_index=True)
    )
    return Vineyard(**tables, crs=CRS(LONLAT), parts=tuple(parts))


def _together(tables: Iterable[gpd.GeoDataFrame | None]) -> gpd.GeoDataFrame | None:
    there = [table.to_crs(LONLAT) for table in tables if table is not None and len(table)]
    return gpd.GeoDataFrame(pd.concat(there, ignore_index=True), crs=LONLAT) if there else None
