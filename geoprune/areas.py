"""Areas on the ellipsoid, whatever map grid a shape is drawn in."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Geod

from geoprune.units import M2_PER_HA

GEOD = Geod(ellps="WGS84")


def geodesic_area_ha(shapes: gpd.GeoSeries) -> NDArray[np.float64]:
    """Areas of polygons on the ellipsoid, ha (Karney 2013, by pyproj); 0 where there is no shape.

    Parameters
    ----------
    shapes : GeoSeries
        Polygons in any CRS.
    """
    outlines = shapely.orient_polygons(shapes.to_crs(4326).force_2d().values)
    return np.array([abs(GEOD.geometry_area_perimeter(outline)[0]) if outline else 0.0 for outline in outlines]) / M2_PER_HA
