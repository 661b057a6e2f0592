"""Outlines of zones, put together from the ground of their panels."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from shapely import MultiPolygon

from geoprune.zones.options import Labels


def zone_shapes(footprints: gpd.GeoSeries, panel_zone: Labels) -> gpd.GeoSeries:
    """Join the footprints of each zone's panels.

    Parameters
    ----------
    footprints : (P,) ground of each panel: Polygon, MultiPolygon or empty; they share edges and do not overlap
    panel_zone : (P,) zones 1..k

    Returns
    -------
    GeoSeries of MultiPolygon, indexed 1..k. The areas sum to that of the footprints.
    """
    ground = np.asarray(footprints.values)
    zones = np.unique(panel_zone)
    shapes = [_join(ground[np.asarray(panel_zone) == zone]) for zone in zones]
    return gpd.GeoSeries(shapes, index=zones, crs=footprints.crs)


def _polygons(geometries: np.ndarray | shapely.Geometry) -> np.ndarray:
    parts = shapely.get_parts(geometries)
    return parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]


def _join(ground: np.ndarray) -> MultiPolygon:
    parts = _polygons(ground)
    joined = shapely.coverage_union_all(parts)
    if not joined.is_valid or not np.isclose(joined.area, shapely.area(parts).sum(), rtol=1e-9):
        joined = shapely.union_all(parts)  # edges that do not match vertex by vertex are not a coverage
    return MultiPolygon(list(_polygons(joined)))
