"""Where things lie on the earth: the work CRS, and signs that coordinates are not what they are said to be."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import ProjError

from geoprune.areas import GEOD
from geoprune.reading.faults import Faults

LONLAT = CRS.from_epsg(4326)
#: No vineyard is known beyond this latitude (design choice; from memory: the farthest lie near 60 degrees).
FARTHEST_LATITUDE = 60.0
#: Samples and layers farther than this from every block are not of it (design choice).
FAR_M = 1000.0
#: A map grid may stretch lengths by this share before geoprune chooses another (UTM: 0.1 % at most in its zone).
MOST_STRETCH = 0.002
#: Nearly all vineyards lie between 30 and 50 degrees of latitude; beyond these few vines are grown (common practice, no
#: source).
USUAL_LATITUDES = (25.0, 55.0)
#: No map grid on the earth has larger numbers, in metres or feet.
FARTHEST = 1e9
#: Numbers beyond this are no degrees.
MOST_DEGREES = 360.0
SWAP = "Longitude and latitude seem swapped: exchange them"


def check_position(lonlat: gpd.GeoSeries, faults: Faults) -> bool:
    """Return whether blocks lie where vines can grow; note a problem when not, and say where few vines grow."""
    west, south, east, north = lonlat.total_bounds
    if not np.isfinite([west, south, east, north]).all():
        faults.add("the coordinates lie nowhere on the earth", "Check the coordinates and the declared CRS")
        return False
    if max(abs(south), abs(north)) > 90:
        faults.add("latitudes beyond 90 degrees", SWAP)
        return False
    latitude, longitude = (south + north) / 2, (west + east) / 2
    if abs(latitude) > FARTHEST_LATITUDE:
        what = f"the blocks lie at latitude {latitude:.2f}, longitude {longitude:.2f}, where no vines grow"
        faults.add(what, SWAP if abs(longitude) <= FARTHEST_LATITUDE else "Check the coordinates and the declared CRS")
        return False
    low, high = USUAL_LATITUDES
    if not low <= abs(latitude) <= high:
        fields = {"latitude": latitude, "longitude": longitude, "low": low, "high": high}
        faults.remark("warning", "unusual_latitude", **fields)
    return True


def without_place(geometry: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Which shapes have a coordinate that is no number, or so large that it is nowhere on the earth in any unit."""
    coordinates, index = shapely.get_coordinates(geometry, return_index=True)
    found = np.zeros(len(geometry), dtype=bool)
    found[index[~(np.abs(coordinates) <= FARTHEST).all(axis=1)]] = True
    return found


def work_crs(blocks: gpd.GeoSeries) -> CRS:
    """The projected metre CRS to work in: that of the blocks where it is true to length, else their UTM zone.

    Raises
    ------
    RuntimeError
        When there is no UTM zone for the place.
    """
    crs = CRS.from_user_input(blocks.crs)
    if crs.is_projected and crs.axis_info[0].unit_name == "metre" and _stretch(blocks) <= MOST_STRETCH:
        return crs
    return blocks.to_crs(LONLAT).estimate_utm_crs()


def _stretch(blocks: gpd.GeoSeries) -> float:
    """How much longer or shorter than true a length of 100 m is drawn, east and north, at the blocks' middle."""
    west, south, east, north = blocks.total_bounds
    easting, northing = (west + east) / 2, (south + north) / 2
    corners = shapely.points([[easting, northing], [easting + 100, northing], [easting, northing + 100]])
    lon, lat = shapely.get_coordinates(gpd.GeoSeries(corners, crs=blocks.crs).to_crs(LONLAT).values).T
    _, _, true = GEOD.inv(lon[[0, 0]], lat[[0, 0]], lon[1:], lat[1:])
    return float(np.max(np.abs(np.asarray(true) / 100 - 1)))


def to_work(geometry: NDArray[np.object_], crs: CRS, work: CRS) -> gpd.GeoSeries:
    """Bring geometry to the work CRS; what cannot be brought there becomes None."""
    series = gpd.GeoSeries(geometry, crs=crs)
    try:
        series = series.to_crs(work)
    except ProjError:
        return gpd.GeoSeries([None] * len(series), crs=work)
    return series.mask(without_place(series.to_numpy()) | series.is_empty, None)


def check_near(
    points: gpd.GeoSeries, given: NDArray[np.object_], crs: CRS, blocks: gpd.GeoSeries, faults: Faults, *, whose: str
) -> bool:
    """Return whether the layer lies at its blocks; note one problem for the whole layer when most of it does not.

    Parameters
    ----------
    points : GeoSeries
        In the work CRS.
    given : array
        The same as given, in `crs`: exchanged and looked at again to tell swapped axes from a wrong CRS.
    blocks : GeoSeries
        Outlines in the work CRS.
    whose : str
        What lies far, for the message.
    """
    if not len(points) or _share_far(points, blocks) <= 0.5:
        return True
    exchanged = shapely.transform(given, lambda coordinates: coordinates[:, ::-1])
    swapped = _share_far(to_work(exchanged, crs, blocks.crs), blocks) <= 0.5
    known = points[~(points.is_empty | points.isna())]
    distance = known.distance(blocks.union_all()).median() / 1000 if len(known) else np.inf
    where = f"{distance:,.0f} km from the blocks" if np.isfinite(distance) else "nowhere on the earth"
    if not swapped:
        faults.add(f"the {whose} lie {where}", "Check the coordinates and their CRS")
        return False
    axes = "longitude and latitude" if crs.is_geographic else "easting and northing"
    middle = gpd.GeoSeries([blocks.union_all().centroid], crs=blocks.crs).to_crs(LONLAT).iloc[0]
    faults.add(
        f"the {whose} lie {where}, but at them once {axes} are exchanged",
        f"Exchange them in the {whose}; if latitude {middle.y:.2f}, longitude {middle.x:.2f} is wrong, in the blocks",
    )
    return False


def _share_far(points: gpd.GeoSeries, blocks: gpd.GeoSeries) -> float:
    known = points.notna() & ~points.is_empty
    if not known.any():
        return 1.0
    (index, _), distance = blocks.sindex.nearest(points[known].values, return_all=False, return_distance=True)
    return 1.0 - np.count_nonzero(distance <= FAR_M) / len(points) if len(index) else 1.0
