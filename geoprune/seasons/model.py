"""Vine size over winters: what stays, what changes from year to year, and how surely either is known.

A field that lasts and a change of each winter, with one covariance between two weights::

    cov = v [p + (1 - p) (same winter)] [(1 - g) exp(-h / r) + g (same vine) / m]

v variance, p share that lasts, g share of vine-to-vine variation, r range, h distance, m vines weighed together. Every
winter has a level of its own. v is profiled out of the restricted likelihood (REML); over p, g and r it is averaged on a
grid, each equally likely beforehand (r on a log scale, p by the arcsine law: winters mostly agree or mostly do not), so that
what the data do not say widens the intervals. Blocks of one vineyard have their winters in common: what the others say of p
is taken in (`lasting_evidence`), because the weights of one block alone hardly tell it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import LinAlgError, cho_solve, cholesky, solve_triangular
from scipy.spatial.distance import cdist

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Steps of the grid; more change intervals by less than a tenth (design choice).
RANGES, SHARES = 6, 6
#: Shares that last, equally likely by the arcsine law: the middles of seven parts of equal chance.
LASTING = np.sin(np.pi / 2 * (np.arange(7) + 0.5) / 7) ** 2
#: The range reaches from this share of the block's breadth to all of it.
SHORTEST = 1 / 25
#: Nodes less likely than this beside the likeliest are left out.
NEGLIGIBLE = 1e-3
#: Points that stand for a zone or block.
POINTS = 150


class TooFewWeights(ValueError):
    """Weights that say too little to compare winters."""


@dataclass(frozen=True, eq=False)
class Weights:
    """Weights of several winters.

    place (n, 2) m; season (n,) years; size_kg (n,) per vine; weighed (n,) vines weighed together; vine (n,) position of the
    vine
    """

    place: Floats
    season: Integers
    size_kg: Floats
    weighed: Floats
    vine: Integers

    @property
    def seasons(self) -> list[int]:
        """Winters with weights, oldest first."""
        return [int(year) for year in np.unique(self.season)]

    def only(self, season: int) -> Weights:
        """Return the weights of one winter."""
        here = self.season == season
        return replace(
            self, **{name: getattr(self, name)[here] for name in ("place", "season", "size_kg", "weighed", "vine")}
        )


@dataclass(frozen=True, eq=False)
class Target:
    """Vines whose mean is wanted: points (k, 2) that stand for them, and how many vines they are."""

    points: Floats
    vines: float


@dataclass(frozen=True, eq=False)
class Estimate:
    """Mean and standard error (T,) of each target, kg."""

    mean: Floats
    error: Floats


@dataclass(frozen=True, eq=False)
class _Node:
    """One set of parameters: how likely, and the weights' covariance worked out."""

    weight: float
    lasting: float
    share: float
    range_m: float
    variance: float
    factor: tuple[Floats, bool]
    drift: Floats
    residual: Floats
    level: Floats
    normal: Floats


@dataclass(frozen=True, eq=False)
class SeasonModel:
    """Weights of several winters and the likely parameters; made by `fit_seasons`."""

    weights: Weights
    nodes: tuple[_Node, ...]

    @property
    def lasting(self) -> tuple[float, float]:
        """Share of the variation that lasts from winter to winter, and its standard error; 1 winter shows none."""
        weight = np.array([node.weight for node in self.nodes])
        share = np.array([node.lasting for node in self.nodes])
        mean = float(weight @ share)
        return mean, float(np.sqrt(weight @ (share - mean) ** 2))

    def size(self, targets: list[Target], season: int) -> Estimate:
        """Mean vine size of targets in a winter."""
        return self._estimate(targets, {season: 1.0})

    def change(self, targets: list[Target], earlier: int, later: int) -> Estimate:
        """Mean change of vine size of targets from one winter to another; what both have in common cancels."""
        return self._estimate(targets, {later: 1.0, earlier: -1.0})

    def _estimate(self, targets: list[Target], contrast: dict[int, float]) -> Estimate:
        """Kriging of a contrast of winters, averaged over the nodes; errors widened by n - p degrees of freedom."""
        found = [node_estimate(node, self.weights, targets, contrast) for node in self.nodes]
        weight = np.array([node.weight for node in self.nodes])[:, None]
        mean, variance = (np.array([one[k] for one in found]) for k in (0, 1))
        middle = (weight * mean).sum(axis=0)
        spread = (weight * (variance + (mean - middle) ** 2)).sum(axis=0)
        free = max(len(self.weights.size_kg) - len(self.weights.seasons), 3)
        return Estimate(middle, np.sqrt(spread * free / (free - 2)))


def fit_seasons(weights: Weights, beside: ArrayLike = 0.0) -> SeasonModel:
    """Fit the model to weights of one or more winters.

    Parameters
    ----------
    weights : Weights
    beside : (7,) or 0
        What other blocks say of the shares `LASTING`: the sum of their `lasting_evidence`.

    Raises
    ------
    TooFewWeights
        With fewer than three weights more than winters, or weights that are all alike.
    """
    logs, nodes = _fitted(weights)
    if len(weights.seasons) > 1:
        evidence = np.broadcast_to(np.asarray(beside, dtype=float), LASTING.shape)
        logs = logs + evidence[[int(np.argmin(np.abs(LASTING - node.lasting))) for node in nodes]]
    likelihood = np.exp(logs - max(logs))
    kept = likelihood > NEGLIGIBLE
    likelihood = np.where(kept, likelihood, 0.0) / likelihood[kept].sum()
    return SeasonModel(weights, tuple(replace(n, weight=float(w)) for n, w in zip(nodes, likelihood, strict=True) if w > 0))


def lasting_evidence(weights: Weights) -> Floats:
    """Return what a block's weights say of the share that lasts: its log likelihood (7,) at `LASTING`, range and share of
    vine-to-vine variation averaged out; nothing (0) of weights of one winter, or of too few."""
    try:
        logs, nodes = _fitted(weights)
    except TooFewWeights:
        return np.zeros(len(LASTING))
    if len(weights.seasons) < 2:
        return np.zeros(len(LASTING))
    shares = np.array([node.lasting for node in nodes])
    found = np.array([np.logaddexp.reduce(logs[shares == share], initial=-np.inf) for share in LASTING])
    return found - found.max()


def _fitted(weights: Weights) -> tuple[Floats, list[_Node]]:
    """The restricted log likelihoods and parameters of the grid."""
    count, seasons = len(weights.size_kg), len(weights.seasons)
    if count < seasons + 3 or np.ptp(weights.size_kg) <= 0:
        raise TooFewWeights("too few weights, or all alike")
    found = list(_nodes(weights, cdist(weights.place, weights.place)))
    return np.array([log for log, _ in found]), [node for _, node in found]


def zone_target(points: Floats, vines: float, *, most: int = POINTS) -> Target:
    """Return a target of many points, of which at most `most`, evenly chosen, stand for all."""
    step = np.unique(np.linspace(0, len(points) - 1, min(most, len(points))).round().astype(int))
    return Target(points[step], vines)


def node_estimate(node: _Node, weights: Weights, targets: list[Target], contrast: dict[int, float]) -> tuple[Floats, Floats]:
    """Best linear unbiased estimate and its variance (T,) under one set of parameters (universal kriging)."""
    seasons = weights.seasons
    signs = np.array([contrast.get(season, 0.0) for season in seasons])
    tie = node.lasting + (1 - node.lasting) * np.eye(len(seasons))
    seen = (signs @ tie)[np.searchsorted(seasons, weights.season)]
    count = np.array([len(target.points) for target in targets])
    points = np.concatenate([target.points for target in targets])
    first = np.cumsum(count) - count
    near = np.add.reduceat(np.exp(-cdist(weights.place, points) / node.range_m), first, axis=1) / count
    inner = np.array([_within(target, node.range_m) for target in targets])
    vines = np.array([max(target.vines, 1.0) for target in targets])
    apart = (1 - node.share) * inner + node.share / vines
    cross = (1 - node.share) * seen[:, None] * near
    solved = cho_solve(node.factor, cross)
    mean = signs @ node.level + solved.T @ node.residual
    lack = signs[:, None] - node.drift.T @ solved
    variance = float(signs @ tie @ signs) * apart - (cross * solved).sum(axis=0)
    variance = variance + (lack * np.linalg.solve(node.normal, lack)).sum(axis=0)
    return mean, node.variance * np.maximum(variance, 0.0)


def _within(target: Target, range_m: float) -> float:
    """Mean correlation between the points of a target."""
    if len(target.points) == 1:
        return 1.0
    return float(np.exp(-cdist(target.points, target.points) / range_m).mean())


def _nodes(weights: Weights, distance: Floats) -> Iterator[tuple[float, _Node]]:
    seasons = weights.seasons
    same = (weights.season[:, None] == weights.season[None, :]).astype(float)
    alike = (weights.vine[:, None] == weights.vine[None, :]) / np.sqrt(np.outer(weights.weighed, weights.weighed))
    drift = (weights.season[:, None] == np.array(seasons)[None, :]).astype(float)
    breadth = float(distance.max())
    middles = (np.arange(SHARES) + 0.5) / SHARES
    for range_m in np.geomspace(SHORTEST * breadth, breadth, RANGES):
        field = np.exp(-distance / range_m)
        for share in middles:
            one = (1 - share) * field + share * alike
            for lasting in LASTING if len(seasons) > 1 else (0.5,):
                node = _node(weights.size_kg, one * (lasting + (1 - lasting) * same), drift)
                if node is not None:
                    log, rest = node
                    yield log, replace(rest, lasting=float(lasting), share=float(share), range_m=float(range_m))


def _node(size: Floats, covariance: Floats, drift: Floats) -> tuple[float, _Node] | None:
    """Restricted log likelihood, v profiled out, and what estimates need; None where the covariance is singular."""
    try:
        lower = cholesky(covariance, lower=True)
    except LinAlgError:
        return None
    white = solve_triangular(lower, np.column_stack([drift, size]), lower=True)
    shaped, aimed = white[:, :-1], white[:, -1]
    normal = shaped.T @ shaped
    level = np.linalg.solve(normal, shaped.T @ aimed)
    free = len(size) - drift.shape[1]
    variance = float(((aimed - shaped @ level) ** 2).sum()) / free
    log = -np.log(np.diag(lower)).sum() - 0.5 * np.linalg.slogdet(normal)[1] - 0.5 * free * np.log(variance)
    residual = size - drift @ level
    return float(log), _Node(0.0, 0.0, 0.0, 0.0, variance, (lower, True), drift, residual, level, normal)
