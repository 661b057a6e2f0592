"""What is said of how a zone came by its number: rule, steps, winter bud injury; or why it has none, and what to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from geoprune.errors import Message
from geoprune.rules.holds import frame_steps, renew_messages, why_no_number
from geoprune.rules.injury import Injury
from geoprune.rules.need import BudNeed
from geoprune.rules.recipes import Recipe

#: A zone's share of vines to renew is reported from here on (a design choice).
LEAST_RENEWED = 0.03


def zone_notes(
    zone_row: Mapping[str, Any], need: BudNeed, injury: Injury | None, recipe: Recipe | None
) -> tuple[Message, ...]:
    """Say how a zone came by its number, or why it has none; `recipe` is its recipe, None where no number holds."""
    size, count = float(zone_row["vine_size_kg"]), float(zone_row["buds_per_vine"])
    if recipe is None:
        return _without_number(zone_row, need, injury)
    said = [*need.rule.cautions]
    renewed = float(zone_row.get("renew_share", 0.0))
    if renewed >= LEAST_RENEWED:
        said.append(Message("rules.renew_share", {"percent": 100 * renewed, **need.renew_limit}))
    said += need.explain(size) if np.ndim(need.injury_factor) == 0 else need.size_flags(size)
    said.append(Message("rules.step_given", {"buds": count}))
    return (*said, *_injury_notes(zone_row, need, injury, count), *recipe.reasons)


def _without_number(zone_row: Mapping[str, Any], need: BudNeed, injury: Injury | None) -> tuple[Message, ...]:
    """What is said of a zone without a number: why, and what is done at its vines."""
    why = zone_no_number(zone_row, need)
    said: tuple[Message, ...] = () if why is None else (why,)
    if why is not None:
        said += (
            frame_steps() if why.key == "rules.no_number_young" else (need.flag_renew, *renew_messages(among_others=False))
        )
    if injury is None or not injury.buds_cut:
        return said
    fields, limit = _dead_fields(zone_row, injury), 100 * injury.method.stop_above
    past = injury.stop or (injury.enough and fields["percent"] > limit)
    return (Message("injury.zone_stop", fields | {"limit_percent": limit}), *said) if past else said


def _dead_fields(zone_row: Mapping[str, Any], injury: Injury) -> dict[str, float]:
    """Share of the zone's buds dead with its range, %, and how many buds of the block that rests on."""
    names = {"percent": "share", "low_percent": "low", "high_percent": "high"}
    fields = {name: 100 * float(zone_row.get(f"injury_{part}", np.nan)) for name, part in names.items()}
    return fields | {"cut": injury.buds_cut}


def _injury_notes(zone_row: Mapping[str, Any], need: BudNeed, injury: Injury | None, count: float) -> list[Message]:
    """Say what share of the zone's buds is dead, what the rule asks for over its range, and how many stay alive."""
    if injury is None or not injury.buds_cut or not injury.enough:
        return []
    fields, method = _dead_fields(zone_row, injury), injury.method
    by_rule = float(need.rule.buds(float(zone_row["vine_size_kg"])))
    ends = [
        by_rule * float(method.factor(min(fields[f"{end}_percent"] / 100, method.stop_above))) for end in ("low", "high")
    ]
    said = [_range_asked(fields, ends, np.inf if need.cap is None else need.cap)]
    alive = {f"{end}_live": count * (1 - fields[f"{of}_percent"] / 100) for end, of in (("low", "high"), ("high", "low"))}
    live = {"buds": count, "live": count * (1 - fields["percent"] / 100), **alive, "wanted": by_rule}
    short = round(live["live"]) < round(min(by_rule, count))  # by its dead buds, and not by the step of the number
    said.append(Message("injury.live_short" if short else "injury.live_enough", live))
    if fields["high_percent"] > 100 * method.stop_above:
        said.append(Message("injury.stop_possible", {"limit_percent": 100 * method.stop_above}))
    return said


def _range_asked(fields: dict[str, float], ends: Sequence[float], cap: float) -> Message:
    """What the rule asks for over the range of dead buds: one number, a range, or more than the cap throughout."""
    low, high = ends
    if round(low) == round(high):
        return Message("injury.zone_same", fields)
    asked = fields | {"low_buds": low, "high_buds": high}
    if low >= cap:
        return Message("injury.zone_held", asked | {"cap": cap})
    return Message("injury.zone_range", asked)


def zone_no_number(zone_row: Mapping[str, Any], need: BudNeed) -> Message | None:
    """Why a zone is given no number, winter bud injury apart (`holds.why_no_number`); None where one holds."""
    return why_no_number(
        float(zone_row["vine_size_kg"]),
        renew_share=float(zone_row.get("renew_share", 0.0)),
        cautions=need.rule.cautions,
        renew_below_kg=need.renew_below_kg,
    )
