"""Is there a pattern, and is a map worth more than the block mean? Probability, a test, a grade, and expected loss."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logsumexp

from geoprune.surface.held_out import Nodes

Floats = NDArray[np.float64]
SHUFFLES = 499
#: Level of the test that zones need. The shuffled test is exact, so 4 % keeps false zones below 5 % with something to spare.
ALPHA = 0.04
#: From this probability on a pattern is called likely: likelier than not.
LIKELY = 0.5


@dataclass(frozen=True)
class Structure:
    """What speaks for a pattern: a field, or a field with an effect of whole rows.

    evidence : log of the average likelihood ratio of a pattern against none
    p_value : share of shuffled data sets with as much
    probability : of a pattern, at even odds before the weights are seen; about 0.4 on average where there is none
    """

    evidence: float
    p_value: float
    probability: float


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


def find_structure(
    nodes: Nodes, values: Floats, *, seed: int, with_rows: Nodes | None = None, shuffles: int = SHUFFLES
) -> Structure:
    """Test for a pattern: p = (1 + shuffled data sets with as much evidence) / (1 + shuffles).

    `with_rows` are the nodes that hold an effect of whole rows too; each data set, the shuffled ones as well, then has the
    larger of the two evidences, as each map has rows only where its weights speak for them.
    The probability rests on the likelihood ratio over its mean on all the data sets, the true one among them. Where all
    orders are equally likely, such a ratio is 1 on average whatever the law of the weights, so it is one of evidence by
    construction; and it never exceeds what so many shuffles can show.
    """
    every = _largest([nodes] if with_rows is None else [nodes, with_rows], values, shuffles, seed=seed)
    found, null = float(every[0]), every[1:]
    ratio = found - float(logsumexp(np.append(null, found))) + np.log(1.0 + shuffles)
    p_value = float((1 + np.sum(null >= found - 1e-9)) / (1 + shuffles))
    return Structure(found, p_value, float(expit(ratio)))


def _largest(ways: Sequence[Nodes], values: Floats, shuffles: int, *, seed: int) -> Floats:
    """Largest evidence (1 + shuffles,) among the ways, of the values themselves and of shuffled ones."""
    sets = np.column_stack([values, shuffle(ways[0], values, shuffles, seed=seed)])
    return np.asarray(np.max([evidence(way, sets) for way in ways], axis=0), dtype=float)


def grade_pattern(structure: Structure, *, level: float, earned: bool = False, held_out_better: bool = True) -> str:
    """How sure a pattern is: "shown", "likely" or "none" to be seen.

    Shown: the test passes at `level`, or a covariate earned its place (`earned`), and vines left out are predicted better by
    the map than by the mean. Likely: likelier than not.
    """
    if held_out_better and (earned or structure.p_value <= level):
        return "shown"
    return "likely" if earned or structure.probability >= LIKELY else "none"


def expected_gain(draws: Floats, estimate: Floats, weight: Floats, *, belief: float, probability: float) -> float:
    """Share of the panels' variance about the block mean that a map takes away, as it must be expected; below 0 it adds.

    The estimate (P,) is the mean of the draws (D, P). It holds a pattern with the model's own `belief` b, so it lies b
    times as far from the block mean as the pattern would if it were sure. With V the variance of the estimate over panels
    (weights (P,)), the map saves V (2 / b - 1) of squared error where there is a pattern and costs V where there is none:
    V (2 q / b - 1) at the probability q of a pattern.
    """
    share = weight / weight.sum()
    total = float(np.mean(np.square(draws - (draws @ share)[:, None]) @ share))
    spread = float(share @ np.square(estimate - share @ estimate))
    gain = spread * (2.0 * probability / max(belief, 1e-9) - 1.0)
    return gain / total if total > 0 else 0.0
