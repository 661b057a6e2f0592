"""Indices of whether zoning is worth while, after the literature. Descriptive: nothing is decided by them."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from scipy.spatial.distance import pdist

from geoprune.sizes import SizeDraws, to_weight
from geoprune.trellis import Trellis
from geoprune.zones.drawing import Drawn, Task
from geoprune.zones.limits import long_enough
from geoprune.zones.options import Floats, Need

MOST_PANELS = 600
MOST_DRAWS = 20
LAGS = 24


def opportunity(trellis: Trellis, draws: SizeDraws, need: Need, task: Task, drawn: Drawn) -> dict[str, Any]:
    """Return the indices of a block and of its zones.

    opportunity_index_from_memory : sqrt(magnitude x structure), after Pringle, McBratney, Whelan & Taylor 2003,
        Agricultural Systems 76:273-292. The form is from memory, unverified.
    magnitude : coefficient of variation of panel means over `reference_cv`
    reference_cv : the variation that is worth one bud step (the paper's reference is of broadacre yield and is not
        used)
    structure : area over which vine size is alike, over the smallest area that can be treated (a shortest run)
    alike_area_ha : share explained by a quadratic trend x block area + the rest x integral area of the residuals'
        correlogram, 2 pi times the integral of rho(h) h dh
    technical_opportunity_share : share of vines whose own best zone survives an opening (erosion, then dilation) by a
        shortest run along the row, after the abstract of Tisseyre & McBratney 2008, Precision Agriculture 9:101-113;
        the paper's own formula could not be read
    """
    counted = trellis.panels["counted"].to_numpy().astype(float)
    sizes = to_weight(draws.panel_mean, draws.transform)
    picked = sizes[np.unique(np.linspace(0, len(sizes) - 1, MOST_DRAWS).astype(int))]
    mean = picked @ counted / counted.sum()
    spread = np.sqrt((np.square(picked - mean[:, None]) @ counted) / counted.sum())
    variation = float(np.mean(spread / np.maximum(mean, 1e-9)))
    reference = _reference_variation(float(mean.mean()), need, len(counted), task.options.bud_step)
    smallest_ha = float(np.median(task.graph.area_ha)) * task.options.min_run_panels
    alike_ha = _alike_area_ha(trellis, picked, float(task.graph.area_ha.sum()))
    magnitude, structure = variation / reference, alike_ha / smallest_ha
    free = task.loss[:, list(drawn.chosen)].argmin(axis=1)
    survives = long_enough(free, task.graph, task.options.min_run_panels)
    return {
        "opportunity_index_from_memory": float(np.sqrt(magnitude * structure)),
        "magnitude": magnitude,
        "reference_cv": reference,
        "structure": structure,
        "alike_area_ha": alike_ha,
        "smallest_area_ha": smallest_ha,
        "technical_opportunity_share": float(counted @ survives / counted.sum()),
    }


def _reference_variation(mean_kg: float, need: Need, panels: int, bud_step: int) -> float:
    """Return the coefficient of variation that moves the need by one bud step about the mean; 1 for a flat rule."""
    sides = np.repeat(mean_kg * np.array([[0.9, 1.1]]), panels, axis=0)
    rise = float(np.mean(np.diff(need(sides), axis=1))) / 0.2  # buds per unit of coefficient of variation
    return bud_step / rise if rise > 0 else 1.0


def _alike_area_ha(trellis: Trellis, picked: Floats, area_ha: float) -> float:
    middles = shapely.line_interpolate_point(np.asarray(trellis.panels.geometry.values), 0.5, normalized=True)
    points = shapely.get_coordinates(middles)
    order = np.lexsort(np.round(points, 2).T)
    some = order[np.unique(np.linspace(0, len(order) - 1, MOST_PANELS).astype(int))]
    points = points[some] - points[some].mean(axis=0)
    east, north = (points / max(float(np.abs(points).max()), 1e-9)).T
    trend = np.column_stack([np.ones(len(east)), east, north, east**2, east * north, north**2])
    values = picked[:, some].T
    rest = values - trend @ np.linalg.lstsq(trend, values, rcond=None)[0]
    total = np.square(values - values.mean(axis=0)).sum(axis=0)
    left = np.divide(np.square(rest).sum(axis=0), total, out=np.ones_like(total), where=total > 0)
    patch_ha = np.minimum(_integral_area_m2(points, rest) / 10_000.0, area_ha)
    return float(np.mean((1 - left) * area_ha + left * patch_ha))


def _integral_area_m2(points: Floats, rest: Floats) -> Floats:
    """Area 2 pi int rho(h) h dh of each column of residuals, up to the first lag where rho is not positive."""
    distance = pdist(points)
    if not len(distance):
        return np.zeros(rest.shape[1])
    edges = np.linspace(0.0, float(np.quantile(distance, 0.5)), LAGS + 1)
    lag = np.digitize(distance, edges[1:])
    inside = lag < LAGS
    first, second = (side[inside] for side in np.triu_indices(len(points), 1))
    count = np.maximum(np.bincount(lag[inside], minlength=LAGS), 1)
    middle, width = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    areas = np.empty(rest.shape[1])
    for d, column in enumerate(rest.T):
        variance = max(float(np.mean(np.square(column))), 1e-300)
        rho = np.bincount(lag[inside], column[first] * column[second], minlength=LAGS) / count / variance
        stop = int(np.argmax(rho <= 0)) if (rho <= 0).any() else LAGS
        areas[d] = 2 * np.pi * np.sum(np.minimum(rho[:stop], 1.0) * middle[:stop] * width[:stop])
    return areas
