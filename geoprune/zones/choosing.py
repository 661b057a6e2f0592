"""Choose the number of zones, and say why."""

from __future__ import annotations

from typing import Any

import numpy as np

from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones.drawing import Drawn, Task, draw_all, order_zones, set_task
from geoprune.zones.merit import Misfits, interval, measure_misfits, tell_merit
from geoprune.zones.opportunity import opportunity
from geoprune.zones.options import Need, ZoneOptions, Zoning
from geoprune.zones.saying import Message

Curve = tuple[dict[str, Any], ...]


def draw_zones(
    trellis: Trellis,
    draws: SizeDraws,
    need: Need,
    *,
    options: ZoneOptions | None = None,
    map_is_better: bool = True,
) -> Zoning:
    """Draw zones of whole panels and choose their bud counts and their number.

    Parameters
    ----------
    trellis : Trellis with P panels
    draws : SizeDraws of the same panels
    need : kg (P,) or (P, n), panels first -> buds each vine needs, same shape, float
    options : ZoneOptions
    map_is_better : whether the map of vine size beats the block mean; if not, one number is the verdict

    Returns
    -------
    Zoning
        When the verdict is "one_number", `merit` is still that of the zones that were measured (`zones_measured`).

    Raises
    ------
    DataError
        When no vine of the block is counted.
    """
    options = options or ZoneOptions()
    task = set_task(trellis, draws, need, options)
    drawn = draw_all(task, options.zones or options.max_zones)
    told = np.column_stack([task.counts[list(d.chosen)][d.labels] for d in drawn.values()]).astype(float)
    groups = np.column_stack([d.labels for d in drawn.values()])
    misfits = measure_misfits(trellis, draws, need, told, groups, options=options)
    curve = _curve(task, drawn, misfits)
    savings = {entry["zones"]: entry["saving_buds"]["mean"] for entry in curve}
    chosen = choose_number(savings, options)
    verdict, reasons = judge_number(chosen, curve, options=options, map_is_better=map_is_better)
    merit = tell_merit(misfits, list(drawn).index(chosen), options=options)
    merit |= {"zones_measured": chosen, "opportunity": opportunity(trellis, draws, need, task, drawn[chosen])}
    best = drawn[chosen if verdict == "zone" else 1]
    size, counted = draws.vine_points().mean(axis=1), trellis.panels["counted"].to_numpy()
    panel_zone, buds, _ = order_zones(best.labels, task.counts[list(best.chosen)], size, counted)
    return Zoning(
        panel_zone=panel_zone,
        buds_per_vine=buds,
        verdict=verdict,
        reasons=reasons,
        one_number_buds=int(task.counts[drawn[1].chosen[0]]),
        merit=merit,
        curve=curve,
        cost=best.cost,
        lower_bound=best.lower_bound,
        given_labels=np.arange(1, len(buds) + 1),
    )


def choose_number(savings: dict[int, float], options: ZoneOptions) -> int:
    """Choose the number of zones: each zone beyond the second must save `min_step_buds` more.

    savings : saving in buds per vine of each number of zones that fits the limits
    """
    if options.zones is not None:
        return max(number for number in savings if number <= options.zones)
    if 2 not in savings:
        return 1
    chosen = 2
    while chosen + 1 in savings and savings[chosen + 1] - savings[chosen] >= options.min_step_buds:
        chosen += 1
    return chosen


def _curve(task: Task, drawn: dict[int, Drawn], misfits: Misfits) -> Curve:
    content = task.options.interval
    return tuple(
        {
            "zones": zones,
            "buds_per_vine": [int(b) for b in task.counts[list(d.chosen)]],
            "misfit_buds": interval(misfits.misfit[:, way], content),
            "saving_buds": interval(misfits.misfit[:, 0] - misfits.misfit[:, way], content),
            "cost": d.cost,
            "lower_bound": d.lower_bound,
        }
        for way, (zones, d) in enumerate(drawn.items())
    )


def judge_number(chosen: int, curve: Curve, *, options: ZoneOptions, map_is_better: bool) -> tuple[str, tuple[Message, ...]]:
    """Return the verdict on a number of zones, and the sentences that say why."""
    figures = {entry["zones"]: entry for entry in curve}
    saving = figures[chosen]["saving_buds"]
    fields = {
        "zones": chosen,
        "saving": saving["mean"],
        "saving_low": saving["low"],
        "saving_high": saving["high"],
        "one_number_misfit": figures[1]["misfit_buds"]["mean"],
        "misfit": figures[chosen]["misfit_buds"]["mean"],
        "least": options.min_saving_buds,
    }
    enough = saving["mean"] >= options.min_saving_buds
    if options.zones is not None:
        return _judge_asked(chosen, fields, options, worth=enough and map_is_better)
    if not map_is_better:
        return "one_number", (Message("zones.no_map"),)
    if chosen == 1:
        return "one_number", (Message("zones.cannot_draw"),)
    if not enough:
        return "one_number", (Message("zones.too_little", fields),)
    savings = {zones: entry["saving_buds"]["mean"] for zones, entry in figures.items()}
    return "zone", (Message("zones.merit_sentence", fields), _why_no_more(chosen, savings, options))


def _judge_asked(
    chosen: int, fields: dict[str, Any], options: ZoneOptions, *, worth: bool
) -> tuple[str, tuple[Message, ...]]:
    """Judge a number of zones somebody asked for: it is kept, and said when one number would do."""
    said = []
    if options.zones != chosen:
        said.append(Message("zones.fewer_than_asked", {"asked": options.zones, "zones": chosen}))
    if chosen == 1:
        said += [] if said else [Message("zones.asked_one")]
        return "one_number", tuple(said)
    said.append(Message("zones.asked" if worth else "zones.asked_little", fields))
    return "zone", tuple(said)


def _why_no_more(chosen: int, savings: dict[int, float], options: ZoneOptions) -> Message:
    if chosen + 1 in savings:
        gain = savings[chosen + 1] - savings[chosen]
        fields = {"next": chosen + 1, "gain": max(gain, 0.0), "least": options.min_step_buds}
        return Message("zones.next_zone", fields)
    if chosen >= options.max_zones:
        return Message("zones.most_zones", {"zones": chosen})
    return Message("zones.no_room", {"next": chosen + 1})
