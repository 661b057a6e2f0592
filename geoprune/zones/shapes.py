"""Outlines of zones: the ground of their panels' vines."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from geoprune.trellis import Trellis, share_ground
from geoprune.zones.options import Labels


def zone_shapes(trellis: Trellis, polygon: shapely.Geometry, panel_zone: Labels) -> gpd.GeoSeries:
    """Share a block's outline among its zones (see `trellis.share_ground`).

    Parameters
    ----------
    trellis : Trellis
    polygon : Polygon or MultiPolygon
    panel_zone : (P,) zones 1..k

    Returns
    -------
    GeoSeries of MultiPolygon, indexed 1..k. Areas sum to the outline's.
    """
    return share_ground(trellis, polygon, np.asarray(panel_zone)[trellis.vines["panel_id"].to_numpy()])
