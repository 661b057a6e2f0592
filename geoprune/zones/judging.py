"""Judge zones drawn by somebody else: their bud counts, what they are worth, and what they lose against ours."""

from __future__ import annotations

import numpy as np

from geoprune.errors import Message
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones.benefit import interval, measure_gains, measure_misfits
from geoprune.zones.drawing import Drawn, order_zones, refit_counts, set_task
from geoprune.zones.labels import GivenLabels
from geoprune.zones.limits import broken_limits
from geoprune.zones.loss import counting_cost
from geoprune.zones.opportunity import measure_opportunity
from geoprune.zones.options import Need, ZoneOptions
from geoprune.zones.result import Interval, Worth, ZoneBenefit, Zoning
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
        more labels: they are somebody's decision. `benefit` has, besides the usual, `proposed_saving_buds` and
        `loss_against_proposed_buds`.

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
    benefit = ZoneBenefit(
        gains=measure_gains(misfits, 1),
        curve=proposed.benefit.curve,
        chosen_zones=number,
        counting_cost_buds=counting_cost(draws, need, task.counted, labels, zone_buds, options=task.options),
        pruning_minutes=task.options.minutes_per_vine * float(task.counted.sum()),
        saving_share=of_error,
        possible_share=of_possible,
        worth=worth,
        opportunity=measure_opportunity(trellis, draws, need, task, drawn),
        proposed_saving_buds=interval(one - ours),
        loss_against_proposed_buds=interval(own - ours),
    )
    zone, buds, rank = order_zones(labels, zone_buds, task.size_kg, task.counted)
    return Zoning(
        panel_zone=zone,
        buds=buds,
        one_number=proposed.one_number,
        verdict="zone" if number > 1 else "one_number",
        reasons=(*_reasons(benefit, number), *broken_limits(zone, task.graph, options)),
        benefit=benefit,
        cost=drawn.cost,
        names=tuple(given.names[i] for i in rank),
    )


def _reasons(benefit: ZoneBenefit, zones: int) -> tuple[Message, ...]:
    loss, ours, worth = benefit.loss_against_proposed_buds, benefit.proposed_saving_buds, benefit.worth
    if zones == 1 or loss is None or ours is None:
        return (Message("zones.given_one"),)
    if not worth.marks:
        return (Message("zones.given_alike", {"zones": zones}),)
    against = {"loss": abs(loss.value), "loss_low": loss.low, "loss_high": loss.high, "proposed_saving": ours.value}
    return (
        worth_message(benefit.gains.saving_buds, zones, worth),
        *((_trade(benefit),) if worth.net_minutes > 0 else ()),
        Message("zones.given_worse" if loss.value >= 0 else "zones.given_better", against),
    )


def _trade(benefit: ZoneBenefit) -> Message:
    """Marks and hours of zones that pay, and what they take away of one number's misfit."""
    gains, worth = benefit.gains, benefit.worth
    whole = 1.0 - gains.perfect_misfit.value / gains.one_number_misfit.value
    percents = {"percent": 100.0 * benefit.saving_share, "whole_percent": 100.0 * whole}
    return Message("zones.trade", {"marks": worth.marks, "hours": worth.minutes / 60.0, **percents})


def worth_message(saving_buds: Interval, zones: int, worth: Worth) -> Message:
    """What the zones save against one number, and whether that pays for their marks; what loses as written, to a tenth of a
    bud, is called a loss."""
    value, low, high = (round(end, 1) + 0.0 for end in (saving_buds.value, saving_buds.low, saving_buds.high))
    if value < 0:
        return Message("zones.given_loss", {"zones": zones, "loss": -value, "loss_low": 0.0 - high, "loss_high": 0.0 - low})
    fields = {"zones": zones, "saving": value, "saving_low": low, "saving_high": high}
    if worth.net_minutes > 0:
        return Message("zones.given_benefit", fields)
    return Message("zones.given_little", fields | {"marks": worth.marks, "hours": worth.minutes / 60.0})
