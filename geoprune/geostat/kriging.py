"""Universal kriging with a known covariance, by one Cholesky factor."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular

from geoprune.geostat.covariance import Anisotropy, Floats, correlation, distances, isotropic
from geoprune.geostat.forms import Form, mix_points
from geoprune.threads import single_blas

TARGETS = ("signal", "new", "exact")


def check_target(target: str) -> None:
    """Raise ValueError for a target that is not named in `TARGETS`."""
    if target not in TARGETS:
        raise ValueError(f"target {target!r}: one of {', '.join(TARGETS)}")


@dataclass(frozen=True)
class Kriging:
    """Best linear unbiased prediction for fixed parameters.

    points (n, 2) in m; values (n,); drift (n, p), first column ones; noise (n,) factor of the nugget
    (1 / vines weighed); sill of the field, nugget, range_m, model; anisotropy (bearing_deg, ratio).

    Raises
    ------
    numpy.linalg.LinAlgError
        When the covariance is singular: coincident readings without a nugget.
    """

    points: Floats
    values: Floats
    drift: Floats
    noise: Floats
    sill: float
    nugget: float
    range_m: float
    model: str = "exponential"
    anisotropy: Anisotropy | None = None
    _place: Floats = field(init=False, repr=False)
    _basis: Floats = field(init=False, repr=False)
    _turn: Floats = field(init=False, repr=False)
    _factor: tuple[Floats, bool] = field(init=False, repr=False)
    _inverse_drift: Floats = field(init=False, repr=False)
    _normal: Floats = field(init=False, repr=False)
    _coefficients: Floats = field(init=False, repr=False)
    beta: Floats = field(init=False)
    _residual_weights: Floats = field(init=False, repr=False)

    @single_blas()
    def __post_init__(self) -> None:
        set_ = object.__setattr__
        centre = self.points.mean(axis=0)
        set_(self, "_place", isotropic(self.points - centre, self.anisotropy))
        covariance = self.sill * correlation(distances(self._place, self._place), self.range_m, self.model)
        covariance[np.diag_indices_from(covariance)] += self.nugget * self.noise
        factor = cho_factor(covariance, lower=True)
        basis, upper = np.linalg.qr(self.drift)
        inverse_drift = cho_solve(factor, basis)
        set_(self, "_factor", factor)
        set_(self, "_basis", basis)
        set_(self, "_turn", np.linalg.inv(upper))
        set_(self, "_inverse_drift", inverse_drift)
        set_(self, "_normal", np.linalg.inv(basis.T @ inverse_drift))
        coefficients, residual_weights = self._solve(self.values)
        set_(self, "_coefficients", coefficients)
        set_(self, "beta", self._turn @ coefficients)
        set_(self, "_residual_weights", residual_weights)

    def _solve(self, values: Floats) -> tuple[Floats, Floats]:
        """Coefficients (p,) of the orthonormal basis and residual weights K^-1 (z - X beta) (n,)."""
        start = self._basis.T @ values
        rest = values - self._basis @ start
        step = self._normal @ (self._inverse_drift.T @ rest)
        return start + step, cho_solve(self._factor, rest - self._basis @ step)

    def form(self) -> Form:
        """The predictor as a linear and a quadratic form in an orthonormal drift; the second form is the variance."""
        lower = self.sill * solve_triangular(self._factor[0], np.eye(len(self.values)), lower=True, check_finite=False)
        low = np.vstack([-self.sill * self._inverse_drift, np.eye(len(self.beta))]) @ np.linalg.cholesky(self._normal)
        linear = np.concatenate([self.sill * self._residual_weights, self._coefficients])
        return Form(self.range_m, self.sill, lower, low, linear)

    def _rows(self, drift: Floats | None) -> Floats:
        rows = np.ones((1, 1)) if drift is None else np.atleast_2d(np.asarray(drift, dtype=float))
        return rows @ self._turn

    @single_blas()
    def predict(
        self, targets: Floats, drift: Floats | None = None, *, target: str = "signal", threads: int | None = None
    ) -> tuple[Floats, Floats]:
        """Mean and variance (m,) at points (m, 2), drift (m, p) or None for a constant, in chunks: memory stays flat.

        `target`: "signal" the noise-free field; "new" a new single reading (nugget added); "exact" as new, but where
        readings were taken their own mean with no variance.

        Raises
        ------
        ValueError
            For another target.
        """
        check_target(target)
        targets = np.asarray(targets, dtype=float).reshape(-1, 2)
        place = isotropic(targets - self.points.mean(axis=0), self.anisotropy)
        mean, variance = mix_points([self.form()], self._place, place, self._rows(drift), self.model, threads=threads)
        variance = np.maximum(variance, 0.0) + (0.0 if target == "signal" else self.nugget)
        if target == "exact":
            honour(mean, variance, place, self._place, self.values, self.noise)
        return mean, variance

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Leave-one-out predictions and their variances (a reading), in closed form.

        With Q = K^-1 - K^-1 X (X'K^-1 X)^-1 X'K^-1 the residual is (Qz)_i / Q_ii and its variance 1 / Q_ii
        (Dubrule 1983, Math. Geol. 15:687-699). The covariance parameters stay fixed.
        """
        return self.leave_out(np.arange(len(self.values)))

    @single_blas()
    def leave_out(self, folds: NDArray[Any]) -> tuple[Floats, Floats]:
        """Predictions and variances (n,) of each reading without its fold; folds (n,) labels.

        For a fold S the residuals are (Q_SS)^-1 (Qz)_S with covariance (Q_SS)^-1 (Dubrule 1983).
        """
        inverse = cho_solve(self._factor, np.eye(len(self.values)))
        q = inverse - self._inverse_drift @ self._normal @ self._inverse_drift.T
        u = q @ (self.values - self._basis @ self._coefficients)
        residual, variance = np.empty_like(u), np.empty_like(u)
        for label in np.unique(folds):
            members = np.flatnonzero(folds == label)
            covariance = np.linalg.inv(q[np.ix_(members, members)])
            residual[members], variance[members] = covariance @ u[members], np.diag(covariance)
        return self.values - residual, variance


def honour(mean: Floats, variance: Floats, place: Floats, samples: Floats, values: Floats, noise: Floats) -> None:
    """Put the readings' mean (weights 1 / noise) and no variance, in place, where targets coincide with samples."""
    step = max(1, 2**18 // len(samples))
    for start in range(0, len(place), step):
        same = distances(place[start : start + step], samples) == 0.0
        rows = np.flatnonzero(same.any(axis=1))
        weight = same[rows] / noise
        mean[start + rows] = weight @ values / weight.sum(axis=1)
        variance[start + rows] = 0.0
