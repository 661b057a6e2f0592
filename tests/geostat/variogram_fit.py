"""The least-squares fit of a variogram, to compare with published fits; the product fits by likelihood."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar, nnls

from geoprune.geostat import Variogram, correlation
from geoprune.geostat.covariance import Floats


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
