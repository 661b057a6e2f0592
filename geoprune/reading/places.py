"""Where things lie on the earth: the work CRS, and signs that coordinates are not what they are said to be."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.exceptions import ProjError

from geoprune.areas import GEOD
from geoprune.reading.faults import Faults

LONLAT = CRS.from_epsg(4326)
#: No vineyard is known beyond this latitude (design choice; from memory: the farthest lie near 60 degrees).
FARTHEST_LATITUDE = 60.0
#: Samples and layers farther than this from every block are not of it (design choice).
FAR_M = 1000.0
#: Work grids stretch lengths by no more than this share: 0.1 m in a kilometre of row, less than any spacing is known to. A
#: file's own grid that stretches more, as UTM does (0.1 % at most in its zone), still serves for the layers people get.
MOST_STRETCH, MOST_STRETCH_OF_MAPS = 1e-4, 0.002
#: Blocks on one grid lie within 160 km east and west: 80 km to either side of its middle, and 6 km for rounding the middle.
WIDEST_GRID_DEG = 160.0 / 111.32
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
    bounds = lonlat.bounds.to_numpy()
    if not np.isfinite(bounds).all():
        faults.add("the coordinates lie nowhere on the earth", "Check the coordinates and the declared CRS")
        return False
    if np.abs(bounds[:, [1, 3]]).max() > 90:
        faults.add("latitudes beyond 90 degrees", SWAP)
        return False
    longitudes, latitudes = (bounds[:, 0] + bounds[:, 2]) / 2, (bounds[:, 1] + bounds[:, 3]) / 2
    farthest = int(np.argmax(np.abs(latitudes)))
    latitude, longitude = latitudes[farthest], longitudes[farthest]
    if abs(latitude) > FARTHEST_LATITUDE:
        what = f"the blocks lie at latitude {latitude:.2f}, longitude {longitude:.2f}, where no vines grow"
        faults.add(what, SWAP if abs(longitude) <= FARTHEST_LATITUDE else "Check the coordinates and the declared CRS")
        return False
    low, high = USUAL_LATITUDES
    unusual = np.flatnonzero((np.abs(latitudes) < low) | (np.abs(latitudes) > high))
    if len(unusual):
        latitude, longitude = float(latitudes[unusual[0]]), float(longitudes[unusual[0]])
        faults.remark("warning", "unusual_latitude", latitude=latitude, longitude=longitude, low=low, high=high)
    return True


def without_place(geometry: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Which shapes have a coordinate that is no number, or so large that it is nowhere on the earth in any unit."""
    coordinates, index = shapely.get_coordinates(geometry, return_index=True)
    found = np.zeros(len(geometry), dtype=bool)
    found[index[~(np.abs(coordinates) <= FARTHEST).all(axis=1)]] = True
    return found


@dataclass(frozen=True)
class Projection:
    """A projected metre CRS, true to length for the blocks at the positions `blocks` of their table."""

    crs: CRS
    blocks: NDArray[np.int64]


def projections(outlines: gpd.GeoSeries) -> list[Projection]:
    """Projections to work in, so that no block is drawn longer or shorter than it is by more than 1e-4.

    That of the file where it is so true everywhere; else transverse Mercator grids of scale 1 in the middle of blocks that
    lie together: 90 km from its middle such a grid is 1e-4 too long (1 + d^2 / 2 R^2; Snyder 1987, USGS Professional
    Paper 1395, equation 8-11), whatever the distance north and south.

    Parameters
    ----------
    outlines : GeoSeries
        Outlines of all blocks in their CRS; None where a block has none.
    """
    there = np.flatnonzero(outlines.notna().to_numpy())
    known = outlines.iloc[there]
    crs = CRS.from_user_input(outlines.crs)
    if crs.is_projected and crs.axis_info[0].unit_name == "metre" and stretch(known).max() <= MOST_STRETCH:
        return [Projection(crs, there)]
    west, east, latitude = _extents(known.to_crs(LONLAT))
    groups = _side_by_side(west, east, latitude)
    return [Projection(_local_grid(west[g], east[g], latitude[g]), there[np.sort(g)]) for g in groups]


def layers_crs(outlines: gpd.GeoSeries, found: list[Projection]) -> CRS:
    """The CRS in which people get layers: the file's where it is fit for a map, else the UTM zone; over several, WGS 84."""
    crs, known = CRS.from_user_input(outlines.crs), outlines[outlines.notna()]
    if len(found) > 1:
        return LONLAT
    if crs.is_projected and crs.axis_info[0].unit_name == "metre" and stretch(known).max() <= MOST_STRETCH_OF_MAPS:
        return crs
    middle = known.iloc[:1].to_crs(found[0].crs).centroid.to_crs(LONLAT)
    try:
        return middle.estimate_utm_crs()
    except RuntimeError:  # no zone is listed for the place
        return found[0].crs


def stretch(outlines: gpd.GeoSeries) -> NDArray[np.float64]:
    """How much longer or shorter than true (a share) lengths of 100 m east and north are drawn, at worst, at each outline.

    Looked at in the middle and the four corners of its bounds.
    """
    west, south, east, north = outlines.bounds.to_numpy().T
    corners = [((west + east) / 2, (south + north) / 2), (west, south), (west, north), (east, south), (east, north)]
    start = np.array(corners).transpose(0, 2, 1)
    steps = np.array([[0.0, 0.0], [100.0, 0.0], [0.0, 100.0]])
    places = (start[:, :, None, :] + steps).reshape(-1, 2)
    to_degrees = Transformer.from_crs(outlines.crs, LONLAT, always_xy=True)
    lon, lat = (degrees.reshape(-1, 3) for degrees in to_degrees.transform(*places.T))
    if not np.isfinite(lon).all():
        return np.full(len(outlines), np.inf)
    true = [GEOD.inv(lon[:, 0], lat[:, 0], lon[:, end], lat[:, end])[2] for end in (1, 2)]
    return np.abs(np.array(true) / 100.0 - 1.0).max(axis=0).reshape(len(corners), -1).max(axis=0)


def _extents(lonlat: gpd.GeoSeries) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """West and east of each outline, and the latitude nearest to the equator; over the antimeridian, east is beyond 180."""
    ends = []
    for outline in lonlat:
        lon = shapely.get_coordinates(outline)[:, 0]
        ends.append(_about(lon) if np.ptp(lon) > 180.0 else (lon.min(), lon.max()))
    west, east = np.array(ends).T
    south, north = lonlat.bounds[["miny", "maxy"]].to_numpy().T
    return west, east, np.where(south * north < 0, 0.0, np.minimum(np.abs(south), np.abs(north)) * np.sign(south))


def _about(lon: NDArray[np.float64]) -> tuple[float, float]:
    beyond = np.where(lon < 0, lon + 360.0, lon)
    return float(beyond.min()), float(beyond.max())


def _side_by_side(
    west: NDArray[np.float64], east: NDArray[np.float64], latitude: NDArray[np.float64]
) -> list[NDArray[np.int64]]:
    """Positions of outlines that lie within one grid, from west to east, beginning after the widest gap around the earth."""
    order = np.argsort(west, kind="stable")
    gaps = np.append(west[order][1:], west[order][0] + 360.0) - np.maximum.accumulate(east[order])
    order = np.roll(order, -(int(np.argmax(gaps)) + 1))
    begin = west[order[0]]
    groups: list[list[int]] = []
    left = right = lowest = 0.0
    for i in order:
        near = (west[i] - begin) % 360.0
        far, low = near + east[i] - west[i], abs(latitude[i])
        if groups and (max(right, far) - left) * np.cos(np.deg2rad(min(lowest, low))) <= WIDEST_GRID_DEG:
            groups[-1].append(int(i))
            right, lowest = max(right, far), min(lowest, low)
        else:
            groups.append([int(i)])
            left, right, lowest = near, far, low
    return [np.array(group) for group in groups]


def _local_grid(west: NDArray[np.float64], east: NDArray[np.float64], latitude: NDArray[np.float64]) -> CRS:
    """A transverse Mercator grid of scale 1 in the middle, to the tenth of a degree; easting and northing as in UTM."""
    west, east = np.where(west - west[0] < -180, west + 360, west), np.where(west - west[0] < -180, east + 360, east)
    middle = round(float(west.min() + east.max()) / 2, 1)
    middle = (middle + 180.0) % 360.0 - 180.0
    north = 0.0 if latitude.mean() >= 0 else 10_000_000.0
    grid = TransverseMercatorConversion(0.0, middle, 500_000.0, north, 1.0)
    side = f"{abs(middle):.1f} {'W' if middle < 0 else 'E'}"
    return ProjectedCRS(grid, name=f"WGS 84 / transverse Mercator {side}", geodetic_crs=LONLAT)


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


def to_true_bearing(place: shapely.Point, crs: CRS, grid_deg: float) -> float:
    """Return a direction on a grid as degrees clockwise from true north, at a place of that grid."""
    angle = np.deg2rad(grid_deg)
    ahead = shapely.Point(place.x + 50.0 * np.sin(angle), place.y + 50.0 * np.cos(angle))
    here, there = gpd.GeoSeries([place, ahead], crs=crs).to_crs(LONLAT)
    azimuth, _, _ = GEOD.inv(here.x, here.y, there.x, there.y)
    return float(azimuth % 360.0)
