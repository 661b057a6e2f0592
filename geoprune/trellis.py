"""Rows, vines and panels of a block, and the place of each sample among them. Pure geometry."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
from pyproj import CRS

from geoprune.errors import Remark


@dataclass(frozen=True)
class Trellis:
    """A block laid out as rows, panels and vine positions. Tables are ordered as people walk.

    rows : GeoDataFrame, RangeIndex
        row (str, as painted), order (int, 0.. across the block from one side), length_m, vines (positions),
        panels (count), geometry LineString (first vertex = end of vine 1; panels may stop short of its end).
    panels : GeoDataFrame, RangeIndex in (row order, panel) order
        row, row_order, panel (int, 1.. within the row), first_vine, last_vine (int, vine numbers), vines
        (positions), counted (vines that get a bud number), length_m, geometry LineString (post to post).
    vines : GeoDataFrame, RangeIndex in (row order, vine) order
        row, vine (int, 1.. within the row), status, counted (bool), panel_id (position into `panels`),
        along_m (distance from the row's first end), geometry Point. One entry per planting position,
        missing ones included.
    """

    rows: gpd.GeoDataFrame
    panels: gpd.GeoDataFrame
    vines: gpd.GeoDataFrame
    crs: CRS
    row_spacing_m: float
    vine_spacing_m: float
    remarks: tuple[Remark, ...] = ()
