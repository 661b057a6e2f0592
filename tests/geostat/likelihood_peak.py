"""The peak of the likelihood: one best set of parameters, for reports, large samples and comparisons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar

from geoprune.geostat.covariance import Anisotropy, Floats
from geoprune.geostat.design import Design, make_design
from geoprune.geostat.reml import decompose, log_constant, profile, range_grid
from geoprune.threads import single_blas

SHARE_GRID = np.concatenate([[0.0], np.geomspace(0.001, 0.05, 14), np.linspace(0.075, 1.0, 38)])
RANGE_STEPS = 60
RANGE_STEPS_MANY = 25
MANY = 300
DIPS = 6
METHODS = ("reml", "ml")


@dataclass(frozen=True)
class LikelihoodPeak:
    """Parameters at the largest likelihood within bounds.

    loglik as R's nlme counts it; `at_bound` says that the range lies on the edge of the ranges looked at, so that
    the data do not say how far the field reaches.
    """

    sill: float
    nugget: float
    range_m: float
    loglik: float
    beta: Floats
    at_bound: bool
    method: str
    model: str


@single_blas()
def maximise_likelihood(
    points: Floats,
    values: Floats,
    *,
    drift: Floats | None = None,
    noise: Floats | None = None,
    model: str = "exponential",
    method: str = "reml",
    nugget_share: float | None = None,
    bounds: tuple[float, float] | None = None,
    anisotropy: Anisotropy | None = None,
) -> LikelihoodPeak:
    """Largest REML or ML likelihood over range and nugget share, sill and mean profiled out.

    For each range one decomposition, the share by a scan and a bounded search; the range by a scan over 60 log-spaced
    values (25 with more than 300 readings) and a bounded search around the best dips, so that no start decides (the
    likelihood of a spherical model has several). points (n, 2) in m, values (n,).

    nugget_share : fixes the share, None to search it. bounds : least and largest range, by default `range_grid`'s.

    Raises
    ------
    ValueError
        As `make_design`, or for an unknown method.
    """
    if method not in METHODS:
        raise ValueError("method is 'reml' or 'ml'")
    design = make_design(points, values, drift=drift, noise=noise, model=model, anisotropy=anisotropy)
    distance = design.distance()
    low, high = bounds or tuple(range_grid(design.place, nodes=2, model=model))
    logs = np.linspace(np.log(low), np.log(high), RANGE_STEPS if len(values) <= MANY else RANGE_STEPS_MANY)

    def loss(log_range: float, polish: bool = True) -> float:
        return -_at_range(design, distance, float(np.exp(log_range)), method, nugget_share, polish=polish)[0]

    scores = np.array([loss(v, polish=False) for v in logs])
    padded = np.concatenate([[np.inf], scores, [np.inf]])
    dips = np.flatnonzero((scores <= padded[:-2]) & (scores <= padded[2:]))
    log_range, least = float(logs[0]), np.inf
    for i in dips[np.argsort(scores[dips])][:DIPS]:
        between = (logs[max(i - 1, 0)], logs[min(i + 1, len(logs) - 1)])
        found = minimize_scalar(loss, bounds=between, method="bounded", options={"xatol": 1e-9})
        best, where = min((float(found.fun), float(found.x)), (float(scores[i]), float(logs[i])))
        if best < least:
            log_range, least = where, best
    at_bound = min(log_range - logs[0], logs[-1] - log_range) < 1e-6
    return _peak(design, distance, float(np.exp(log_range)), method, nugget_share, at_bound)


def _at_range(
    design: Design, distance: Floats, range_m: float, method: str, fixed: float | None, *, polish: bool = True
) -> tuple[float, float, float]:
    """Best log likelihood, nugget share and total variance at one range; without `polish` on the grid of shares."""
    spectrum = decompose(design, distance, range_m, 1.0)
    rotated = spectrum.rotate(design.residual / design.root)[:, None]
    constant = log_constant(design)
    n, p = spectrum.drift.shape

    def both(share: Floats) -> tuple[Floats, Floats]:
        loglik, variance = profile(spectrum, rotated, share, constant)
        if method == "reml":
            return loglik[:, 0], variance[:, 0]
        # maximum likelihood: n for n - p, and no determinant of X'K^-1 X
        of_all = variance[:, 0] * (n - p) / n
        determinant = np.log(spectrum.eigenvalues(share)).sum(axis=1) + np.log(design.noise).sum()
        return -0.5 * (n * (np.log(2.0 * np.pi * of_all) + 1.0) + determinant), of_all

    if fixed is not None:
        loglik, variance = both(np.array([fixed]))
        return float(loglik[0]), fixed, float(variance[0])
    scores, variances = both(SHARE_GRID)
    j = int(np.argmax(scores))
    if not polish:
        return float(scores[j]), float(SHARE_GRID[j]), float(variances[j])
    between = (SHARE_GRID[max(j - 1, 0)], SHARE_GRID[min(j + 1, len(SHARE_GRID) - 1)])
    found = minimize_scalar(
        lambda a: -float(both(np.array([a]))[0][0]), bounds=between, method="bounded", options={"xatol": 1e-12}
    )
    share = float(found.x) if -found.fun >= scores[j] else float(SHARE_GRID[j])
    loglik, variance = both(np.array([share]))
    return float(loglik[0]), share, float(variance[0])


def _peak(
    design: Design, distance: Floats, range_m: float, method: str, fixed: float | None, at_bound: bool
) -> LikelihoodPeak:
    loglik, share, total = _at_range(design, distance, range_m, method, fixed)
    spectrum = decompose(design, distance, range_m, 1.0)
    eigen = spectrum.eigenvalues(np.array([share]))
    rotated = spectrum.rotate(design.residual / design.root) / eigen[0]
    step = np.linalg.solve(spectrum.normal(eigen)[0], spectrum.drift.T @ rotated)
    beta = design.start + design.turn @ step
    return LikelihoodPeak(total * (1.0 - share), total * share, range_m, loglik, beta, bool(at_bound), method, design.model)
