"""What stands on a block's planting positions, and which positions are neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.layers import GONE

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]

#: Neighbours across rows stand at most so much farther apart than a row spacing and half a vine spacing say: rows bend and
#: are paced out (design choice).
SLACK = 1.1


@dataclass(frozen=True, eq=False)
class Stand:
    """A block's planting positions.

    Attributes
    ----------
    block, variety, rootstock : str
        "" where not given.
    row_spacing_m, vine_spacing_m : float
    vines_per_panel : int
    vines : GeoDataFrame, RangeIndex, in order of rows and vines
        row, row_order, vine, status, weak (bool: to be renewed by its size), geometry (points, metres).
    """

    block: str
    variety: str
    rootstock: str
    row_spacing_m: float
    vine_spacing_m: float
    vines_per_panel: int
    vines: gpd.GeoDataFrame

    @cached_property
    def gone(self) -> Bools:
        """Positions without a living vine (V,)."""
        return self.vines["status"].isin(GONE).to_numpy()

    @cached_property
    def sick(self) -> Bools:
        """Vines marked diseased (V,)."""
        return (self.vines["status"] == "diseased").to_numpy()

    @cached_property
    def weak(self) -> Bools:
        """Vines too small to bear, neither gone nor marked diseased (V,)."""
        return self.vines["weak"].to_numpy(dtype=bool) & ~self.gone & ~self.sick

    @cached_property
    def along(self) -> Integers:
        """Pairs of neighbours in a row (J, 2)."""
        return along_joins(self.vines["row_order"], self.vines["vine"])

    @cached_property
    def across(self) -> Integers:
        """Pairs of neighbours in rows beside each other (J, 2): each position and the nearest one of the next row."""
        return across_joins(self.vines, self.row_spacing_m, self.vine_spacing_m)


def along_joins(row_order: pd.Series, vine: pd.Series) -> Integers:
    """Return pairs of positions (J, 2) that follow each other in a row."""
    row, number = row_order.to_numpy(dtype=np.int64), vine.to_numpy(dtype=np.int64)
    order = np.lexsort((number, row))
    follows = (np.diff(row[order]) == 0) & (np.diff(number[order]) == 1)
    return np.column_stack([order[:-1][follows], order[1:][follows]])


def across_joins(vines: gpd.GeoDataFrame, row_spacing_m: float, vine_spacing_m: float) -> Integers:
    """Return pairs of positions (J, 2), each with the nearest of the next row where that stands beside it."""
    points = shapely.get_coordinates(vines.geometry.values)
    row = vines["row_order"].to_numpy(dtype=np.int64)
    reach = SLACK * float(np.hypot(row_spacing_m, 0.5 * vine_spacing_m))
    members = {int(order): np.flatnonzero(row == order) for order in np.unique(row)}
    found = []
    for order, here in members.items():
        beside = members.get(order + 1)
        if beside is None:
            continue
        distance, nearest = cKDTree(points[beside]).query(points[here], distance_upper_bound=reach)
        near = np.isfinite(distance)
        found.append(np.column_stack([here[near], beside[nearest[near]]]))
    return np.concatenate(found) if found else np.empty((0, 2), dtype=np.int64)
