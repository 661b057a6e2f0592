"""What the blocks of an estate tell each other of range and nugget share: a hierarchical prior. Arrays only.

Each block has its own range and nugget share. Both are seen as normal scores of the weak prior (`surface.prior`): the
scores of block b are sqrt(rho) z + sqrt(1 - rho) e_b, with z what the estate has in common and e_b the block's own, both
standard normal. So every block alone keeps the weak prior whatever rho; with rho 0 blocks have nothing in common. z and
rho are averaged over, for range and share apart (an exchangeable Gaussian copula). A block that is unlike the rest is
thought possible: with chance `STRANGER` its scores come from the weak prior alone, both when the others learn from it and
when it learns from them.

Winters of one vineyard are the same for all its blocks: of how much of a pattern lasts, which the weights of one block
hardly tell, each block hears the likelihood by the others' weights (`say_lasting`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtr

Floats = NDArray[np.float64]
#: Correlations of the scores, from nothing in common to nearly all, equally likely beforehand (design choice).
COMMON = (0.0, 0.5, 0.8, 0.95)
#: Belief in a block that is unlike all others (design choice).
STRANGER = 0.2
#: Places where z is looked at; twice as many change no belief by a hundredth of itself.
SCORES = np.linspace(-3.0, 3.0, 25)
LEAST = 1e-300
#: Parts of the field that may be common to all seasons: none, half, all.
PERSISTENT = (0.0, 0.5, 1.0)


@dataclass(frozen=True)
class Edges:
    """Edges of a grid's cells as normal scores, the outer ones infinite: ranges (R + 1,), shares (S + 1,)."""

    ranges: Floats
    shares: Floats


def cells(edges: Floats) -> Floats:
    """Chance (K, n) of each cell between edges (n + 1,) for each pair of a rho and a z, K in all."""
    rho = np.repeat(COMMON, len(SCORES))[:, None]
    common = np.sqrt(rho) * np.tile(SCORES, len(COMMON))[:, None]
    return np.diff(ndtr((edges[None, :] - common) / np.sqrt(1.0 - rho)), axis=1)


def say(likelihood: Floats, edges: Edges) -> Floats:
    """Log likelihood (K, K) of every rho and z of range and share, by one block's likelihood (R, S) on its own grid."""
    along, across = cells(edges.ranges), cells(edges.shares)
    shared = along @ (likelihood / likelihood.max()) @ across.T
    alone = shared[0, 0]  # with rho 0 it does not matter what z is
    return np.log(np.maximum((1.0 - STRANGER) * shared + STRANGER * alone, LEAST))


def say_lasting(scores: Sequence[Floats]) -> Floats:
    """Log likelihood (3,) of the shares `PERSISTENT` by one block's log likelihoods with prior, an array for each share;
    nothing (0) by a block of one winter. A block that is unlike all others says of them only what any share would."""
    if len(scores) < len(PERSISTENT):
        return np.zeros(len(PERSISTENT))
    found = np.array([logsumexp(score) for score in scores])
    likelihood = np.exp(found - found.max())
    return np.log(np.maximum((1.0 - STRANGER) * likelihood + STRANGER * likelihood.mean(), LEAST))


def together(said: Sequence[Floats]) -> Floats:
    """Sum (K, K) of what several blocks say, the same to the last digit in whatever order they come."""
    return np.sort(np.array(said), axis=0).sum(axis=0)


def prior_among(said: Floats, edges: Edges) -> Floats:
    """Belief (R, S) in the cells of a block's grid, by what others said (K, K) of what all have in common."""
    normal = np.exp(-0.5 * np.square(SCORES))
    before = np.log(np.tile(normal / normal.sum(), len(COMMON)))
    score = said + before[:, None] + before[None, :]
    belief = np.exp(score - score.max())
    along, across = cells(edges.ranges), cells(edges.shares)
    shared = along.T @ (belief / belief.sum()) @ across
    return np.maximum((1.0 - STRANGER) * shared + STRANGER * np.outer(along[0], across[0]), LEAST)
