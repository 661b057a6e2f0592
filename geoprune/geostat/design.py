"""What was measured, made ready for the solvers: checked, centred, whitened."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.geostat.covariance import Anisotropy, Floats, check_model, distances, isotropic

Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Design:
    """Readings and their mean's design, in coordinates in which the field is isotropic.

    place (n, 2) in m about `centre`; drift (n, p); noise (n,); season (n,) labels; row (n,) labels of the rows the readings
    stand in, -1 where none is told; basis (n, p) = drift @ turn, with
    basis / sqrt(noise) orthonormal; start (p,) least-squares coefficients and residual (n,) what they leave, so
    that large levels cost no digits; root (n,) = sqrt(noise).
    """

    place: Floats
    values: Floats
    drift: Floats
    noise: Floats
    season: Integers
    target_season: int
    row: Integers
    model: str
    anisotropy: Anisotropy | None
    centre: Floats
    basis: Floats
    turn: Floats
    start: Floats
    residual: Floats

    @property
    def root(self) -> Floats:
        """Square root of each reading's nugget factor."""
        return np.sqrt(self.noise)

    @property
    def has_seasons(self) -> bool:
        """Whether readings (or the target) belong to more than one season."""
        return bool(np.any(self.season != self.target_season))

    @property
    def sampled_rows(self) -> Integers:
        """Labels (q,) of the rows that readings stand in, in order; none where no rows are told."""
        return np.unique(self.row[self.row >= 0])

    def same_row(self) -> Floats:
        """1 for two readings of one row (n, n), 0 otherwise; a reading without a row is in a row of its own."""
        same = (self.row[:, None] == self.row[None, :]) & (self.row >= 0)[:, None]
        return np.where(same | np.eye(len(self.row), dtype=bool), 1.0, 0.0)

    def locate(self, points: Floats) -> Floats:
        """Points (m, 2) of the ground in the design's coordinates."""
        return isotropic(np.asarray(points, dtype=float).reshape(-1, 2) - self.centre, self.anisotropy)

    def distance(self) -> Floats:
        """Distances between the readings (n, n)."""
        return distances(self.place, self.place)

    def sharing(self, persistent: float) -> Floats:
        """Factor of the covariance between readings: 1 in the same season, `persistent` otherwise."""
        return np.where(self.season[:, None] == self.season[None, :], 1.0, persistent)

    def sharing_target(self, persistent: float) -> Floats:
        """Factor of the covariance of each reading with the field of the target season."""
        return np.where(self.season == self.target_season, 1.0, persistent)

    def target_basis(self, drift: Floats) -> Floats:
        """Drift rows (m, p) in the basis of the design."""
        return drift @ self.turn

    def start_at(self, drift: Floats) -> Floats:
        """Least-squares part of the mean at drift rows (m, p)."""
        return drift @ self.start


def make_design(
    points: Floats,
    values: Floats,
    *,
    drift: Floats | None = None,
    noise: Floats | None = None,
    season: Any = None,
    target_season: int | None = None,
    row: Any = None,
    model: str = "exponential",
    anisotropy: Anisotropy | None = None,
) -> Design:
    """Check and centre. points (n, 2) in m, values (n,), drift (n, p) or None for a constant, noise (n,) or None for 1.

    season (n,) integer labels or None; target_season the season predicted, by default the newest; row (n,) integer labels
    from 0 on, -1 for none, or None.

    Raises
    ------
    ValueError
        When lengths differ, a number is not finite, a noise is not above 0, the drift's columns are collinear, or
        there are not more than p + 2 readings.
    """
    points, values = np.asarray(points, dtype=float).reshape(-1, 2), np.asarray(values, dtype=float)
    n = len(values)
    drift = np.ones((n, 1)) if drift is None else np.asarray(drift, dtype=float)
    noise = np.ones(n) if noise is None else np.asarray(noise, dtype=float)
    label = np.zeros(n, dtype=np.int64) if season is None else np.asarray(season, dtype=np.int64)
    rows = np.full(n, -1) if row is None else np.asarray(row, dtype=np.int64)
    _check(points, values, drift, noise, label, rows)
    root = np.sqrt(noise)[:, None]
    orthonormal, upper = np.linalg.qr(drift / root)
    turn = np.linalg.inv(upper)
    start = turn @ (orthonormal.T @ (values / root[:, 0]))
    newest = int(label.max()) if target_season is None else int(target_season)
    centre = points.mean(axis=0)
    return Design(
        place=isotropic(points - centre, anisotropy),
        values=values,
        drift=drift,
        noise=noise,
        season=label,
        target_season=newest,
        row=rows,
        model=check_model(model),
        anisotropy=anisotropy,
        centre=centre,
        basis=orthonormal * root,
        turn=turn,
        start=start,
        residual=values - drift @ start,
    )


def _check(points: Floats, values: Floats, drift: Floats, noise: Floats, season: Integers, row: Integers) -> None:
    n = len(values)
    if drift.ndim != 2 or not len(points) == len(drift) == len(noise) == len(season) == len(row) == n:
        raise ValueError("points, values, drift, noise, season and row have one row per reading")
    for name, array in (("points", points), ("values", values), ("drift", drift), ("noise", noise)):
        if not np.isfinite(array).all():
            raise ValueError(f"{name}: {int((~np.isfinite(array)).sum())} numbers are not finite")
    if (row < -1).any():
        raise ValueError("labels of rows count from 0, -1 for none")
    if not (noise > 0.0).all():
        raise ValueError("a reading's noise factor is above 0")
    if n < drift.shape[1] + 3:
        raise ValueError(f"{n} readings are too few for {drift.shape[1]} coefficients of the mean and a variance")
    collinear = collinear_columns(drift)
    if collinear:
        raise ValueError(f"drift columns {collinear} are collinear with the columns before them")


def collinear_columns(drift: Floats) -> list[int]:
    """Positions of the columns (n, p) that are linear in the columns before them, to 1e-9 of their size."""
    found, kept = [], np.empty((len(drift), 0))
    for j in range(drift.shape[1]):
        column = drift[:, j]
        size = np.linalg.norm(column)
        rest = column - kept @ (kept.T @ column)
        rest = rest - kept @ (kept.T @ rest)
        if np.linalg.norm(rest) <= 1e-9 * size or size == 0.0:
            found.append(j)
        else:
            kept = np.column_stack([kept, rest / np.linalg.norm(rest)])
    return found


def spread_subset(points: Floats, size: int, *, seed: int = 0) -> Integers:
    """Positions of `size` samples for a likelihood: half at random, half their nearest neighbours.

    So that close pairs show the nugget and far ones of the range. points (n, 2); all of them when n <= size.
    """
    if len(points) <= size:
        return np.arange(len(points))
    rng = np.random.default_rng(seed)
    chosen = rng.choice(len(points), size=size // 2, replace=False)
    companions = cKDTree(points).query(points[chosen], k=2)[1][:, 1]
    both = np.unique(np.concatenate([chosen, companions]))
    rest = np.setdiff1d(np.arange(len(points)), both)
    return np.sort(np.concatenate([both, rng.choice(rest, size=size - len(both), replace=False)]))
