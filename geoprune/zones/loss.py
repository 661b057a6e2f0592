"""Expected loss of prescribing a bud count to the vines of a panel, all uncertainty of their size included."""

from __future__ import annotations

import numpy as np

from geoprune.sizes import SizeDraws
from geoprune.zones.counts import beside, ladder
from geoprune.zones.options import Floats, Labels, Need, ZoneOptions, within_limits

POINTS = 31


def asymmetric_loss(buds: Floats | float, needed: Floats, over_weight: float) -> Floats:
    """Loss in buds: a bud too few counts 1, a bud too many `over_weight`."""
    miss = buds - needed
    return np.maximum(over_weight * miss, -miss)


def loss_quantile(over_weight: float) -> float:
    """Return the quantile of the need that minimises the expected asymmetric loss: 1 / (1 + over_weight)."""
    return 1.0 / (1.0 + over_weight)


def candidate_counts(needed: Floats, counted: Labels, need: Need, *, options: ZoneOptions) -> Labels:
    """Bud counts worth a thought: those between the best counts of the panels with least and with greatest need.

    The expected loss is convex in the count, so no zone is best given anything outside that span.
    """
    best = np.quantile(needed[counted > 0], loss_quantile(options.over_weight), axis=1)
    steps = ladder(options, float(best.max()), need)
    low, high = int(beside(steps, best.min())[0]), int(beside(steps, best.max())[1])
    return steps[low : high + 1].astype(np.int64)


def expected_loss(draws: SizeDraws, need: Need, counted: Labels, *, options: ZoneOptions) -> tuple[Labels, Floats]:
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
    counts = candidate_counts(needed, counted, need, options=options)
    loss, alike = np.empty((len(counted), len(counts))), np.full(POINTS, 1.0 / POINTS)
    for b, buds in enumerate(counts):
        loss[:, b] = asymmetric_loss(float(buds), needed, options.over_weight) @ alike
    return counts, loss * counted[:, None]


def counting_cost(
    draws: SizeDraws, need: Need, counted: Labels, labels: Labels, buds: Labels, *, options: ZoneOptions
) -> float:
    """What counts that a crew can be given cost beside the best whole numbers, in expected loss, buds per vine.

    Parameters
    ----------
    labels : (P,) zones 0..k-1
    buds : (k,) the count of each
    """
    needed = need(draws.vine_points(POINTS))
    steps = ladder(options, float(buds.max()) + 1.0, need)
    lost = 0.0
    for zone, count in enumerate(buds):
        here, weight = needed[labels == zone], counted[labels == zone]
        below, above = beside(steps, count - 1.0)[0], beside(steps, count + 1.0)[1]
        whole = within_limits(np.arange(min(steps[below], count), max(steps[above], count) + 1.0), need)
        tried = np.concatenate([[count], np.unique(whole)])
        losses = [weight @ asymmetric_loss(b, here, options.over_weight).mean(axis=1) for b in tried]
        lost += losses[0] - min(losses)
    return float(lost / counted.sum())
