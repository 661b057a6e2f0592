"""The ground nearest to each group of vines: panels, zones. One topology for the block, so that no rounding can break it.

Cells joined and clipped one by one meet where each of them computed the meeting point anew: a billionth of a metre apart,
and a library that joins them by their common edges gives up. Here borders are laid once, as lines between pairs of vines;
they and the outline are noded together on one grid (snap rounding, which cannot fail), and each face between them goes to
its nearest vine.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree
from shapely import MultiPolygon

from geoprune.trellis.model import Trellis

#: Points so many times the block's extent away close the cells at its rim.
FAR = 3.0
#: Corners of borders lie on a lattice this fine (about a millimetre): four vines of a square have one corner, not two that
#: lie a rounding apart.
CORNER_M = 2.0**-10
#: A place whose two nearest vines differ less than this in distance, metres, may lie on the wrong side of a border on that
#: lattice; so many vines may be about as near.
DOUBT_M, NEIGHBOURS = 8 * CORNER_M, 8


def share_ground(trellis: Trellis, polygon: shapely.Geometry, group: NDArray[np.int64]) -> gpd.GeoSeries:
    """Share the block's outline among groups of vines: each gets the ground to which one of its vines is nearest.

    Parameters
    ----------
    trellis : Trellis
    polygon : Polygon or MultiPolygon
        The outline, valid; holes and several parts are fine.
    group : array of int, (V,)
        The group of each vine.

    Returns
    -------
    GeoSeries of MultiPolygon, indexed by group, ascending
        Valid, with common corners, no gap and no overlap; areas sum to the outline's. Empty where another group's vines are
        nearer everywhere in the outline.
    """
    names, owner = np.unique(np.asarray(group), return_inverse=True)
    points = shapely.get_coordinates(trellis.vines.geometry.values)
    # Whole metres off every coordinate, and a grid that is the spacing of numbers of this size: moving there and back is
    # exact, and no more is rounded than the outline's own numbers are.
    low = np.floor(np.minimum(points.min(axis=0), np.array(polygon.bounds[:2])))
    grid = float(np.spacing(np.abs(np.concatenate([points.ravel(), polygon.bounds])).max()))
    points = points - low
    outline = shapely.transform(polygon, lambda places: places - low)
    faces = _faces(outline, _borders(points, owner, outline), grid)
    held = _held_by(faces, points, owner)
    shapes = [_joined(faces[held == number], grid) for number in range(len(names))]
    return gpd.GeoSeries(shapely.transform(shapes, lambda places: places + low), index=names, crs=trellis.vines.crs)


def _borders(points: NDArray[np.float64], owner: NDArray[np.int64], outline: shapely.Geometry) -> NDArray[np.object_]:
    """Lines along which two vines of different groups are equally near: edges of the Voronoi diagram."""
    corners = np.vstack([points, np.array(outline.bounds).reshape(2, 2)])
    middle, reach = (corners.min(axis=0) + corners.max(axis=0)) / 2, FAR * np.hypot(*np.ptp(corners, axis=0)) + 1.0
    rim = middle + reach * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]])
    triangles = Delaunay(np.vstack([points, rim]) - middle)
    simplices, beside = triangles.simplices, triangles.neighbors
    centers = np.round((_circumcenters(triangles.points[simplices]) + middle) / CORNER_M) * CORNER_M
    owner = np.append(owner, np.full(len(rim), -1))
    first, opposite = np.nonzero(beside > np.arange(len(beside))[:, None])
    second = beside[first, opposite]
    one, other = (owner[simplices[first, (opposite + turn) % 3]] for turn in (1, 2))
    apart = (one != other) & (one >= 0) & (other >= 0)
    ends = np.stack([centers[first[apart]], centers[second[apart]]], axis=1)
    ends = ends[(ends[:, 0] != ends[:, 1]).any(axis=1)]
    return shapely.linestrings(ends) if len(ends) else np.array([], dtype=object)


def _circumcenters(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Centres (n, 2) of the circles through the corners (n, 3, 2) of triangles."""
    origin = corners[:, 0]
    (bx, by), (cx, cy) = (corners[:, 1] - origin).T, (corners[:, 2] - origin).T
    b, c = bx**2 + by**2, cx**2 + cy**2
    twice = 2.0 * (bx * cy - by * cx)
    twice = np.where(twice == 0.0, np.finfo(float).tiny, twice)
    return origin + np.column_stack([(cy * b - by * c) / twice, (bx * c - cx * b) / twice])


def _faces(outline: shapely.Geometry, borders: NDArray[np.object_], grid: float) -> NDArray[np.object_]:
    """The outline cut along the borders: polygons with common corners."""
    shapely.prepare(outline)
    crossing = borders[shapely.intersects(outline, borders)]
    lines = shapely.union_all(np.append(crossing, shapely.boundary(outline)), grid_size=grid)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    return faces[shapely.intersects(outline, shapely.point_on_surface(faces))]


def _held_by(faces: NDArray[np.object_], points: NDArray[np.float64], owner: NDArray[np.int64]) -> NDArray[np.int64]:
    """The group whose vine is nearest to a place in each face: to one in its middle where another may be as near."""
    tree, near = cKDTree(points), min(NEIGHBOURS, len(points))
    distance, nearest = tree.query(shapely.get_coordinates(shapely.point_on_surface(faces)), k=[*range(1, near + 1)])
    groups = owner[nearest]
    doubtful = ((groups != groups[:, :1]) & (distance - distance[:, :1] < DOUBT_M)).any(axis=1)
    held = groups[:, 0]
    if doubtful.any():
        middles = shapely.get_point(shapely.maximum_inscribed_circle(faces[doubtful], CORNER_M), 0)
        held[doubtful] = owner[tree.query(shapely.get_coordinates(middles))[1]]
    return held


def _joined(faces: NDArray[np.object_], grid: float) -> MultiPolygon:
    """The faces of one group: as a rule they touch at corners only, and nothing needs joining."""
    shape = MultiPolygon(list(faces))
    if shape.is_valid:
        return shape
    parts = shapely.get_parts(shapely.union_all(faces, grid_size=grid))
    return MultiPolygon(list(parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]))
