"""Questions of a check about places: exchanged coordinates, the grid of eastings, which way rows run."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from geoprune.errors import Message
from geoprune.jobs.asking import Option
from geoprune.jobs.check_image import Image
from geoprune.jobs.check_tables import MOST_OPTIONS, Tables
from geoprune.reading import Faults
from geoprune.reading.blocks import check_blocks
from geoprune.reading.columns import name_text
from geoprune.reading.matching import numbers
from geoprune.reading.places import to_true_bearing
from geoprune.reading.samples import check_samples
from geoprune.rules import Training
from geoprune.trellis.bearing import propose_bearings

#: A grid is believed when so many of the samples lie within the blocks on it (design choice).
ON_BLOCKS, NEAR_M = 0.9, 30.0


def ask_exchanged(tables: Tables) -> None:
    """Ask whether longitude and latitude are exchanged, where the samples lie in the blocks only then."""
    table = tables.declared("samples").table if "samples" in tables.raw else pd.DataFrame()
    blocks = _blocks_of(tables) if {"lon", "lat"} <= set(table) and "geometry" not in table else None
    if blocks is None:
        return
    lon, lat = (numbers(table[name].map(name_text)) for name in ("lon", "lat"))
    if np.nanmax(np.abs(lon), initial=0) > 90 or np.nanmax(np.abs(lat), initial=0) > 180:
        return
    if _share_on(shapely.points(lon, lat), "EPSG:4326", blocks) < _share_on(shapely.points(lat, lon), "EPSG:4326", blocks):
        given = tables.sitting.tables.get("columns", {}).get("samples", {})
        turned = {"lon": given.get("lat", "lat"), "lat": given.get("lon", "lon")}
        option = Option(Message("check.exchanged", turned), {"columns": {"samples": turned}})
        tables.sitting.ask(Message("check.ask_exchanged"), [option])


def ask_grid(tables: Tables) -> None:
    """Ask for the grid of eastings and northings: the one on which the samples lie in the blocks."""
    if "samples" not in tables.raw or "crs" in tables.sitting.tables.get("files", {}):
        return
    table = tables.declared("samples").table
    by_number = "row" in table and "vine" in table
    if by_number or "geometry" in table or not {"easting", "northing"} <= set(table) or {"lon", "lat"} <= set(table):
        return
    blocks = _blocks_of(tables)
    if blocks is None:
        return
    given = shapely.points(*(numbers(table[name].map(name_text)) for name in ("easting", "northing")))
    fitting = [crs for crs in _grids(tables.raw["blocks"].crs, blocks) if _share_on(given, crs, blocks) >= ON_BLOCKS]
    options = [Option(Message("check.grid", {"crs": crs, "name": _named(crs)}), {"files": {"crs": crs}}) for crs in fitting]
    tables.sitting.ask(Message("check.ask_grid"), options)


def _grids(own: CRS | None, blocks: gpd.GeoDataFrame) -> list[str]:
    """Grids that eastings may be of: the vineyard file's own, and the UTM zones of the place on common datums."""
    utm = blocks.geometry.estimate_utm_crs()
    zone, south = int(str(utm.utm_zone)[:-1]), str(utm.utm_zone).endswith("S")
    codes = [own.to_epsg()] if own is not None and own.is_projected else []
    codes += [32700 + zone if south else 32600 + zone]
    codes += [31960 + zone + 0 if south and 17 <= zone <= 25 else 25800 + zone if 28 <= zone <= 38 else 26900 + zone]
    found = []
    for code in dict.fromkeys(code for code in codes if code):
        try:
            found.append(CRS.from_epsg(code).to_authority())
        except CRSError:
            continue
    return [":".join(authority) for authority in found if authority is not None]


def _named(crs: str) -> str:
    return str(CRS.from_user_input(crs).name)


def _share_on(given: np.ndarray[Any, Any], crs: str, blocks: gpd.GeoDataFrame) -> float:
    """Share of points that lie in or close to the blocks when they are read on a grid."""
    points = gpd.GeoSeries(given, crs=crs).to_crs(blocks.crs)
    with np.errstate(invalid="ignore"):  # a place that the other grid cannot hold is infinitely far
        return float((points.distance(blocks.union_all()) <= NEAR_M).mean())


def _blocks_of(tables: Tables, known: Mapping[str, Training] | None = None) -> gpd.GeoDataFrame | None:
    """The checked blocks, as far as they have a place."""
    blocks = check_blocks(tables.declared("blocks"), Faults(), known)[0][0]  # of several projections the first will do
    sound = blocks[blocks.geometry.notna() & ~blocks.geometry.is_empty & (blocks["block"] != "")]
    return sound if blocks.crs is not None and len(sound) else None


def ask_bearings(tables: Tables, known: Mapping[str, Training], image: Image) -> None:
    """Ask which way the rows run, in blocks without drawn rows and without a bearing.

    Where an image shows rows, and neither outline nor weighed vines say the same, none is taken unasked.
    """
    blocks = _blocks_of(tables, known)
    if blocks is None:
        return
    drawn = {name.casefold() for name in tables.names("rows", "block")}
    rows = len(tables.raw["rows"].table) if "rows" in tables.raw else 0
    drawn |= {blocks["block"].iloc[0].casefold()} if rows and len(blocks) == 1 else set()
    vines = _weighed_places(tables, blocks)
    for block in blocks[blocks["row_bearing_deg"].isna()].itertuples():
        if block.block.casefold() in drawn:
            continue
        here = None if vines is None else vines[vines["block"] == block.block]
        seen, without = image.look(block, blocks.crs), propose_bearings(block.geometry, here)
        bearings = propose_bearings(block.geometry, here, seen)
        alone = len(bearings) > len(without)
        options = []
        for bearing in bearings[:MOST_OPTIONS]:
            degrees = round(to_true_bearing(block.geometry.centroid, blocks.crs, bearing.degrees), 1)
            fields = {"degrees": degrees, "rows": int(bearing.length_m), "row_spacing_m": bearing.length_m}
            label = Message(f"check.rows_along_{bearing.why}", fields)
            options.append(Option(label, {"block": {block.block: {"row_bearing_deg": degrees}}}))
        about = Message("check.ask_bearing_image" if alone else "check.ask_bearing", {"block": block.block})
        tables.sitting.ask(about, options, None if alone else 0)


def _weighed_places(tables: Tables, blocks: gpd.GeoDataFrame) -> pd.DataFrame | None:
    """Block, row, easting and northing of weighed vines that have a place."""
    if "samples" not in tables.raw:
        return None
    crs = tables.sitting.tables.get("files", {}).get("crs")
    samples = check_samples(tables.declared("samples"), blocks.reset_index(drop=True), Faults(), crs=crs)
    placed = samples[samples.geometry.notna()]
    return pd.DataFrame(placed[["block", "row"]]).assign(easting=placed.geometry.x, northing=placed.geometry.y)
