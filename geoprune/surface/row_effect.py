"""Do whole rows differ beyond what a smooth field says? Old replants, water lines and slopes across rows do that.

An effect of rows is tested, and mapped where the weights speak for it. Both ask for enough rows that were weighed twice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from geoprune.geostat import AveragedKriging
from geoprune.surface.held_out import Nodes, simulate_readings

Floats = NDArray[np.float64]
FEWEST_REPEATS, FEWEST_ROWS = 5, 3
SIMULATIONS = 199
#: From this belief on, after the weights, an effect of rows is mapped. Before them it is 0.2, so they must speak for it,
#: and a block whose weights do not keeps its map to the last digit (design choice).
EARNED = 0.3


@dataclass(frozen=True)
class RowEffect:
    """testable : enough rows were weighed twice; p_value of a row effect on top of the field; share of the variance of
    a vine that it would take (0 when there is none); belief in one after the weights; mapped : the map holds it."""

    testable: bool
    p_value: float = np.nan
    share: float = np.nan
    belief: float = np.nan
    mapped: bool = False


def tell_rows(rows: NDArray[np.int64]) -> bool:
    """Whether readings in these rows (n,) can tell an effect of rows: enough of them share one with another."""
    kinds = len(np.unique(rows))
    return len(rows) - kinds >= FEWEST_REPEATS and kinds >= FEWEST_ROWS


def find_row_effect(nodes: Nodes, values: Floats, rows: NDArray[np.int64], *, seed: int) -> RowEffect:
    """Test a random effect of the row, given the field.

    Statistic: the score of the row variance at zero, u'ZZ'u / u'Du with u = Qz, averaged over the fitted nodes; its law
    without a row effect comes from simulated readings of the fitted mixture (a parametric bootstrap).
    """
    if not tell_rows(rows):
        return RowEffect(False)
    member = (rows[:, None] == np.unique(rows)[None, :]).astype(float)
    both = np.column_stack([values, simulate_readings(nodes, values, SIMULATIONS, seed=seed)])
    weight, variance = nodes.weights(both)
    score, taken, expected = np.zeros(both.shape[1]), 0.0, 0.0
    whitened = both / nodes.design.root[:, None]
    for i, spectrum in enumerate(nodes.spectra):
        rotated = spectrum.rotate(whitened)
        for j, share in enumerate(nodes.shares):
            if weight[i, j].max() < 1e-3:
                continue
            inverse = 1.0 / spectrum.eigenvalues(np.array([share]))[0]
            weighted = spectrum.drift * inverse[:, None]
            normal = np.linalg.inv(spectrum.drift.T @ weighted)
            left = rotated * inverse[:, None] - weighted @ (normal @ (weighted.T @ rotated))
            half = (spectrum.vectors.T @ (member / nodes.design.root[:, None])).T
            sums = half @ left
            q_rows = (half * inverse) @ half.T - (half @ weighted) @ normal @ (half @ weighted).T
            usual = float(np.trace(q_rows))
            excess = np.sum(np.square(sums), axis=0) / variance[i, j] - usual
            information = float(np.sum(np.square(q_rows)))
            score += weight[i, j] * excess / np.sqrt(information)
            taken += float(weight[i, j, 0] * excess[0] / information)
            expected += float(weight[i, j, 0])
    p_value = float((1 + np.sum(score[1:] >= score[0])) / (1 + SIMULATIONS))
    share = float(np.clip(taken / expected, 0.0, 10.0))
    return RowEffect(True, p_value, share / (1.0 + share))


def map_rows(
    tested: RowEffect, plain: AveragedKriging, with_rows: Callable[[], AveragedKriging]
) -> tuple[RowEffect, AveragedKriging]:
    """What is found of rows, and the fit to map by: that `with_rows` where the weights speak for an effect, else `plain`.

    Rows are held with the belief that the weights leave in them, beside nodes without any: so they cost little where there
    are none, and a row in which no vine was weighed is as uncertain as rows differ.
    """
    if not tested.testable:
        return tested, plain
    fit = with_rows()
    mapped = fit.row_belief >= EARNED
    return replace(tested, belief=fit.row_belief, mapped=mapped), fit if mapped else plain
