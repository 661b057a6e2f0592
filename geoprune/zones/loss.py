"""Expected loss of telling a bud count to the vines of a panel, all uncertainty of their size included."""

from __future__ import annotations

import numpy as np

from geoprune.sizes import SizeDraws
from geoprune.zones.options import Floats, Labels, Need, within_limits

POINTS = 31


def asymmetric_loss(told: Floats | float, needed: Floats, over_weight: float) -> Floats:
    """Loss in buds: a bud too few counts 1, a bud too many `over_weight`."""
    miss = told - needed
    return np.maximum(over_weight * miss, -miss)


def loss_quantile(over_weight: float) -> float:
    """Return the quantile of the need that minimises the expected asymmetric loss: 1 / (1 + over_weight)."""
    return 1.0 / (1.0 + over_weight)


def candidate_counts(needed: Floats, counted: Labels, need: Need, *, bud_step: int, over_weight: float) -> Labels:
    """Bud counts worth a thought: steps between the best counts of the panels with least and with greatest need.

    The expected loss is convex in the count, so no zone is best told anything outside that span.
    """
    best = np.quantile(needed[counted > 0], loss_quantile(over_weight), axis=1)
    low = max(1, int(np.floor(best.min() / bud_step)))
    high = max(low, int(np.ceil(best.max() / bud_step)))
    return np.unique(within_limits(bud_step * np.arange(low, high + 1), need)).astype(np.int64)


def expected_loss(
    draws: SizeDraws, need: Need, counted: Labels, *, bud_step: int, over_weight: float
) -> tuple[Labels, Floats]:
    """Expected loss of every candidate count for every panel.

    Parameters
    ----------
    draws : SizeDraws of P panels
    need : kg (P, n) -> buds (P, n)
    counted : (P,) vines of each panel that get a bud count; at least one in all

    Returns
    -------
    counts : (B,) candidate bud counts, rising
    loss : (P, B) in buds, summed over the panel's counted vines
    """
    needed = need(draws.vine_points(POINTS))
    counts = candidate_counts(needed, counted, need, bud_step=bud_step, over_weight=over_weight)
    loss, alike = np.empty((len(counted), len(counts))), np.full(POINTS, 1.0 / POINTS)
    for b, told in enumerate(counts):
        loss[:, b] = asymmetric_loss(float(told), needed, over_weight) @ alike
    return counts, loss * counted[:, None]
