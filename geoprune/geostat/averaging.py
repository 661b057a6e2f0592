"""Kriging averaged over the REML surface instead of plugging in its peak.

With 20-60 samples the parameters are barely known; plugging in the best ones makes intervals too narrow.
Every node of the surface predicts, and the predictions are mixed with weights exp(log likelihood).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.spatial.distance import cdist

from geoprune.geostat.kriging import Kriging, correlation
from geoprune.geostat.reml import RemlSurface, reml_surface

Floats = NDArray[np.float64]
FEATURES = 256
CHUNK = 4096


@dataclass(frozen=True)
class AveragedKriging:
    """A mixture of kriging predictors, one per node of the REML surface that carries weight."""

    surface: RemlSurface
    nodes: tuple[Kriging, ...]
    weights: Floats
    target_drift: Floats

    def _mix(self, means: Floats, variances: Floats) -> tuple[Floats, Floats]:
        mean = self.weights @ means
        return mean, self.weights @ (variances + np.square(means - mean))

    def predict(self, targets: Floats) -> tuple[Floats, Floats]:
        """Mean and variance of the noise-free field at points (m, 2)."""
        means, variances = (
            np.empty((len(self.nodes), len(targets))),
            np.empty((len(self.nodes), len(targets))),
        )
        drift = np.repeat(self.target_drift[None, :], len(targets), axis=0)
        for k, node in enumerate(self.nodes):
            means[k], variances[k] = node.predict(targets, drift)
        return self._mix(means, variances)

    def group_means(self, points: Floats, groups: NDArray[np.int64], count: int) -> tuple[Floats, Floats]:
        """Mean and variance of the field's average over groups of points (block kriging).

        points (m, 2), groups (m,) in 0..count-1 (-1 = in none). A group's own variance is the average of its
        within-group covariances; large groups are thinned evenly to 200 points for that term only.
        Returns (count,), (count,).
        """
        keep = groups >= 0
        points, groups = points[keep], groups[keep]
        size = np.bincount(groups, minlength=count).astype(float)
        average = csr_matrix((1.0 / size[groups], (groups, np.arange(len(groups)))), shape=(count, len(groups)))
        means, variances = (
            np.full((len(self.nodes), count), np.nan),
            np.full((len(self.nodes), count), np.nan),
        )
        cross_of: dict[float, tuple[Floats, Floats]] = {}
        samples = self.nodes[0].points
        for k, node in enumerate(self.nodes):
            if node.range_m not in cross_of:
                cross_of[node.range_m] = (
                    _averaged_cross(samples, points, average, node),
                    _within(points, groups, count, node),
                )
            cross, within = cross_of[node.range_m]
            drift = np.repeat(self.target_drift[None, :], count, axis=0)
            means[k], variances[k] = node.from_covariances(node.sill * cross, drift, node.sill * within)
        mean, variance = self._mix(means, variances)
        mean[size == 0], variance[size == 0] = np.nan, np.nan
        return mean, variance

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Leave-one-out mean and variance of each reading; node weights stay those of all samples."""
        parts = [node.leave_one_out() for node in self.nodes]
        return self._mix(np.array([p[0] for p in parts]), np.array([p[1] for p in parts]))

    @property
    def nugget(self) -> float:
        """Mixture mean of the nugget variance (one vine)."""
        return float(self.weights @ np.array([node.nugget for node in self.nodes]))

    def simulate(self, targets: Floats, draws: int, *, seed: int) -> tuple[Floats, Floats]:
        """Joint conditional draws of the field at points (m, 2): (draws, m), and each draw's nugget (draws,).

        Each draw takes a node by its weight, an unconditional field by 256 random spectral features, and adds
        kriging of the difference. Spectral law of the exponential covariance in the plane: a t law with one
        degree of freedom scaled by 1/range (Matern with smoothness 1/2; Lantuejoul 2002, ch. 15).
        """
        rng = np.random.default_rng(seed)
        chosen = rng.choice(len(self.nodes), size=draws, p=self.weights)
        field = np.empty((draws, len(targets)))
        for d, k in enumerate(chosen):
            node = self.nodes[k]
            frequency = rng.standard_normal((FEATURES, 2)) / (np.abs(rng.standard_normal((FEATURES, 1))) * node.range_m)
            phase = rng.uniform(0, 2 * np.pi, FEATURES)
            scale = np.sqrt(2.0 * node.sill / FEATURES)
            at_samples = scale * np.cos(node.points @ frequency.T + phase).sum(axis=1)
            noisy = at_samples + rng.standard_normal(len(node.points)) * np.sqrt(node.nugget * node.noise)
            beta, residual_weights = node.solve(node.values - noisy)
            for start in range(0, len(targets), CHUNK):
                part = slice(start, start + CHUNK)
                at_targets = scale * np.cos(targets[part] @ frequency.T + phase).sum(axis=1)
                cross = node.sill * correlation(cdist(targets[part], node.points), node.range_m, node.model)
                field[d, part] = at_targets + self.target_drift @ beta + cross @ residual_weights
        return field, np.array([self.nodes[k].nugget for k in chosen])


def _averaged_cross(samples: Floats, points: Floats, average: csr_matrix, node: Kriging) -> Floats:
    total = np.zeros((len(samples), average.shape[0]))
    for start in range(0, len(points), CHUNK):
        part = slice(start, start + CHUNK)
        total += (average[:, part] @ correlation(cdist(points[part], samples), node.range_m, node.model)).T
    return total


def _within(points: Floats, groups: NDArray[np.int64], count: int, node: Kriging) -> Floats:
    """Average within-group correlation, all pairs of each group."""
    order = np.argsort(groups, kind="stable")
    starts = np.searchsorted(groups[order], np.arange(count + 1))
    sizes = np.diff(starts)
    result = np.ones(count)
    for size in np.unique(sizes[sizes > 1]):
        members = np.flatnonzero(sizes == size)
        step = max(1, int(size) // 200)
        index = starts[members][:, None] + np.arange(0, size, step)[None, :]
        for start in range(0, len(members), max(1, CHUNK // index.shape[1])):
            part = slice(start, start + max(1, CHUNK // index.shape[1]))
            place = points[order[index[part]]]
            distance = np.linalg.norm(place[:, :, None, :] - place[:, None, :, :], axis=-1)
            result[members[part]] = correlation(distance, node.range_m, node.model).mean(axis=(1, 2))
    return result


def fit_averaged(
    points: Floats,
    values: Floats,
    *,
    drift: Floats,
    noise: Floats,
    target_drift: Floats,
    model: str = "exponential",
    ranges: Floats | None = None,
) -> AveragedKriging:
    """Scan the REML surface and keep the nodes that carry 99.9 % of the weight.

    The profiled variance is inflated by (n-p)/(n-p-2), the mean of its scaled inverse chi-square law.
    """
    surface = reml_surface(points, values, drift=drift, noise=noise, model=model, ranges=ranges)
    weight = surface.weights()
    order = np.argsort(weight, axis=None)[::-1]
    keep = order[: int(np.searchsorted(np.cumsum(weight.ravel()[order]), 0.999)) + 1]
    degrees = len(values) - drift.shape[1]
    inflation = degrees / max(degrees - 2, 1)
    nodes = []
    for flat in np.sort(keep):
        i, j = np.unravel_index(int(flat), weight.shape)
        total = surface.total_variance[i, j] * inflation
        share = max(float(surface.shares[j]), 1e-9)
        nodes.append(
            Kriging(
                points,
                values,
                drift,
                noise,
                total * (1 - share),
                total * share,
                float(surface.ranges[i]),
                model,
            )
        )
    kept = weight.ravel()[np.sort(keep)]
    return AveragedKriging(surface, tuple(nodes), kept / kept.sum(), target_drift)
