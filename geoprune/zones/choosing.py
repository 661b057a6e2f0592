"""Choose the number of zones, and say why."""

from __future__ import annotations

from typing import Any

import numpy as np

from geoprune.errors import Message
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones.drawing import Drawn, Task, draw_all, order_zones, set_task
from geoprune.zones.flagging import flagging_list
from geoprune.zones.merit import Misfits, interval, measure_misfits, tell_merit
from geoprune.zones.opportunity import opportunity
from geoprune.zones.options import Need, ZoneOptions, Zoning


def draw_zones(
    trellis: Trellis,
    draws: SizeDraws,
    need: Need,
    *,
    map_is_better: bool = True,
    options: ZoneOptions | None = None,
) -> Zoning:
    """Draw zones of whole panels and choose their bud counts and their number.

    Parameters
    ----------
    trellis : Trellis with P panels
    draws : SizeDraws of the same panels
    need : callable
        kg (P, n), panels first -> buds each vine needs, same shape.
    map_is_better : bool
        Whether the map of vine size beats the block mean; if not, one number is the verdict.
    options : ZoneOptions

    Returns
    -------
    Zoning
        Merit and curve are those of the zones tried, also where the verdict is "one_number".

    Raises
    ------
    DataError
        When no vine of the block is counted.
    """
    options = options or ZoneOptions()
    task = set_task(trellis, draws, need, options)
    drawn = draw_all(task, options.max_zones)
    told = np.column_stack([task.told(d) for d in drawn.values()])
    groups = np.column_stack([d.labels for d in drawn.values()])
    misfits = measure_misfits(draws, need, told, groups, task.counted, options=options)
    savings = {zones: float(np.mean(misfits.misfit[:, 0] - misfits.misfit[:, way])) for way, zones in enumerate(drawn)}
    number = choose_number(savings, options)
    zoned = map_is_better and number > 1 and savings[number] >= options.min_saving_buds
    chosen = number if zoned else 1
    merit = tell_merit(misfits, list(drawn).index(chosen)) | {
        "curve": _curve(task, drawn, misfits, chosen),
        "chosen_zones": chosen,
        **opportunity(trellis, draws, need, task, drawn[chosen]),
    }
    best = drawn[chosen]
    panel_zone, buds, _ = order_zones(best.labels, task.counts[list(best.chosen)], task.size_kg, task.counted)
    return Zoning(
        panel_zone=panel_zone,
        buds=buds,
        one_number=int(task.counts[drawn[1].chosen[0]]),
        verdict="zone" if zoned else "one_number",
        reasons=_reasons(number, zoned, misfits, drawn, options, map_is_better=map_is_better),
        merit=merit,
        flags=flagging_list(trellis, panel_zone),
        cost=best.cost,
        lower_bound=best.lower_bound,
    )


def choose_number(savings: dict[int, float], options: ZoneOptions) -> int:
    """Choose the number of zones: each zone beyond the second must save `min_step_buds` more.

    savings : saving in buds per vine of each number of zones that fits the limits
    """
    if 2 not in savings:
        return 1
    chosen = 2
    while chosen + 1 in savings and savings[chosen + 1] - savings[chosen] >= options.min_step_buds:
        chosen += 1
    return chosen


def _curve(task: Task, drawn: dict[int, Drawn], misfits: Misfits, chosen: int) -> list[dict[str, Any]]:
    """Merit against the number of zones: one entry for each number that fits."""
    curve = []
    for way, (zones, found) in enumerate(drawn.items()):
        misfit, saving = interval(misfits.misfit[:, way]), interval(misfits.misfit[:, 0] - misfits.misfit[:, way])
        curve.append(
            {
                "zones": zones,
                "misfit": misfit["value"],
                "low": misfit["low"],
                "high": misfit["high"],
                "saving_buds": saving["value"],
                "saving_low": saving["low"],
                "saving_high": saving["high"],
                "buds": [int(b) for b in task.counts[list(found.chosen)]],
                "chosen": zones == chosen,
                "cost": found.cost,
                "lower_bound": found.lower_bound,
            }
        )
    return curve


def _reasons(
    number: int,
    zoned: bool,
    misfits: Misfits,
    drawn: dict[int, Drawn],
    options: ZoneOptions,
    *,
    map_is_better: bool,
) -> tuple[Message, ...]:
    """Say why the block is zoned, or why not, and why there are not more zones."""
    if not map_is_better:
        return (Message("zones.no_map"),)
    if number == 1:
        return (Message("zones.cannot_draw"),)
    way = list(drawn).index(number)
    saving = interval(misfits.misfit[:, 0] - misfits.misfit[:, way])
    if not zoned:
        return (Message("zones.too_little", {"saving": saving["value"], "least": options.min_saving_buds}),)
    one, own = (round(float(misfits.misfit[:, at].mean()), 1) for at in (0, way))
    fields = {
        "zones": number,
        "saving": one - own,  # of the figures as told, so that they add up
        "saving_low": saving["low"],
        "saving_high": saving["high"],
        "one_number_misfit": one,
        "misfit": own,
    }
    return Message("zones.merit_sentence", fields), _why_no_more(number, misfits, drawn, options)


def _why_no_more(number: int, misfits: Misfits, drawn: dict[int, Drawn], options: ZoneOptions) -> Message:
    if number + 1 in drawn:
        way = list(drawn).index(number)
        gain = float(np.mean(misfits.misfit[:, way] - misfits.misfit[:, way + 1]))
        fields = {"next": number + 1, "gain": max(gain, 0.0), "least": options.min_step_buds}
        return Message("zones.next_zone", fields)
    if number >= options.max_zones:
        return Message("zones.most_zones", {"zones": number})
    return Message("zones.no_room", {"next": number + 1})
