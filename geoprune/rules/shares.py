"""Shares counted on few buds or canes: intervals, tests whether places differ, and smoothing over the block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.distance import cdist
from scipy.special import betaincinv, betaln, chdtrc, ndtri  # scipy.stats has the same and takes long to load

Floats = NDArray[np.float64]

#: Counts of each kind from which the normal approximation is used (the usual textbook condition).
NORMAL_FROM = 10
#: Fewest places from which the reach of smoothing is chosen by leaving places out.
PLACES_FOR_REACH = 5
#: Gain in leave-one-out log likelihood that smoothing must bring over one share for the block.
LEAST_GAIN = 1.0


@dataclass(frozen=True, eq=False)
class Shares:
    """A share at each of several places, with its credible interval.

    share, low, high : (M,) ndarray
    reach_m : float
        Scale of the smoothing; infinite where one share serves the whole block.
    """

    share: Floats
    low: Floats
    high: Floats
    reach_m: float


def share_interval(count: float, total: float, *, confidence: float = 0.95, dispersion: float = 1.0) -> tuple[float, float]:
    """Interval of a binomial share: normal where at least ten of each kind were counted, else exact.

    The normal interval reproduces the reading in print of bud counts (35 dead of 100: 26-44 %); below ten of a
    kind it fails, and the exact interval of Clopper & Pearson (1934, Biometrika 26:404-413) takes its place.

    Parameters
    ----------
    count, total : float
        How many of how many.
    confidence : float
        Coverage of the interval.
    dispersion : float
        How many times the variance exceeds the binomial one; counts are divided by it.

    Returns
    -------
    low, high : float
        Within 0 and 1; NaN when nothing was counted.
    """
    if total <= 0:
        return float("nan"), float("nan")
    hits, misses = count / dispersion, (total - count) / dispersion
    tail = (1 - confidence) / 2
    if min(hits, misses) >= NORMAL_FROM:
        share = count / total
        half = ndtri(1 - tail) * np.sqrt(share * (1 - share) / (hits + misses))
        return float(max(share - half, 0.0)), float(min(share + half, 1.0))
    low = 0.0 if hits == 0 else float(betaincinv(hits, misses + 1, tail))
    high = 1.0 if misses == 0 else float(betaincinv(hits + 1, misses, 1 - tail))
    return low, high


def dispersion_of(counts: ArrayLike, totals: ArrayLike) -> float:
    """How far counts of several places scatter beyond binomial: Pearson's chi-square per degree of freedom.

    1 when they scatter no more than binomial counts would, or when there is only one place.
    """
    k, n = np.asarray(counts, dtype=float), np.asarray(totals, dtype=float)
    share = k.sum() / n.sum()
    if len(k) < 2 or share in (0.0, 1.0):
        return 1.0
    return float(max(np.sum(np.square(k - n * share) / (n * share * (1 - share))) / (len(k) - 1), 1.0))


def alike_p(counts: ArrayLike, totals: ArrayLike, *, seed: int = 0) -> float:
    """P value of the hypothesis that all places have one share (Pearson's chi-square).

    By the chi-square distribution where at least five of each kind are expected everywhere, else by 4000 random
    tables with the same margins.
    """
    k, n = np.asarray(counts, dtype=np.int64), np.asarray(totals, dtype=np.int64)
    share = k.sum() / n.sum()
    if len(k) < 2 or share in (0.0, 1.0):
        return 1.0
    spread = n * share * (1 - share)
    found = np.sum(np.square(k - n * share) / spread)
    if min(np.min(n * share), np.min(n * (1 - share))) >= 5:
        return float(chdtrc(len(k) - 1, found))
    random = np.random.default_rng(seed).multivariate_hypergeometric(n, int(k.sum()), size=4000)
    drawn = np.sum(np.square(random - n * share) / spread, axis=1)
    return float((1 + np.sum(drawn >= found - 1e-9)) / 4001)


def smooth_shares(
    counts: ArrayLike,
    totals: ArrayLike,
    places: ArrayLike,
    targets: ArrayLike,
    *,
    confidence: float = 0.95,
) -> Shares:
    """Smooth counted shares over a block, and read them at other places.

    Each target's share has a Beta distribution whose counts are those of the places near it (Gaussian weights)
    and, as a prior, the block's share. The reach of the weights, the worth of the prior and a factor for counts
    that scatter more than binomial are chosen together by leaving each place out; smoothing must beat one share
    for the whole block by `LEAST_GAIN` in log likelihood, else the reach is infinite. With fewer than
    `PLACES_FOR_REACH` places nothing can be left out: the reach is then their median spacing.

    Parameters
    ----------
    counts, totals : (N,) array_like
        How many of how many, per place.
    places, targets : (N, 2), (M, 2) array_like
        Easting and northing, m.

    Returns
    -------
    Shares, one per target
    """
    k, n = np.asarray(counts, dtype=float), np.asarray(totals, dtype=float)
    where, wanted = np.asarray(places, dtype=float), np.asarray(targets, dtype=float)
    apart = cdist(where, where)
    if len(k) < PLACES_FOR_REACH:
        reach, weight, prior = _spacing(apart), 1.0, 4.0
    else:
        reach, weight, prior = _choose(k, n, apart)
    near = _kernel(cdist(wanted, where), reach) * weight
    block = (k.sum() + 0.5) / (n.sum() + 1.0)
    hits, misses = near @ k + prior * block, near @ (n - k) + prior * (1 - block)
    tail = (1 - confidence) / 2
    return Shares(hits / (hits + misses), betaincinv(hits, misses, tail), betaincinv(hits, misses, 1 - tail), reach)


def pool_shares(
    counts: ArrayLike, totals: ArrayLike, groups: ArrayLike, wanted: ArrayLike, *, confidence: float = 0.95
) -> Shares:
    """Share of each group, drawn towards the block's share the more, the less was counted in the group.

    Empirical Bayes: each group's share has a Beta prior about the block's share; its worth (2 to 500 counts)
    maximises the beta-binomial likelihood of the groups, and is no more than what was counted in the other
    groups. Counts are first divided by the scatter between vines within groups, because canes of one vine are
    alike. A group in which nothing was counted gets the prior.

    Parameters
    ----------
    counts, totals : (N,) array_like
        How many of how many, per vine.
    groups : (N,) array_like
        Group of each vine.
    wanted : (G,) array_like
        Groups to report, in order.

    Returns
    -------
    Shares, one per group; NaN when nothing was counted at all
    """
    k, n, group = np.asarray(counts, float), np.asarray(totals, float), np.asarray(groups)
    labels = np.asarray(wanted)
    if n.sum() <= 0:
        nothing = np.full(len(labels), np.nan)
        return Shares(nothing, nothing, nothing, float("inf"))
    scatter = _scatter_within(k, n, group)
    hits = np.array([k[group == label].sum() for label in labels]) / scatter
    total = np.array([n[group == label].sum() for label in labels]) / scatter
    block = (k.sum() + 0.5) / (n.sum() + 1.0)
    worths = np.geomspace(2.0, 500.0, 25)
    fits = [_beta_binomial(hits, total, worth * block, worth * (1 - block)).sum() for worth in worths]
    worth = np.minimum(worths[int(np.argmax(fits))], total.sum() - total) + 1.0
    a, b = hits + worth * block, total - hits + worth * (1 - block)
    tail = (1 - confidence) / 2
    return Shares(a / (a + b), betaincinv(a, b, tail), betaincinv(a, b, 1 - tail), float("inf"))


def _kernel(distance: Floats, reach: float) -> Floats:
    return np.exp(-0.5 * np.square(distance / reach))


def _spacing(apart: Floats) -> float:
    between = apart[np.triu_indices(len(apart), 1)]
    return float(np.median(between)) / 2 if len(between) and np.median(between) > 0 else float("inf")


def _choose(k: Floats, n: Floats, apart: Floats) -> tuple[float, float, float]:
    span = float(apart.max())
    reaches = [*(np.geomspace(0.05, 0.6, 7) * span), float("inf")] if span > 0 else [float("inf")]
    best: dict[bool, tuple[float, tuple[float, float, float]]] = {}
    for reach in reaches:
        near = _kernel(apart, reach)
        np.fill_diagonal(near, 0.0)
        for weight in (1.0, 0.5, 0.25, 0.1):
            for prior in (1.0, 4.0, 16.0):
                fit = _left_out(k, n, near * weight, prior)
                local = bool(np.isfinite(reach))
                if local not in best or fit > best[local][0]:
                    best[local] = (fit, (float(reach), weight, prior))
    if True in best and best[True][0] > best[False][0] + LEAST_GAIN:
        return best[True][1]
    return best[False][1]


def _left_out(k: Floats, n: Floats, near: Floats, prior: float) -> float:
    block = (k.sum() - k + 0.5) / (n.sum() - n + 1.0)
    a, b = near @ k + prior * block, near @ (n - k) + prior * (1 - block)
    chosen = -np.log(n + 1) - betaln(n - k + 1, k + 1)  # the beta-binomial law's logarithm, with its binomial coefficient
    return float((chosen + betaln(k + a, n - k + b) - betaln(a, b)).sum())


def _scatter_within(k: Floats, n: Floats, group: NDArray) -> float:
    squares, freedom = 0.0, 0
    for label in np.unique(group):
        inside = (group == label) & (n > 0)
        share = k[inside].sum() / n[inside].sum() if inside.any() else 0.0
        if inside.sum() > 1 and 0 < share < 1:
            spread = n[inside] * share * (1 - share)
            squares += float(np.sum(np.square(k[inside] - n[inside] * share) / spread))
            freedom += int(inside.sum()) - 1
    return max(squares / freedom, 1.0) if freedom else 1.0


def _beta_binomial(hits: Floats, total: Floats, a: float, b: float) -> Floats:
    # Up to a constant: counts divided by their scatter are not whole, so betabinom does not serve.
    return betaln(hits + a, total - hits + b) - betaln(a, b)
