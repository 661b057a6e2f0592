"""Vines to replace gathered into areas: along the row first, then across to the next row."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from geoprune.replanting.stand import Stand

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]

#: In a row, vines to replace hang together over one sound vine (design choice: a crew works both in one go).
ALONG_REACH = 2


@dataclass(frozen=True, eq=False)
class Area:
    """Vines of a block that are dealt with in one trip; positions in the stand's table.

    number : 1, 2, ...; 0 for those that stand alone, scattered over the block
    members : vines to replace; span : every position from the first to the last of them in each row
    """

    number: int
    members: Integers
    span: Integers


def gather_areas(stand: Stand, needy: Bools, *, smallest: int) -> list[Area]:
    """Gather vines to replace into areas, the largest first.

    They hang together along a row over at most one sound vine, and across rows from each place to the nearest of the next.

    Parameters
    ----------
    stand : Stand
    needy : (V,)
        Which vines are to be replaced.
    smallest : int
        Vines that make a trip of its own worth while; what hangs together in fewer is put into one area of number 0, to be
        done on the way.
    """
    index = np.flatnonzero(needy)
    if not len(index):
        return []
    groups = sorted(_components(stand, index, needy), key=lambda group: (-len(group), int(group[0])))
    large = [group for group in groups if len(group) >= smallest]
    alone = [group for group in groups if len(group) < smallest]
    areas = [_area(stand, number, group) for number, group in enumerate(large, start=1)]
    if alone:
        scattered = np.sort(np.concatenate(alone))
        areas.append(Area(0, scattered, scattered))
    return areas


def layers(stand: Stand, members: Integers) -> Integers:
    """Return the gaps among `members` into which a sound neighbour in the row can be layered; a neighbour serves one gap.

    A young, weak or sick vine gives no cane; a vine marked for another gap neither.
    """
    sound = (stand.vines["status"] == "bearing").to_numpy() & ~stand.weak
    beside: dict[int, list[int]] = {}
    for one, other in stand.along.tolist():
        beside.setdefault(one, []).append(other)
        beside.setdefault(other, []).append(one)
    taken: set[int] = set()
    found = []
    for place in members[stand.gone[members]].tolist():
        giver = next((vine for vine in beside.get(place, []) if sound[vine] and vine not in taken), None)
        if giver is not None:
            taken.add(giver)
            found.append(place)
    return np.array(found, dtype=np.int64)


def ground_of(stand: Stand, span: Integers) -> shapely.MultiPolygon:
    """Return the ground of positions: a row spacing wide, along the rows, half a vine spacing beyond the ends."""
    points = shapely.get_coordinates(stand.vines.geometry.values)
    row = stand.vines["row_order"].to_numpy()
    parts = []
    for order in np.unique(row[span]):
        here = span[row[span] == order]
        line = shapely.LineString(_lengthened(points[here], points[row == order], stand.vine_spacing_m / 2))
        parts.append(line.buffer(0.505 * stand.row_spacing_m, cap_style="flat"))
    return shapely.MultiPolygon(shapely.get_parts(shapely.union_all(parts)).tolist())


def row_length_m(stand: Stand, span: Integers) -> float:
    """Return the length of row that positions take up: a vine spacing each."""
    return float(len(span) * stand.vine_spacing_m)


def ground_table(stand: Stand, areas: list[Area]) -> gpd.GeoDataFrame:
    """Return number and ground of areas; scattered vines have none."""
    numbered = [area for area in areas if area.number]
    shapes = [ground_of(stand, area.span) for area in numbered]
    return gpd.GeoDataFrame({"area": [area.number for area in numbered]}, geometry=shapes, crs=stand.vines.crs)


def _components(stand: Stand, index: Integers, needy: Bools) -> list[Integers]:
    row, vine = (stand.vines[name].to_numpy(dtype=np.int64) for name in ("row_order", "vine"))
    order = index[np.lexsort((vine[index], row[index]))]
    near = (np.diff(row[order]) == 0) & (np.diff(vine[order]) <= ALONG_REACH)
    along = np.column_stack([order[:-1][near], order[1:][near]])
    across = stand.across[needy[stand.across].all(axis=1)]
    pairs = np.concatenate([along, across])
    count = len(needy)
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    label = connected_components(graph, directed=False)[1][index]
    turn = np.argsort(label, kind="stable")
    return np.split(index[turn], np.flatnonzero(np.diff(label[turn])) + 1)


def _area(stand: Stand, number: int, members: Integers) -> Area:
    row, vine = (stand.vines[name].to_numpy(dtype=np.int64) for name in ("row_order", "vine"))
    inside = []
    for order in np.unique(row[members]):
        numbers = vine[members[row[members] == order]]
        here = (row == order) & (vine >= numbers.min()) & (vine <= numbers.max())
        inside.append(np.flatnonzero(here))
    return Area(number, np.sort(members), np.concatenate(inside))


def _lengthened(points: NDArray[np.float64], row: NDArray[np.float64], beyond_m: float) -> NDArray[np.float64]:
    """A row's piece, lengthened at both ends; of one vine alone, along the whole row's direction."""
    first, last = (points[0], points[-1]) if len(points) > 1 else (row[0], row[-1])
    step = last - first
    length = float(np.hypot(*step))
    ahead = step / length if length else np.array([0.0, 1.0])
    return np.vstack([points[0] - beyond_m * ahead, points, points[-1] + beyond_m * ahead])
