"""Kriging with known parameters, with what published examples ask of it: block means, coefficients, lognormal means."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve

from geoprune.geostat import Kriging as PlainKriging
from geoprune.geostat import correlation
from geoprune.geostat.covariance import Floats, distances, isotropic


@dataclass(frozen=True)
class Kriging(PlainKriging):
    """The product's kriging, with block means and the variance of its coefficients."""

    @property
    def beta_variance(self) -> Floats:
        """Covariance (p, p) of the drift coefficients, (X'K^-1 X)^-1."""
        return self._turn @ self._normal @ self._turn.T

    def predict_block(
        self, block: Floats, weights: Floats | None = None, drift: Floats | None = None
    ) -> tuple[float, float]:
        """Mean and variance of the field's weighted average over points (m, 2), weights (m,) summing to 1.

        Covariances are averaged without the nugget (Journel & Huijbregts 1978, Mining Geostatistics, ch. V).
        drift (p,) is that of the average, ones by default.
        """
        place = isotropic(np.asarray(block, dtype=float) - self.points.mean(axis=0), self.anisotropy)
        share = np.full(len(place), 1.0 / len(place)) if weights is None else np.asarray(weights, dtype=float)
        cross = share @ correlation(distances(place, self._place), self.range_m, self.model)
        own = share @ correlation(distances(place, place), self.range_m, self.model) @ share
        mean, variance = self.form().moments(cross[None, :], self._rows(drift), own)
        return float(mean[0]), float(max(variance[0], 0.0))

    def weights_variance(self, targets: Floats, drift: Floats | None = None) -> Floats:
        """Variance w'Kw (m,) of the kriging predictor itself at points (m, 2), w its weights."""
        place = isotropic(np.asarray(targets, dtype=float) - self.points.mean(axis=0), self.anisotropy)
        cross = self.sill * correlation(distances(self._place, place), self.range_m, self.model)
        lack = self._rows(drift) - cross.T @ self._inverse_drift
        weights = cho_solve(self._factor, cross) + self._inverse_drift @ self._normal @ lack.T
        half = np.tril(self._factor[0]).T @ weights
        return np.einsum("nm,nm->m", half, half)


def lognormal_mean(mean: Floats, own_variance: Floats | float, weights_variance: Floats) -> Floats:
    """Unbiased mean of a lognormal field from kriging of its logarithm with known covariance.

    exp(mean + (C(0) - w'Kw) / 2), w the kriging weights: free of the Lagrange multiplier's sign, and with the mean
    estimated smaller than exp(mean + variance / 2) where the mean matters (Journel & Huijbregts 1978, Mining Geostatistics;
    Cressie 1993, Statistics for Spatial Data, sec. 3.2.2, from memory). own_variance C(0) of the target, nugget included
    for a new reading; weights_variance from `Kriging.weights_variance`.
    """
    return np.exp(mean + (own_variance - weights_variance) / 2.0)
