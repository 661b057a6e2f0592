"""What is said of each zone."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from itertools import groupby
from operator import attrgetter

import numpy as np

from geoprune import look
from geoprune.brief.places import zone_places
from geoprune.brief.shape import ZoneBrief
from geoprune.errors import Message
from geoprune.plan import BlockPlan
from geoprune.rules import Recipe, ZoneAdvice
from geoprune.signs import bands_of
from geoprune.units import NINETY
from geoprune.zones import Interval

#: Notes about vines to renew, and the notes of a zone's advice that concern the crew; the others are for the report.
RENEW_NOTES = ("rules.flag_renew", "rules.renew_share")
CREW_NOTES = ("rules.flag_low", *RENEW_NOTES)

Line = Mapping[Hashable, object]


def brief_zones(plan: BlockPlan, alone: Sequence[Sequence[Message]], *, taped: bool) -> tuple[ZoneBrief, ...]:
    """Return what is said of each zone; `alone` is the advice that is each zone's own."""
    advice = {entry.zone: (entry, tuple(lines)) for entry, lines in zip(plan.advice, alone, strict=True)}
    places = zone_places(plan.zones, plan.polygon) if len(plan.zones) > 1 else [()]
    names, rows = _names(plan), _rows_of(plan)
    nothing, bands = (ZoneAdvice(0), ()), bands_of(plan.zones["buds_per_vine"].to_numpy(dtype=float))
    return tuple(
        _zone(line, place, names.get(_whole(line, "zone")), rows, advice.get(_whole(line, "zone"), nothing), plan, sign)
        for line, place, sign in zip(plan.zones.to_dict("records"), places, bands if taped else bands * 0, strict=True)
    )


def _zone(
    line: Line,
    place: tuple[Message, ...],
    name: str | None,
    rows: Mapping[int, tuple[str, str]],
    advised: tuple[ZoneAdvice, tuple[Message, ...]],
    plan: BlockPlan,
    bands: int,
) -> ZoneBrief:
    advice, alone = advised
    zone, buds = _whole(line, "zone"), _float(line, "buds_per_vine")
    numbered = bool(np.isfinite(buds))
    recipe = advice.recipe if numbered else None
    notes = (*(recipe.reasons if recipe and recipe.parts else ()), *(n for n in advice.notes if n.key in CREW_NOTES))
    key = str(line.get("diagnosis") or "") if numbered else ""
    return ZoneBrief(
        zone=zone,
        kind=Message("brief.class_" + str(line["class"]).replace(" ", "_")),
        name=name,
        style=look.zone_style(zone, zones=len(plan.zones)),
        bands=int(bands),
        buds=int(buds) if numbered else None,
        number=number_message(buds, str(line.get("no_number") or "")),
        withheld=None if numbered else advice.decision,
        buds_total=int(_float(line, "buds_total")) if numbered else None,
        buds_by_rule=_float(line, "buds_by_rule"),
        vines=_whole(line, "vines"),
        panels=_whole(line, "panels"),
        area_ha=_float(line, "area_ha"),
        size_kg=_ninety(_float(line, "vine_size_kg"), _float(line, "vine_size_se_kg")),
        size_kg_m=_float(line, "vine_size_kg_m"),
        place=place,
        rows=rows.get(zone, ("", "")),
        condition=Message("brief.condition_" + key.replace(" ", "_")) if key not in ("", "unknown") else None,
        condition_key=key,
        recipe=recipe,
        leave=() if recipe is None else recipe_parts(recipe),
        crew_notes=tuple(notes) if numbered else (),
        renewed=_renewed(advice),
        injury=_share(line, "injury"),
        bull_canes=_share(line, "bull_cane"),
        advice=alone,
    )


def number_message(buds: float, no_number: str) -> Message:
    """Return a number of buds as it is written, or one word for what is done where none holds."""
    if np.isfinite(buds):
        return Message("brief.number", {"buds": int(buds)})
    return Message(f"brief.word_{no_number or 'injury'}")


def recipe_parts(recipe: Recipe) -> tuple[Message, ...]:
    """Return what is left on the vine in short, a message for each kind of wood: "canes 1 × 11 + 2 × 10"."""
    groups = []
    for kind, group in groupby(recipe.parts, key=attrgetter("kind")):
        parts = list(group)
        pieces = " + ".join(f"{part.count} × {part.buds}" for part in parts)
        groups.append(Message(f"brief.{kind}", {"count": sum(part.count for part in parts), "pieces": pieces}))
    return tuple(groups)


def _renewed(advice: ZoneAdvice) -> Message | None:
    notes = {note.key: note for note in advice.notes}
    if "rules.flag_renew" in notes:
        return Message("brief.renew_most")
    note = notes.get("rules.renew_share")
    return None if note is None else Message("brief.renew_some", {"percent": note.fields["percent"]})


def _names(plan: BlockPlan) -> dict[int, str]:
    """What zones that were given are called there; none that is a mere number."""
    if "given_as" not in plan.zones:
        return {}
    named = zip(plan.zones["zone"], plan.zones["given_as"], strict=True)
    return {int(zone): str(name) for zone, name in named if not str(name).isdecimal()}


def _rows_of(plan: BlockPlan) -> dict[int, tuple[str, str]]:
    """First and last row of each zone, in the order of the rows."""
    order = {row: place for place, row in enumerate(plan.rows["row"])}
    names = list(plan.rows["row"])
    places = plan.panels["row"].map(order)
    ends = places.groupby(plan.panels["zone"]).agg(["min", "max"])
    return {int(zone): (str(names[first]), str(names[last])) for zone, first, last in ends.itertuples()}


def _ninety(value: float, error: float) -> Interval:
    return Interval(value, max(value - NINETY * error, 0.0), value + NINETY * error)


def _share(line: Line, name: str) -> Interval | None:
    share = _float(line, f"{name}_share")
    return Interval(share, _float(line, f"{name}_low"), _float(line, f"{name}_high")) if np.isfinite(share) else None


def _float(line: Line, name: str) -> float:
    return float(line[name]) if line.get(name) is not None else float("nan")  # type: ignore[arg-type]


def _whole(line: Line, name: str) -> int:
    return int(line[name])  # type: ignore[call-overload]
