"""The ground of each panel."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from geoprune.trellis.model import Trellis


def panel_footprints(trellis: Trellis, polygon: shapely.Geometry) -> gpd.GeoSeries:
    """Share the block's outline among its panels: the ground nearest to each panel's vines (Voronoi), clipped."""
    vines = trellis.vines
    points = shapely.multipoints(vines.geometry.values)
    cells = shapely.get_parts(shapely.voronoi_polygons(points, extend_to=polygon, ordered=True))
    panel_id = vines["panel_id"].to_numpy()
    size = np.bincount(panel_id, minlength=len(trellis.panels))
    within = np.arange(len(panel_id)) - (np.cumsum(size) - size)[panel_id]
    grid = np.full((len(size), size.max()), None, dtype=object)
    grid[panel_id, within] = cells
    ground = shapely.coverage_union_all(grid, axis=1)
    shapely.prepare(polygon)
    cut = ~shapely.contains_properly(polygon, ground)
    ground[cut] = shapely.intersection(ground[cut], polygon)
    return gpd.GeoSeries(ground, crs=vines.crs)
