"""Judge zones drawn by somebody else: their bud counts, their merit, and what they lose against ours."""

from __future__ import annotations

from typing import Any

import numpy as np

from geoprune.errors import Message
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones.benefit import interval, measure_benefit, measure_misfits
from geoprune.zones.drawing import Drawn, order_zones, refit_counts, set_task
from geoprune.zones.labels import GivenLabels
from geoprune.zones.limits import broken_limits
from geoprune.zones.loss import counting_cost
from geoprune.zones.opportunity import opportunity
from geoprune.zones.options import Need, ZoneOptions, Zoning
from geoprune.zones.worth import judge_worth


def judge_zones(
    trellis: Trellis,
    draws: SizeDraws,
    need: Need,
    given: GivenLabels,
    proposed: Zoning,
    *,
    options: ZoneOptions | None = None,
) -> Zoning:
    """Judge given labels: each gets its best bud count. Nothing is mended: limits they break stand among the reasons.

    What was assumed in reading the layer stays with `given.messages`: it is no reason.

    Parameters
    ----------
    trellis, draws, need, options
        As for `draw_zones`.
    given : GivenLabels
        Labels of the panels.
    proposed : Zoning
        Our own zones, to compare with.

    Returns
    -------
    Zoning
        Zones numbered by vine size; `names` says what each was called. The verdict is "zone" when there are two or
        more labels: they are somebody's decision. `merit` has, besides the usual, `proposed_saving_buds` and
        `loss_against_proposed_buds` (value, low, high; positive: the given zones are worse).

    Raises
    ------
    DataError
        When no vine of the block is counted.
    """
    options = options or ZoneOptions()
    task = set_task(trellis, draws, need, options)
    labels, number = given.panel_zone - 1, len(given.names)
    chosen = refit_counts(task, labels, number)
    drawn = Drawn(labels, chosen, task.cost(labels, chosen), float("nan"))
    ways = np.column_stack(
        [np.full(len(labels), float(proposed.one_number)), task.panel_counts(drawn), proposed.buds[proposed.panel_zone - 1]]
    )
    groups = np.column_stack([np.zeros_like(labels), labels, proposed.panel_zone - 1])
    misfits = measure_misfits(draws, need, ways, groups, task.counted, options=task.options)
    one, own, ours = misfits.misfit.T
    zone_buds = task.counts[list(chosen)]
    marked = np.unique(zone_buds[labels], return_inverse=True)[1]  # where the number does not change nothing is marked
    worth = judge_worth(float(np.mean(one - own)), marked, task, float(proposed.one_number))
    of_error, of_possible = misfits.shares(1)
    merit = measure_benefit(misfits, 1) | {
        "proposed_saving_buds": interval(one - ours),
        "loss_against_proposed_buds": interval(own - ours),
        "curve": proposed.merit["curve"],
        "chosen_zones": number,
        "counting_cost_buds": counting_cost(draws, need, task.counted, labels, zone_buds, options=task.options),
        "pruning_minutes": task.options.minutes_per_vine * float(task.counted.sum()),
        "saving_share": of_error,
        "possible_share": of_possible,
        "marks": worth.marks,
        "marking_minutes": worth.minutes,
        "net_minutes": worth.net_minutes,
        **opportunity(trellis, draws, need, task, drawn),
    }
    zone, buds, rank = order_zones(labels, zone_buds, task.size_kg, task.counted)
    return Zoning(
        panel_zone=zone,
        buds=buds,
        one_number=proposed.one_number,
        verdict="zone" if number > 1 else "one_number",
        reasons=(*_reasons(merit, number), *broken_limits(zone, task.graph, options)),
        merit=merit,
        cost=drawn.cost,
        names=tuple(given.names[i] for i in rank),
    )


def _reasons(merit: dict[str, Any], zones: int) -> tuple[Message, ...]:
    loss = merit["loss_against_proposed_buds"]
    if zones == 1:
        return (Message("zones.given_one"),)
    against = {
        "loss": abs(loss["value"]),
        "loss_low": loss["low"],
        "loss_high": loss["high"],
        "proposed_saving": merit["proposed_saving_buds"]["value"],
    }
    if not merit["marks"]:
        return (Message("zones.given_alike", {"zones": zones}),)
    hours, pays = merit["marking_minutes"] / 60.0, merit["net_minutes"] > 0
    return (
        worth_message(merit["saving_buds"], zones, marks=merit["marks"], hours=hours, pays=pays),
        *((_trade(merit, hours),) if pays else ()),
        Message("zones.given_worse" if loss["value"] >= 0 else "zones.given_better", against),
    )


def _trade(merit: dict[str, Any], hours: float) -> Message:
    """Marks and hours of zones that pay, and what they take away of one number's misfit."""
    whole = 1.0 - merit["perfect_misfit"]["value"] / merit["one_number_misfit"]["value"]
    percents = {"percent": 100.0 * merit["saving_share"], "whole_percent": 100.0 * whole}
    return Message("zones.trade", {"marks": merit["marks"], "hours": hours, **percents})


def worth_message(saving: dict[str, float], zones: int, *, marks: int, hours: float, pays: bool) -> Message:
    """What the zones save against one number, and whether that pays for their marks; what loses as written, to a tenth of a
    bud, is called a loss."""
    value, low, high = (round(saving[name], 1) + 0.0 for name in ("value", "low", "high"))
    if value < 0:
        return Message("zones.given_loss", {"zones": zones, "loss": -value, "loss_low": 0.0 - high, "loss_high": 0.0 - low})
    fields = {"zones": zones, "saving": value, "saving_low": low, "saving_high": high}
    if pays:
        return Message("zones.given_benefit", fields)
    return Message("zones.given_little", fields | {"marks": marks, "hours": hours})
