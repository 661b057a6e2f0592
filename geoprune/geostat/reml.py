"""Residual maximum likelihood on a grid of ranges and nugget shares; sill and mean profiled out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.spatial.distance import cdist

from geoprune.geostat.kriging import correlation

Floats = NDArray[np.float64]
DEFAULT_SHARES = np.array([0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0])


@dataclass(frozen=True)
class RemlSurface:
    """REML log likelihood over (ranges x nugget shares).

    loglik (R, S); total_variance (R, S): sill + nugget at each node; ranges (R,) in m; shares (S,) = nugget /
    (sill + nugget). `null` is the log likelihood with no field at all, `ratio` = 2 (max - null).
    """

    ranges: Floats
    shares: Floats
    loglik: Floats
    total_variance: Floats
    null: float
    model: str

    @property
    def ratio(self) -> float:
        """Likelihood ratio statistic against the nugget-only model."""
        return float(2.0 * (self.loglik.max() - self.null))

    @property
    def peak(self) -> tuple[int, int]:
        """Grid position of the largest log likelihood."""
        i, j = np.unravel_index(int(self.loglik.argmax()), self.loglik.shape)
        return int(i), int(j)

    def weights(self, log_prior: Floats | float = 0.0) -> Floats:
        """Node weights exp(loglik + log prior), summing to 1."""
        score = self.loglik + log_prior
        weight = np.exp(score - score.max())
        return weight / weight.sum()


def _loglik(covariance: Floats, values: Floats, drift: Floats) -> tuple[Floats, Floats]:
    """Profile REML log likelihood for each column of `values` (n, k), and the profiled variance."""
    n, p = drift.shape
    lower = np.linalg.cholesky(covariance)
    whitened = solve_triangular(lower, np.hstack([drift, values]), lower=True)
    x, z = whitened[:, :p], whitened[:, p:]
    gram = x.T @ x
    residual = z - x @ np.linalg.solve(gram, x.T @ z)
    variance = np.maximum(np.einsum("nk,nk->k", residual, residual) / (n - p), 1e-300)
    logdet = 2.0 * np.log(np.diag(lower)).sum() + np.linalg.slogdet(gram)[1]
    return -0.5 * ((n - p) * (np.log(2.0 * np.pi * variance) + 1.0) + logdet), variance


def range_grid(points: Floats, *, nodes: int = 20) -> Floats:
    """Ranges from half the median nearest-neighbour distance to the diagonal of the samples, log spaced."""
    distance = cdist(points, points)
    distance[distance <= 0] = np.inf
    nearest = np.median(distance.min(axis=1))
    diagonal = float(np.hypot(*np.ptp(points, axis=0)))
    return np.geomspace(max(nearest / 2.0, 1.0), max(diagonal, 2.0 * nearest, 4.0), nodes)


def reml_surface(
    points: Floats,
    values: Floats,
    *,
    drift: Floats,
    noise: Floats,
    ranges: Floats | None = None,
    shares: Floats = DEFAULT_SHARES,
    model: str = "exponential",
) -> RemlSurface:
    """Evaluate the REML surface. points (n, 2), values (n,), drift (n, p), noise (n,)."""
    ranges = range_grid(points) if ranges is None else np.asarray(ranges, dtype=float)
    loglik, variance, null = _scan(points, values[:, None], drift, noise, ranges, shares, model)
    return RemlSurface(ranges, shares, loglik[..., 0], variance[..., 0], float(null[0]), model)


def _scan(
    points: Floats, values: Floats, drift: Floats, noise: Floats, ranges: Floats, shares: Floats, model: str
) -> tuple[Floats, Floats, Floats]:
    distance = cdist(points, points)
    shape = (len(ranges), len(shares), values.shape[1])
    loglik, variance = np.empty(shape), np.empty(shape)
    null = _loglik(np.diag(noise), values, drift)[0]
    for i, range_m in enumerate(ranges):
        field = correlation(distance, float(range_m), model)
        for j, share in enumerate(shares):
            covariance = (1.0 - share) * field + np.diag(np.maximum(share, 1e-9) * noise)
            loglik[i, j], variance[i, j] = _loglik(covariance, values, drift)
    return loglik, variance, null


def null_ratios(
    points: Floats,
    *,
    drift: Floats,
    noise: Floats,
    ranges: Floats,
    shares: Floats = DEFAULT_SHARES,
    model: str = "exponential",
    simulations: int = 400,
    seed: int = 0,
) -> Floats:
    """Likelihood ratios of white noise at the same points: the null distribution of `RemlSurface.ratio`.

    The usual chi-square limits do not hold, because the range is unidentified when there is no field.
    """
    rng = np.random.default_rng(seed)
    values = rng.standard_normal((len(points), simulations)) * np.sqrt(noise)[:, None]
    loglik, _, null = _scan(points, values, drift, noise, ranges, shares, model)
    return 2.0 * (loglik.reshape(-1, simulations).max(axis=0) - null)
