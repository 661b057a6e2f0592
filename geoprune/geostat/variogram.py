"""The empirical variogram and its weighted least-squares fit: for the eye and as a cross-check, not the estimator."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar, nnls
from scipy.spatial.distance import pdist

from geoprune.geostat.covariance import Anisotropy, Floats, correlation, isotropic

ESTIMATORS = ("matheron", "cressie-hawkins")


@dataclass(frozen=True)
class Variogram:
    """Semivariances by distance class: distance_m mean pair distance (B,), gamma (B,), pairs (B,); no empty class."""

    distance_m: Floats
    gamma: Floats
    pairs: NDArray[np.int64]
    estimator: str


def empirical_variogram(
    points: Floats,
    values: Floats,
    *,
    cutoff_m: float | None = None,
    bins: int = 15,
    estimator: str = "matheron",
    anisotropy: Anisotropy | None = None,
) -> Variogram:
    """Semivariance by distance class, classes open below and closed above.

    Matheron: half the mean squared difference. Cressie-Hawkins: half the fourth power of the mean root absolute
    difference over 0.457 + 0.494 / N, robust to outliers (Cressie & Hawkins 1980, Math. Geol. 12:115-125). Coincident
    pairs belong to no class. points (n, 2) in m, values (n,); cutoff_m a third of the bounding box's diagonal.

    Raises
    ------
    ValueError
        For an unknown estimator.
    """
    if estimator not in ESTIMATORS:
        raise ValueError(f"estimator is one of {', '.join(ESTIMATORS)}")
    place = isotropic(points, anisotropy)
    cutoff = float(np.hypot(*np.ptp(place, axis=0)) / 3.0) if cutoff_m is None else cutoff_m
    distance, difference = pdist(place), pdist(np.asarray(values, dtype=float)[:, None])
    label = np.ceil(distance / (cutoff / bins)).astype(np.int64) if cutoff > 0.0 else np.zeros(len(distance), np.int64)
    kept = (label > 0) & (label <= bins)
    label = label[kept]
    pairs = np.bincount(label, minlength=bins + 1)[1:]
    filled = pairs > 0
    count = np.maximum(pairs, 1)

    def means(quantity: Floats) -> Floats:
        return (np.bincount(label, quantity[kept], minlength=bins + 1)[1:] / count)[filled]

    if estimator == "matheron":
        gamma = 0.5 * means(np.square(difference))
    else:
        gamma = 0.5 * means(np.sqrt(difference)) ** 4 / (0.457 + 0.494 / pairs[filled])
    return Variogram(means(distance), gamma, pairs[filled], estimator)


@dataclass(frozen=True)
class VariogramFit:
    """Weighted least-squares fit: nugget, sill of the field, range_m, and the weighted sum of squares."""

    nugget: float
    sill: float
    range_m: float
    squares: float


def fit_variogram(
    variogram: Variogram,
    *,
    model: str = "spherical",
    weights: str = "pairs/distance2",
    bounds: tuple[float, float] | None = None,
) -> VariogramFit:
    """Least-squares nugget, sill and range; nugget and sill not below 0.

    weights : "pairs/distance2" (N / h^2; Pebesma 2004, Comput. Geosci. 30:683-691), "pairs" (N) or "equal". For each
    range nugget and sill are a non-negative least-squares problem, so only the range is searched: 200 log-spaced
    values, then a bounded search. bounds : least and largest range, by default a tenth of the shortest to three
    times the longest distance.

    Raises
    ------
    ValueError
        For unknown weights.
    """
    pairs = variogram.pairs.astype(float)
    choices = {"pairs/distance2": pairs / variogram.distance_m**2, "pairs": pairs, "equal": np.ones_like(pairs)}
    if weights not in choices:
        raise ValueError(f"weights is one of {', '.join(choices)}")
    weight = choices[weights]
    scale = np.sqrt(weight / weight.mean())
    low, high = bounds or (variogram.distance_m.min() / 10.0, variogram.distance_m.max() * 3.0)

    def solve(log_range: float) -> tuple[Floats, float]:
        shape = 1.0 - correlation(variogram.distance_m, float(np.exp(log_range)), model)
        found, norm = nnls(scale[:, None] * np.column_stack([np.ones_like(shape), shape]), scale * variogram.gamma)
        return found, float(norm**2)

    logs = np.linspace(np.log(low), np.log(high), 200)
    i = int(np.argmin([solve(v)[1] for v in logs]))
    between = (logs[max(i - 1, 0)], logs[min(i + 1, len(logs) - 1)])
    best = minimize_scalar(lambda v: solve(v)[1], bounds=between, method="bounded", options={"xatol": 1e-12})
    parameters, squares = solve(float(best.x))
    return VariogramFit(float(parameters[0]), float(parameters[1]), float(np.exp(best.x)), squares * float(weight.mean()))
