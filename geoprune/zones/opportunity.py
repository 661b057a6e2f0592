"""Indices of whether zoning is worth while, after the literature. Descriptive: nothing is decided by them."""

from __future__ import annotations

import numpy as np
from scipy.spatial.distance import pdist

from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis, middle_points
from geoprune.zones.drawing import Drawn, Task
from geoprune.zones.limits import long_enough
from geoprune.zones.options import Floats, Need
from geoprune.zones.result import Opportunity

MOST_PANELS = 600
MOST_DRAWS = 20
LAGS = 24


def measure_opportunity(trellis: Trellis, draws: SizeDraws, need: Need, task: Task, drawn: Drawn) -> Opportunity:
    """Return the index of a block and of its zones, and what it is made of.

    index : see `pringle_index`; the mean over draws
    cv, reference_cv : coefficient of variation of panel means, and the one that moves the need by one bud step (the
        paper's reference is of broadacre yield and is not used)
    alike_area_ha : area over which vine size is alike
    smallest_area_ha : smallest area that can be treated: a shortest run
    technical_opportunity_share : share of vines whose own best zone survives an opening (erosion, then dilation) by a
        shortest run along the row, after the abstract of Tisseyre & McBratney 2008, Precision Agriculture 9:101-113;
        the paper's own formula was not at hand
    """
    share = task.counted / task.counted.sum()
    sizes = draws.panel_mean[np.unique(np.linspace(0, len(draws.vine_sd) - 1, MOST_DRAWS).astype(int))]
    mean = sizes @ share
    variation = np.sqrt(np.square(sizes - mean[:, None]) @ share) / np.maximum(mean, 1e-9)
    reference = _reference_variation(float(mean.mean()), need, len(share), _step(task))
    smallest_ha = float(np.median(task.graph.area_ha)) * task.options.shortest_run
    alike_ha = alike_area_ha(middle_points(trellis.panels), sizes, float(task.graph.area_ha.sum()))
    free = task.loss[:, list(drawn.chosen)].argmin(axis=1)
    survives = long_enough(free, task.graph, task.options.shortest_run)
    return Opportunity(
        index=float(np.mean(pringle_index(variation, reference, alike_ha, smallest_ha))),
        cv=float(variation.mean()),
        reference_cv=reference,
        alike_area_ha=float(alike_ha.mean()),
        smallest_area_ha=smallest_ha,
        technical_opportunity_share=float(share @ survives),
    )


def _step(task: Task) -> float:
    """Buds from one count that can be prescribed to the next: the middle one of those looked at."""
    return float(task.options.bud_step or np.median(np.diff(task.counts) if len(task.counts) > 1 else 1.0))


def pringle_index(variation: Floats, reference: float, alike_ha: Floats, smallest_ha: float) -> Floats:
    """Return the opportunity index: the geometric mean of magnitude and structure of the variation.

    sqrt(CV / CV_ref x S / s) with S the area over which the variable is alike and s the smallest area that can be
    treated (Pringle, McBratney, Whelan & Taylor 2003, Agricultural Systems 76:273-292; form from memory).
    """
    return np.sqrt(variation / reference * alike_ha / smallest_ha)


def _reference_variation(mean_kg: float, need: Need, panels: int, bud_step: float) -> float:
    """Return the coefficient of variation that moves the need by one bud step about the mean; 1 for a flat rule."""
    sides = np.repeat(mean_kg * np.array([[0.9, 1.1]]), panels, axis=0)
    rise = float(np.mean(np.diff(need(sides), axis=1))) / 0.2  # buds per unit of coefficient of variation
    return bud_step / rise if rise > 0 else 1.0


def alike_area_ha(place: Floats, sizes: Floats, area_ha: float) -> Floats:
    """Return the area over which each draw's sizes are alike, after Pringle et al. 2003 (form from memory).

    Share of variance that a quadratic trend explains x area of the block, plus the rest x integral area of the
    residuals' correlogram, no larger than the block.

    Parameters
    ----------
    place : (P, 2) in m; thinned to 600 points
    sizes : (D, P)
    """
    order = np.lexsort(np.round(place, 2).T)
    some = order[np.unique(np.linspace(0, len(order) - 1, MOST_PANELS).astype(int))]
    place = place[some] - place[some].mean(axis=0)
    east, north = (place / max(float(np.abs(place).max()), 1e-9)).T
    trend = np.column_stack([np.ones(len(east)), east, north, east**2, east * north, north**2])
    values = sizes[:, some].T
    rest = values - trend @ np.linalg.lstsq(trend, values, rcond=None)[0]
    total = np.square(values - values.mean(axis=0)).sum(axis=0)
    left = np.divide(np.square(rest).sum(axis=0), total, out=np.ones_like(total), where=total > 0)
    if len(place) < 3:
        return np.full(len(sizes), area_ha)
    edges, correlograms = _correlograms(place, rest)
    patch_ha = np.array([integral_area_m2(edges, rho) for rho in correlograms]) / 10_000.0
    return (1 - left) * area_ha + left * np.minimum(patch_ha, area_ha)


def _correlograms(place: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Edges of the lags (L + 1,) up to the median distance, and each column's correlation in them (D, L)."""
    distance = pdist(place)
    edges = np.linspace(0.0, float(np.quantile(distance, 0.5)), LAGS + 1)
    lag = np.digitize(distance, edges[1:])
    inside = lag < LAGS
    first, second = (side[inside] for side in np.triu_indices(len(place), 1))
    count = np.maximum(np.bincount(lag[inside], minlength=LAGS), 1)
    variance = np.maximum(np.mean(np.square(values), axis=0), 1e-300)
    products = [np.bincount(lag[inside], column[first] * column[second], minlength=LAGS) for column in values.T]
    return edges, np.array(products) / count / variance[:, None]


def integral_area_m2(edges: Floats, correlation: Floats) -> float:
    """Return 2 pi times the integral of rho(h) h dh over lags (edges (L + 1,), correlation (L,)).

    Stops at the first lag where the correlation is not positive. 2 pi a^2 for exp(-h/a), pi a^2 / 5 for the
    spherical model of range a.
    """
    stop = int(np.argmax(correlation <= 0)) if (correlation <= 0).any() else len(correlation)
    rings = np.pi * np.diff(np.square(edges))
    return float(np.minimum(correlation[:stop], 1.0) @ rings[:stop])
