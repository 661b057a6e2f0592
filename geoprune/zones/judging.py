"""Judge zones drawn by somebody else: their bud counts, their merit, and what they lose against ours."""

from __future__ import annotations

from typing import Any

import numpy as np

from geoprune.errors import Message
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones.drawing import Drawn, order_zones, refit_counts, set_task
from geoprune.zones.flagging import flagging_list
from geoprune.zones.labels import GivenLabels
from geoprune.zones.limits import broken_limits
from geoprune.zones.merit import interval, measure_misfits, tell_merit
from geoprune.zones.opportunity import opportunity
from geoprune.zones.options import Need, ZoneOptions, Zoning


def judge_zones(
    trellis: Trellis,
    draws: SizeDraws,
    need: Need,
    given: GivenLabels,
    proposed: Zoning,
    *,
    options: ZoneOptions | None = None,
) -> Zoning:
    """Judge given labels: each gets its best bud count. Nothing is mended: limits they break are told in the reasons.

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
        Zones numbered by vine size; `names` tells what each was called. The verdict is "zone" when there are two or
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
        [np.full(len(labels), float(proposed.one_number)), task.told(drawn), proposed.buds[proposed.panel_zone - 1]]
    )
    groups = np.column_stack([np.zeros_like(labels), labels, proposed.panel_zone - 1])
    misfits = measure_misfits(draws, need, ways, groups, task.counted, options=options)
    one, own, ours = misfits.misfit.T
    merit = tell_merit(misfits, 1) | {
        "proposed_saving_buds": interval(one - ours),
        "loss_against_proposed_buds": interval(own - ours),
        "curve": proposed.merit["curve"],
        "chosen_zones": number,
        **opportunity(trellis, draws, need, task, drawn),
    }
    zone, buds, rank = order_zones(labels, task.counts[list(chosen)], task.size_kg, task.counted)
    return Zoning(
        panel_zone=zone,
        buds=buds,
        one_number=proposed.one_number,
        verdict="zone" if number > 1 else "one_number",
        reasons=(*_reasons(merit, number, options), *given.messages, *broken_limits(zone, task.graph, options)),
        merit=merit,
        flags=flagging_list(trellis, zone),
        cost=drawn.cost,
        names=tuple(given.names[i] for i in rank),
    )


def _reasons(merit: dict[str, Any], zones: int, options: ZoneOptions) -> tuple[Message, ...]:
    loss = merit["loss_against_proposed_buds"]
    if zones == 1:
        return (Message("zones.given_one"),)
    against = {
        "loss": abs(loss["value"]),
        "loss_low": loss["low"],
        "loss_high": loss["high"],
        "proposed_saving": merit["proposed_saving_buds"]["value"],
    }
    return (
        worth_message(merit["saving_buds"], zones, least=options.min_saving_buds),
        Message("zones.given_worse" if loss["value"] >= 0 else "zones.given_better", against),
    )


def worth_message(saving: dict[str, float], zones: int, *, least: float) -> Message:
    """What the zones save against one number; what loses as told, to a tenth of a bud, is called a loss."""
    value, low, high = (round(saving[name], 1) + 0.0 for name in ("value", "low", "high"))
    if value < 0:
        return Message("zones.given_loss", {"zones": zones, "loss": -value, "loss_low": 0.0 - high, "loss_high": 0.0 - low})
    fields = {"zones": zones, "saving": value, "saving_low": low, "saving_high": high}
    return Message("zones.given_little" if saving["value"] < least else "zones.given_merit", fields)
