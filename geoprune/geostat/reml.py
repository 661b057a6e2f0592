"""Residual maximum likelihood on a grid of ranges and nugget shares; sill and mean profiled out.

Covariance of the readings at one node: s2 [(1 - a) R + a D], R the field's correlations, D = diag(noise), a the nugget
share. One eigen-decomposition D^-1/2 R D^-1/2 = U diag(l) U' serves every share and every simulated set of values.
With an effect of whole rows R = (1 - b) F + b S: F the field's correlations, S 1 for two readings of one row, b the rows'
share of what is not nugget.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from geoprune.geostat.covariance import EFFECTIVE, Anisotropy, Floats, correlation, distances
from geoprune.geostat.design import Design, make_design
from geoprune.threads import run_parts, single_blas

DEFAULT_SHARES = np.array([0.02, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0])
PERSISTENT_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)
#: Belief in each part of the variance that is not nugget being one of whole rows, where rows are told: one in five in any
#: (design choice; docs/method-geostat.md).
ROW_SHARES = {0.0: 0.8, 0.25: 0.1, 0.75: 0.1}
LEAST_EIGENVALUE = 1e-12


@dataclass(frozen=True)
class Spectrum:
    """Eigen-decomposition of the whitened correlations of field and rows at one range, persistent and row share.

    roots (n,), vectors (n, n); drift (n, p) = U' of the whitened basis.
    """

    range_m: float
    persistent: float
    roots: Floats
    vectors: Floats
    drift: Floats
    row_share: float = 0.0

    def eigenvalues(self, shares: Floats) -> Floats:
        """Eigenvalues (S, n) of (1 - a) R + a D, whitened, for each share a."""
        shares = np.asarray(shares, dtype=float)[:, None]
        return np.maximum((1.0 - shares) * self.roots + shares, LEAST_EIGENVALUE)

    def rotate(self, whitened: Floats) -> Floats:
        """U' times whitened columns (n, k)."""
        return self.vectors.T @ whitened

    def normal(self, values: Floats) -> Floats:
        """X' K^-1 X (S, p, p) for eigenvalues (S, n), at unit variance."""
        return (self.drift.T[None, :, :] / values[:, None, :]) @ self.drift


@dataclass(frozen=True)
class RemlSurface:
    """REML log likelihood over (ranges x nugget shares).

    loglik (R, S); total_variance (R, S): sill + nugget at each node; ranges (R,) in m; shares (S,) = nugget /
    (sill + nugget). `null` is the log likelihood with no field at all, `ratio` = 2 (max - null); `persistent_share`
    the part of the field that all seasons have in common; `row_share` the part of the sill that is an effect of whole rows.
    """

    ranges: Floats
    shares: Floats
    loglik: Floats
    total_variance: Floats
    null: float
    model: str
    persistent_share: float = 1.0
    row_share: float = 0.0

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


def decompose(design: Design, distance: Floats, range_m: float, persistent: float, row_share: float = 0.0) -> Spectrum:
    """Eigen-decomposition for one range; distance (n, n) between the readings."""
    root = design.root
    field = correlation(distance, range_m, design.model)
    if row_share:
        field = (1.0 - row_share) * field + row_share * design.same_row()
    if design.has_seasons:
        field *= design.sharing(persistent)
    field /= root[:, None] * root[None, :]
    roots, vectors = np.linalg.eigh(field)
    return Spectrum(range_m, persistent, roots, vectors, vectors.T @ (design.basis / root[:, None]), row_share)


def profile(spectrum: Spectrum, rotated: Floats, shares: Floats, log_constant: float) -> tuple[Floats, Floats]:
    """Profile log likelihood and variance, (S, k) each, for rotated whitened values (n, k).

    l = -1/2 [(n - p) (log 2 pi s2 + 1) + log|K| + log|X'K^-1 X|], s2 = r'K^-1 r / (n - p) (Patterson & Thompson 1971,
    Biometrika 58:545-554; the constant as in Pinheiro & Bates 2000, ch. 2).
    """
    n, p = spectrum.drift.shape
    values = spectrum.eigenvalues(shares)
    normal = spectrum.normal(values)
    cross = (spectrum.drift.T[None, :, :] / values[:, None, :]) @ rotated
    squares = (1.0 / values) @ np.square(rotated) - np.einsum("spk,spk->sk", cross, np.linalg.solve(normal, cross))
    variance = np.maximum(squares, 0.0) / (n - p)
    determinant = np.log(values).sum(axis=1) + log_constant + np.linalg.slogdet(normal)[1]
    with np.errstate(divide="ignore"):
        fit = (n - p) * (np.log(2.0 * np.pi * variance) + 1.0)
    return -0.5 * (fit + determinant[:, None]), variance


def log_constant(design: Design) -> float:
    """Part of log|K| + log|X'K^-1 X| that does not depend on the node."""
    return float(np.log(design.noise).sum()) - 2.0 * float(np.linalg.slogdet(design.turn)[1])


def range_grid(points: Floats, *, nodes: int = 20, model: str = "exponential") -> Floats:
    """Ranges from half the median nearest-neighbour distance to the diagonal of the samples, log spaced.

    So for the exponential model; other models get the ranges at which they are effectively uncorrelated at the
    same distances. points (n, 2) in m; returns (nodes,).
    """
    distance = distances(points, points)
    distance[distance <= 0] = np.inf
    nearest = np.median(distance.min(axis=1))
    nearest = nearest if np.isfinite(nearest) else 2.0
    diagonal = float(np.hypot(*np.ptp(points, axis=0)))
    grid = np.geomspace(max(nearest / 2.0, 1.0), max(diagonal, 2.0 * nearest, 4.0), nodes)
    return grid * (EFFECTIVE["exponential"] / EFFECTIVE[model])


def decompose_all(design: Design, ranges: Floats, persistent: float, row_share: float = 0.0) -> tuple[Spectrum, ...]:
    """`decompose` for each range."""
    distance = design.distance()

    def work(range_m: float) -> Spectrum:
        return decompose(design, distance, float(range_m), persistent, row_share)

    return tuple(run_parts(work, list(ranges)))


def scan(
    design: Design,
    values: Floats,
    ranges: Floats,
    shares: Floats,
    persistent: float,
    spectra: Sequence[Spectrum] = (),
    row_share: float = 0.0,
) -> tuple[Floats, Floats, Floats]:
    """Log likelihood and variance (R, S, k), and the log likelihood without a field (k,), for values (n, k).

    spectra : those of the ranges where they are at hand
    """
    constant, whitened = log_constant(design), values / design.root[:, None]
    distance = np.empty((0, 0)) if spectra else design.distance()

    def work(i: int) -> tuple[Floats, Floats]:
        spectrum = spectra[i] if spectra else decompose(design, distance, float(ranges[i]), persistent, row_share)
        return profile(spectrum, spectrum.rotate(whitened), shares, constant)

    parts = run_parts(work, range(len(ranges)))
    n = len(values)
    flat = Spectrum(np.inf, 1.0, np.zeros(n), np.empty((0, 0)), design.basis / design.root[:, None])
    null = profile(flat, whitened, np.ones(1), constant)[0][0]
    return np.array([p[0] for p in parts]), np.array([p[1] for p in parts]), null


def scan_design(
    design: Design,
    *,
    ranges: Floats,
    shares: Floats,
    persistent: float = 1.0,
    row_share: float = 0.0,
    flat: bool = False,
    spectra: Sequence[Spectrum] = (),
) -> RemlSurface:
    """REML surface of a design; `flat` for values that the mean explains fully: no node is likelier than another."""
    loglik, variance, null = scan(design, design.residual[:, None], ranges, shares, persistent, spectra, row_share)
    if flat:
        loglik, variance, null = np.zeros_like(loglik), np.zeros_like(variance), np.zeros_like(null)
    return RemlSurface(ranges, shares, loglik[..., 0], variance[..., 0], float(null[0]), design.model, persistent, row_share)


@single_blas()
def reml_surface(
    points: Floats,
    values: Floats,
    *,
    drift: Floats | None = None,
    noise: Floats | None = None,
    ranges: Floats | None = None,
    shares: Floats = DEFAULT_SHARES,
    model: str = "exponential",
    season: Any = None,
    persistent_share: float = 1.0,
    anisotropy: Anisotropy | None = None,
) -> RemlSurface:
    """Evaluate the REML surface. points (n, 2) in m, values (n,), drift (n, p), noise (n,), season (n,) labels.

    Raises
    ------
    ValueError
        As `geoprune.geostat.design.make_design`.
    """
    design = make_design(points, values, drift=drift, noise=noise, season=season, model=model, anisotropy=anisotropy)
    grid = range_grid(design.place, model=model) if ranges is None else np.asarray(ranges, dtype=float)
    return scan_design(design, ranges=grid, shares=np.asarray(shares, dtype=float), persistent=persistent_share)
