"""Choose the number of zones by what is left over, and say why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from geoprune.errors import Message
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones.benefit import Misfits, interval, measure_gains, measure_misfits
from geoprune.zones.drawing import Drawn, Task, draw_all, order_zones, set_task
from geoprune.zones.loss import counting_cost
from geoprune.zones.opportunity import measure_opportunity
from geoprune.zones.options import Need, ZoneOptions
from geoprune.zones.result import Alternative, CurvePoint, Worth, ZoneBenefit, Zoning
from geoprune.zones.worth import judge_worth


@dataclass(frozen=True, eq=False)
class Ways:
    """All numbers of zones that fit the limits, one number first: drawn, measured on the same draws, and judged."""

    task: Task
    drawn: dict[int, Drawn]
    misfits: Misfits
    worths: dict[int, Worth]

    def place(self, zones: int) -> int:
        """Where a number of zones stands among the ways measured."""
        return list(self.drawn).index(zones)

    def saves(self, zones: int) -> bool:
        """Whether a number of zones brings a vine any nearer to its own number, marks left aside."""
        return float(self.misfits.saving(self.place(zones)).mean()) > 0.0

    def best(self, least: int) -> int:
        """The number of zones, `least` or more, with most left over; 1 where none of them fits."""
        return max((zones for zones in self.drawn if zones >= least), key=lambda z: self.worths[z].net_minutes, default=1)


def draw_zones(
    trellis: Trellis,
    draws: SizeDraws,
    need: Need,
    *,
    pattern: str = "shown",
    options: ZoneOptions | None = None,
) -> Zoning:
    """Draw zones of whole panels and choose their bud counts and their number.

    Parameters
    ----------
    trellis : Trellis with P panels
    draws : SizeDraws of the same panels
    need : callable
        kg (P, n), panels first -> buds each vine needs, same shape.
    pattern : str
        How sure a pattern of vine size is, a surface's `pattern`. Unless it is "shown" one number is the verdict, so that
        blocks without a pattern are rarely zoned; "likely" and "none" are told apart in the reasons.
    options : ZoneOptions

    Returns
    -------
    Zoning
        The curve holds all numbers of zones, also where the verdict is "one_number"; then the best of them are its
        `alternative`, if they save anything.

    Raises
    ------
    DataError
        When no vine of the block is counted.
    """
    ways = try_ways(trellis, draws, need, options or ZoneOptions())
    task, drawn = ways.task, ways.drawn
    best, other = ways.best(least=1), ways.best(least=2)
    chosen = best if pattern == "shown" else 1
    found = drawn[chosen]
    labels, zone_buds = found.labels, task.counts[list(found.chosen)]
    panel_zone, buds, _ = order_zones(labels, zone_buds, task.size_kg, task.counted)
    of_error, of_possible = ways.misfits.shares(ways.place(chosen))
    benefit = ZoneBenefit(
        gains=measure_gains(ways.misfits, ways.place(chosen)),
        curve=_curve(ways, chosen),
        chosen_zones=chosen,
        counting_cost_buds=counting_cost(draws, need, task.counted, labels, zone_buds, options=task.options),
        pruning_minutes=task.options.minutes_per_vine * float(task.counted.sum()),
        saving_share=of_error,
        possible_share=of_possible,
        worth=ways.worths[chosen],
        opportunity=measure_opportunity(trellis, draws, need, task, found),
    )
    return Zoning(
        panel_zone=panel_zone,
        buds=buds,
        one_number=int(task.counts[drawn[1].chosen[0]]),
        verdict="zone" if chosen > 1 else "one_number",
        reasons=_reasons(ways, chosen, other, pattern),
        benefit=benefit,
        cost=found.cost,
        lower_bound=found.lower_bound,
        alternative=_alternative(ways, other) if chosen == 1 and ways.saves(other) else None,
    )


def try_ways(trellis: Trellis, draws: SizeDraws, need: Need, options: ZoneOptions) -> Ways:
    """Draw one number and every number of zones that fits, measure them on the same draws and judge them."""
    task = set_task(trellis, draws, need, options)
    drawn = draw_all(task, options.max_zones)
    way_buds = np.column_stack([task.panel_counts(d) for d in drawn.values()])
    groups = np.column_stack([d.labels for d in drawn.values()])
    misfits = measure_misfits(draws, need, way_buds, groups, task.counted, options=task.options)
    number = float(task.counts[drawn[1].chosen[0]])
    worths = {
        zones: judge_worth(float(misfits.saving(way).mean()), found.labels, task, number)
        for way, (zones, found) in enumerate(drawn.items())
    }
    return Ways(task, drawn, misfits, worths)


def _alternative(ways: Ways, zones: int) -> Alternative:
    found, task, worth = ways.drawn[zones], ways.task, ways.worths[zones]
    panel_zone, buds, _ = order_zones(found.labels, task.counts[list(found.chosen)], task.size_kg, task.counted)
    of_error, of_possible = ways.misfits.shares(ways.place(zones))
    saving = interval(ways.misfits.saving(ways.place(zones)))
    return Alternative(panel_zone, buds, saving, of_error, of_possible, worth.marks, worth.minutes)


def _curve(ways: Ways, chosen: int) -> tuple[CurvePoint, ...]:
    """Benefit against the number of zones: one entry for each number that fits."""
    curve = []
    for way, (zones, found) in enumerate(ways.drawn.items()):
        of_error, of_possible = ways.misfits.shares(way)
        curve.append(
            CurvePoint(
                zones=zones,
                misfit=interval(ways.misfits.misfit[:, way]),
                saving_buds=interval(ways.misfits.saving(way)),
                buds=tuple(int(count) for count in ways.task.counts[list(found.chosen)]),
                chosen=zones == chosen,
                cost=found.cost,
                lower_bound=found.lower_bound,
                saving_share=of_error,
                possible_share=of_possible,
                worth=ways.worths[zones],
            )
        )
    return tuple(curve)


def _reasons(ways: Ways, chosen: int, other: int, pattern: str) -> tuple[Message, ...]:
    """Say why the block is zoned, or why not, and why there are not more zones."""
    if chosen > 1:
        return _benefit_sentence(ways, chosen), Message("zones.trade", _trade(ways, chosen)), _why_no_more(ways, chosen)
    if other == 1:
        return (Message("zones.cannot_draw"),)
    if pattern != "shown":
        unsure = Message("zones.likely_pattern" if pattern == "likely" else "zones.no_pattern")
        return (unsure, Message("zones.anyway", _trade(ways, other))) if ways.saves(other) else (unsure,)
    return (Message("zones.too_little", _trade(ways, other)),)


def _benefit_sentence(ways: Ways, zones: int) -> Message:
    saving = interval(ways.misfits.saving(ways.place(zones)))
    one, own = _rounded_misfits(ways, zones)
    fields = {
        "zones": zones,
        "saving": one - own,
        "saving_low": saving.low,
        "saving_high": saving.high,
        "one_number_misfit": one,
        "misfit": own,
    }
    return Message("zones.benefit_sentence", fields)


def _rounded_misfits(ways: Ways, zones: int) -> tuple[float, float]:
    """Misfit of one number and of zones to a tenth of a bud: savings are given as their difference, so that they add up."""
    one, own = (round(float(ways.misfits.misfit[:, at].mean()), 1) for at in (0, ways.place(zones)))
    return one, own


def _trade(ways: Ways, zones: int) -> dict[str, Any]:
    """Marks and hours of zones, and what they bring: as sentences take it."""
    of_error, of_possible = ways.misfits.shares(ways.place(zones))
    worth, (one, own) = ways.worths[zones], _rounded_misfits(ways, zones)
    return {
        "zones": zones,
        "marks": worth.marks,
        "hours": worth.minutes / 60.0,
        "saving": max(one - own, 0.0),
        "percent": 100.0 * max(of_error, 0.0),
        "whole_percent": 100.0 * of_error / of_possible if of_possible > 0.0 else 0.0,
    }


def _why_no_more(ways: Ways, zones: int) -> Message:
    if zones + 1 in ways.drawn:
        more, here = ways.place(zones + 1), ways.place(zones)
        gain = float(np.mean(ways.misfits.misfit[:, here] - ways.misfits.misfit[:, more]))
        marks = ways.worths[zones + 1].marks - ways.worths[zones].marks
        return Message("zones.next_zone", {"next": zones + 1, "gain": max(gain, 0.0), "marks": marks})
    if zones >= ways.task.options.max_zones:
        return Message("zones.most_zones", {"zones": zones})
    return Message("zones.no_more_fit", {"next": zones + 1})
