"""Universal kriging with a known covariance, by one Cholesky factor."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial.distance import cdist

Floats = NDArray[np.float64]

MODELS = ("exponential", "matern32", "matern52", "spherical")
CHUNK_DOUBLES = 2**18


def correlation(distance: Floats, range_m: float, model: str = "exponential") -> Floats:
    """Correlation at a distance.

    exponential exp(-h/a); matern32 (1+s) exp(-s), s = sqrt(3) h/a; matern52 (1+s+s^2/3) exp(-s),
    s = sqrt(5) h/a; spherical 1 - 1.5 u + 0.5 u^3 for u = h/a < 1 (Webster & Oliver 2007, ch. 5;
    Stein 1999 for the Matern family).

    Raises
    ------
    ValueError
        For an unknown model.
    """
    u = np.asarray(distance, dtype=float) / range_m
    if model == "exponential":
        return np.exp(-u)
    if model == "matern32":
        s = np.sqrt(3.0) * u
        return (1.0 + s) * np.exp(-s)
    if model == "matern52":
        s = np.sqrt(5.0) * u
        return (1.0 + s + s * s / 3.0) * np.exp(-s)
    if model == "spherical":
        return np.where(u < 1.0, 1.0 - 1.5 * u + 0.5 * u**3, 0.0)
    raise ValueError(f"unknown covariance model {model!r}: one of {', '.join(MODELS)}")


@dataclass(frozen=True)
class Kriging:
    """Best linear unbiased prediction for fixed parameters.

    points (n, 2) in m; values (n,); drift (n, p), first column ones; noise (n,) factor of the nugget
    (1 / vines weighed); sill of the field, nugget, range_m, model.
    """

    points: Floats
    values: Floats
    drift: Floats
    noise: Floats
    sill: float
    nugget: float
    range_m: float
    model: str = "exponential"
    _factor: tuple[Floats, bool] = field(init=False, repr=False)
    _inverse_drift: Floats = field(init=False, repr=False)
    _normal: Floats = field(init=False, repr=False)
    beta: Floats = field(init=False)
    _residual_weights: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        covariance = self.sill * correlation(cdist(self.points, self.points), self.range_m, self.model)
        covariance[np.diag_indices_from(covariance)] += self.nugget * self.noise
        factor = cho_factor(covariance, lower=True)
        inverse_drift = cho_solve(factor, self.drift)
        normal = np.linalg.inv(self.drift.T @ inverse_drift)
        set_ = object.__setattr__
        set_(self, "_factor", factor)
        set_(self, "_inverse_drift", inverse_drift)
        set_(self, "_normal", normal)
        beta, residual_weights = self.solve(self.values)
        set_(self, "beta", beta)
        set_(self, "_residual_weights", residual_weights)

    def solve(self, values: Floats) -> tuple[Floats, Floats]:
        """Drift coefficients (p,) and residual weights K^-1 (z - X beta) (n,) for readings (n,) at the same points."""
        beta = self._normal @ (self._inverse_drift.T @ values)
        return beta, cho_solve(self._factor, values - self.drift @ beta)

    def from_covariances(self, cross: Floats, drift: Floats, prior: Floats | float) -> tuple[Floats, Floats]:
        """Mean and variance of targets given their covariances.

        cross (n, m) covariance of samples with targets, drift (m, p), prior (m,) the targets' own variance.
        """
        mean = drift @ self.beta + cross.T @ self._residual_weights
        solved = cho_solve(self._factor, cross)
        lack = drift - cross.T @ self._inverse_drift
        variance = prior - np.einsum("nm,nm->m", cross, solved) + np.einsum("mp,pq,mq->m", lack, self._normal, lack)
        return mean, np.maximum(variance, 0.0)

    def predict(self, targets: Floats, drift: Floats | None = None, *, target: str = "signal") -> tuple[Floats, Floats]:
        """Mean and variance at points (m, 2), in chunks so that memory stays flat.

        `target`: "signal" the noise-free field, "new" a new single reading (nugget added).
        """
        if target not in ("signal", "new"):
            raise ValueError("target is 'signal' or 'new'")
        drift = np.ones((len(targets), 1)) if drift is None else drift
        step = max(1, CHUNK_DOUBLES // len(self.points))
        parts = []
        for start in range(0, len(targets), step):
            part = slice(start, start + step)
            cross = self.sill * correlation(cdist(self.points, targets[part]), self.range_m, self.model)
            parts.append(self.from_covariances(cross, drift[part], self.sill))
        mean = np.concatenate([p[0] for p in parts]) if parts else np.empty(0)
        variance = np.concatenate([p[1] for p in parts]) if parts else np.empty(0)
        return mean, variance + (self.nugget if target == "new" else 0.0)

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Leave-one-out predictions and their variances (a reading), in closed form.

        With Q = K^-1 - K^-1 X (X'K^-1 X)^-1 X'K^-1 the residual is (Qz)_i / Q_ii and its variance 1 / Q_ii
        (Dubrule 1983, Math. Geol. 15:687-699). The covariance parameters stay fixed.
        """
        inverse = cho_solve(self._factor, np.eye(len(self.values)))
        q = inverse - self._inverse_drift @ self._normal @ self._inverse_drift.T
        diagonal = np.diag(q)
        return self.values - (q @ self.values) / diagonal, 1.0 / diagonal
