"""Judge zones drawn by somebody else: their bud counts, their merit, and what they lose against ours."""

from __future__ import annotations

from typing import Any

import numpy as np

from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones.choosing import draw_zones
from geoprune.zones.drawing import Drawn, Task, order_zones, refit_counts, set_task
from geoprune.zones.limits import broken_limits
from geoprune.zones.loss import POINTS, asymmetric_loss
from geoprune.zones.merit import interval, measure_misfits, tell_merit
from geoprune.zones.opportunity import opportunity
from geoprune.zones.options import Labels, Need, ZoneOptions, Zoning
from geoprune.zones.runs import labelling_cost
from geoprune.zones.saying import Message


def judge_zones(
    trellis: Trellis,
    draws: SizeDraws,
    need: Need,
    panel_zone: Labels,
    *,
    options: ZoneOptions | None = None,
    buds: Labels | None = None,
    proposed: Zoning | None = None,
    map_is_better: bool = True,
) -> Zoning:
    """Judge given labels. Nothing is mended: limits they break are told in the reasons.

    Parameters
    ----------
    panel_zone : (P,) any whole numbers; equal numbers are one zone
    buds : (k,) bud counts in the rising order of the labels; None gives each zone its best count
    proposed : our own zones, to compare with; None draws them
    map_is_better : as for `draw_zones`

    Returns
    -------
    Zoning
        Zones numbered by vine size; `given_labels` tells which label each zone had. The verdict is "zone" when there
        are two or more labels: they are somebody's decision. `merit` has, besides the usual, `proposed_saving_buds`
        and `loss_against_proposed_buds` (mean, low, high; positive: the given zones are worse).

    Raises
    ------
    ValueError
        When `panel_zone` or `buds` do not match in number.
    DataError
        When no vine of the block is counted.
    """
    options = options or ZoneOptions()
    given, labels = np.unique(np.asarray(panel_zone), return_inverse=True)
    if len(labels) != len(trellis.panels):
        raise ValueError(f"{len(labels)} labels for {len(trellis.panels)} panels")
    if buds is not None and len(buds) != len(given):
        raise ValueError(f"{len(buds)} bud counts for {len(given)} zones")
    task = set_task(trellis, draws, need, options)
    chosen = refit_counts(task, labels, len(given))
    told = task.counts[list(chosen)] if buds is None else np.asarray(buds, dtype=np.int64)
    ours = proposed or draw_zones(trellis, draws, need, options=options, map_is_better=map_is_better)
    one = int(task.counts[task.loss.sum(axis=0).argmin()])
    merit = _compare(trellis, draws, need, labels, told, one, ours, options)
    cost = _cost(draws, need, task, trellis.panels["counted"].to_numpy(), labels, told)
    drawn = Drawn(labels, chosen, cost, float("nan"))
    merit |= {"zones_measured": len(given), "opportunity": opportunity(trellis, draws, need, task, drawn)}
    size, counted = draws.vine_points().mean(axis=1), trellis.panels["counted"].to_numpy()
    zone, told, rank = order_zones(labels, told, size, counted)
    return Zoning(
        panel_zone=zone,
        buds_per_vine=told,
        verdict="zone" if len(given) > 1 else "one_number",
        reasons=(*_reasons(merit, len(given), options), *broken_limits(zone, task.graph, options)),
        one_number_buds=one,
        merit=merit,
        curve=ours.curve,
        cost=cost,
        given_labels=given[rank],
    )


def _compare(
    trellis: Trellis,
    draws: SizeDraws,
    need: Need,
    labels: Labels,
    told: Labels,
    one: int,
    ours: Zoning,
    options: ZoneOptions,
) -> dict[str, Any]:
    """Merit of labels, with one number and our own zones measured on the same vines."""
    own = ours.panel_zone - 1
    ways = np.column_stack([np.full(len(labels), one), told[labels], ours.buds_per_vine[own]]).astype(float)
    groups = np.column_stack([np.zeros(len(labels), dtype=np.int64), labels, own])
    misfits = measure_misfits(trellis, draws, need, ways, groups, options=options)
    base, given, proposed = misfits.misfit.T
    return tell_merit(misfits, 1, options=options) | {
        "proposed_saving_buds": interval(base - proposed, options.interval),
        "loss_against_proposed_buds": interval(given - proposed, options.interval),
    }


def _cost(draws: SizeDraws, need: Need, task: Task, counted: Labels, labels: Labels, told: Labels) -> float:
    """Expected loss and price of changes of labels with any bud counts, candidates or not."""
    needed = need(draws.vine_points(POINTS))
    expected = asymmetric_loss(told[labels][:, None].astype(float), needed, task.options.over_weight)
    apart = np.abs(told[:, None] - told[None, :]).astype(float)
    prices = task.options.change_cost * apart, task.options.neighbour_cost * apart
    nothing = np.zeros((len(labels), len(told)))
    return float(expected.mean(axis=1) @ counted) + labelling_cost(nothing, labels, task.graph, *prices)


def _reasons(merit: dict[str, Any], zones: int, options: ZoneOptions) -> tuple[Message, ...]:
    saving, loss, misfit = merit["saving_buds"], merit["loss_against_proposed_buds"], merit["misfit_buds"]
    fields = {
        "zones": zones,
        "saving": saving["mean"],
        "saving_low": saving["low"],
        "saving_high": saving["high"],
        "one_number_misfit": misfit["one_number"]["mean"],
        "misfit": misfit["zones"]["mean"],
        "least": options.min_saving_buds,
    }
    against = {
        "loss": abs(loss["mean"]),
        "loss_low": loss["low"],
        "loss_high": loss["high"],
        "proposed_saving": merit["proposed_saving_buds"]["mean"],
    }
    little = saving["mean"] < options.min_saving_buds
    return (
        Message("zones.given_little" if little else "zones.given_merit", fields),
        Message("zones.given_worse" if loss["mean"] >= 0 else "zones.given_better", against),
    )
