"""Is a map better than the block mean? A test with a known false alarm, and a probability."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from geoprune.surface.held_out import Nodes

Floats = NDArray[np.float64]
SHUFFLES = 499
#: Level of the test. The shuffled test is exact, so 4 % keeps the false alarm below 5 % with something to spare.
ALPHA = 0.04


@dataclass(frozen=True)
class Structure:
    """evidence : log of the average likelihood ratio of a field against none; p_value : share of shuffled data sets
    with as much."""

    evidence: float
    p_value: float


def evidence(nodes: Nodes, values: Floats) -> Floats:
    """Log of the likelihood ratio (k,) of a field, averaged over the prior, against no field; values (n, k)."""
    loglik, _ = nodes.likelihoods(values)
    fields = nodes.shares < 1.0
    prior = nodes.log_prior[:, fields] - logsumexp(nodes.log_prior[:, fields])
    null = loglik[0, ~fields][0]
    return logsumexp(loglik[:, fields] + prior[..., None], axis=(0, 1)) - null


def shuffle(nodes: Nodes, values: Floats, count: int, *, seed: int) -> Floats:
    """Readings (n, count) without structure: standardised residuals of the mean dealt out at random.

    Shuffling keeps the law of the weights, skewed or with a huge one among them, so the test needs no normal law. With
    equal noise and a constant mean every order is equally likely without a field, and the test is exact.
    """
    rng = np.random.default_rng(seed)
    design = nodes.design
    basis = design.basis / design.root[:, None]
    whitened = values / design.root
    residual = whitened - basis @ (basis.T @ whitened)
    order = np.argsort(rng.random((count, len(values))), axis=1)
    return residual[order].T * design.root[:, None]


def find_structure(nodes: Nodes, values: Floats, *, seed: int, shuffles: int = SHUFFLES) -> Structure:
    """Test for a field: p = (1 + shuffled data sets with as much evidence) / (1 + shuffles)."""
    found = float(evidence(nodes, values[:, None])[0])
    null = evidence(nodes, shuffle(nodes, values, shuffles, seed=seed))
    return Structure(found, float((1 + np.sum(null >= found - 1e-9)) / (1 + shuffles)))


def probability_better(draws: Floats, estimate: Floats, block_mean: float, weight: Floats) -> float:
    """Share of equally likely states of the block (D, P) to which the map (P,) is nearer than the block mean.

    Nearer in squared error, panels weighted by their vines (P,).
    """
    with_map = np.square(draws - estimate) @ weight
    without = np.square(draws - block_mean) @ weight
    return float(np.mean(with_map < without))
