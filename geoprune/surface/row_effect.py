"""Do whole rows differ beyond what a smooth field says? Old replants, water lines and slopes across rows do that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geoprune.surface.held_out import Nodes, simulate_readings

Floats = NDArray[np.float64]
FEWEST_REPEATS = 5
SIMULATIONS = 199


@dataclass(frozen=True)
class RowEffect:
    """testable : enough rows were weighed twice; p_value of a row effect on top of the field; share of the variance of
    a vine that it would take (0 when there is none)."""

    testable: bool
    p_value: float = np.nan
    share: float = np.nan


def find_row_effect(nodes: Nodes, values: Floats, rows: NDArray[np.int64], *, seed: int) -> RowEffect:
    """Test a random effect of the row, given the field.

    Statistic: the score of the row variance at zero, u'ZZ'u / u'Du with u = Qz, averaged over the fitted nodes; its law
    without a row effect comes from simulated readings of the fitted mixture (a parametric bootstrap).
    """
    n, kinds = len(values), len(np.unique(rows))
    if n - kinds < FEWEST_REPEATS or kinds < 3:
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
