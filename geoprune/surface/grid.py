"""Vine size on a regular grid, for a raster."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
CELLS_M = (2.0, 2.5, 3.0, 4.0, 5.0)
USUAL_CELLS = 40_000
MOST_CELLS = 200_000


def cell_size(outline: shapely.Geometry) -> float:
    """Smallest of 2-5 m with at most 40,000 cells in the block; larger only where 5 m would make over 200,000."""
    for cell in CELLS_M:
        if outline.area / cell**2 <= USUAL_CELLS:
            return cell
    return max(CELLS_M[-1], float(np.ceil(np.sqrt(outline.area / MOST_CELLS))))


def grid_of(outline: shapely.Geometry, predict: Callable[[Floats], tuple[Floats, Floats]]) -> dict[str, Any]:
    """Predict in the cells whose centre lies in the outline.

    `predict` turns points (m, 2) into mean and standard error (m,). Returns the affine transform (a, b, c, d, e, f) and
    two arrays (rows from north, columns from west), NaN outside.
    """
    cell = cell_size(outline)
    west, south, east, north = outline.bounds
    west, north = cell * np.floor(west / cell), cell * np.ceil(north / cell)
    wide, high = int(np.ceil((east - west) / cell)), int(np.ceil((north - south) / cell))
    easting = np.tile(west + (np.arange(wide) + 0.5) * cell, high)
    northing = np.repeat(north - (np.arange(high) + 0.5) * cell, wide)
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, easting, northing)
    size, error = np.full(wide * high, np.nan), np.full(wide * high, np.nan)
    if inside.any():
        size[inside], error[inside] = predict(np.column_stack([easting, northing])[inside])
    return {
        "transform": (cell, 0.0, float(west), 0.0, -cell, float(north)),
        "vine_size_kg": size.reshape(high, wide),
        "vine_size_se_kg": error.reshape(high, wide),
    }
