"""From a plan to its brief."""

from __future__ import annotations

import numpy as np
import pandas as pd

from geoprune.brief.assumed import assumed_messages
from geoprune.brief.places import zone_labels
from geoprune.brief.rows import brief_rows
from geoprune.brief.shape import WITHOUT_NUMBER, BlockBrief, ReplantBrief, RowBrief, SampleBrief, ZoneBrief
from geoprune.brief.verdict import (
    alert_message,
    crew_verdict_of,
    headline_of,
    verdict_of,
    walk_messages,
    young_messages,
    zones_without_number,
)
from geoprune.brief.zones import RENEW_NOTES, brief_zones
from geoprune.errors import Message
from geoprune.plan import BlockPlan, BlockSettings, winter_only
from geoprune.replanting import Stand, find_clusterings
from geoprune.rules import (
    bud_notes,
    caution_notes,
    frame_steps,
    frost_notes,
    renew_messages,
    split_advice,
    wood_notes,
)
from geoprune.signs import HANG_SIGNS, READ_SIGNS, SIGNS_DISAGREE


def _training_of(settings: BlockSettings) -> Message:
    """The training as the trade calls it, and where the grower calls it otherwise, by that name first."""
    system, given = settings.system, settings.training_as_given
    named = {name.casefold() for name in (system.id, *system.also_called)}
    if not given or given.casefold() in named:
        return system.name
    return Message("recipe.training_called", {"name": given, "training": system.name})


#: What is done with every vine of a block, by its headline: rows do not say it again.
ALL_ALIKE = {"young": "young", "renew": "renew"}


def brief_block(plan: BlockPlan) -> BlockBrief:
    """Return what is said of a block."""
    withheld = zones_without_number(plan)
    headline = headline_of(plan, withheld)
    without_number = headline == "stop"
    taped = headline not in WITHOUT_NUMBER and bool((plan.runs["bands"] > 0).any())
    shared, alone = split_advice(plan.advice)
    zones = brief_zones(plan, alone, taped=taped)
    rows = () if without_number else brief_rows(plan, throughout=ALL_ALIKE.get(headline, ""))
    replant = brief_replant(plan)
    buds = None if headline in WITHOUT_NUMBER or withheld else plan.buds_per_vine
    return BlockBrief(
        plan=plan,
        headline=headline,
        taped=taped,
        buds=buds,
        training=_training_of(plan.settings),
        alert=alert_message(plan, headline, withheld),
        verdict=verdict_of(plan, headline),
        crew_verdict=crew_verdict_of(plan, headline),
        instead=Message("brief.one_instead", {"buds": buds}) if headline == "zone" and buds is not None else None,
        young=() if headline == "young" else young_messages(plan),
        reasons=plan.verdict_reasons,
        notes=plan.notes,
        zones=zones,
        labels=tuple(zone_labels(plan.zones)),
        rows=rows,
        walk=walk_messages(rows, surveyed=plan.settings.posts_surveyed),
        assumed=() if without_number else assumed_messages(plan),
        tape=(READ_SIGNS, SIGNS_DISAGREE, HANG_SIGNS) if taped else (),
        frame=winter_only(frame_steps()) if headline == "young" or any("young" in row.apart for row in rows) else (),
        renew=_renewal(plan, rows, headline),
        sick=(Message("cautions.sick_vines"),) if any("sick" in row.apart for row in rows) else (),
        shared=tuple(shared),
        bud_notes=() if headline in WITHOUT_NUMBER else _bud_notes(zones),
        wood_notes=wood_notes() if any(zone.leave for zone in zones) else (),
        cautions=tuple(note for note in caution_notes() if headline not in WITHOUT_NUMBER or note.key != "cautions.guide"),
        frost_notes=() if without_number else _frost(plan, headline),
        samples=brief_samples(plan),
        replant=replant,
        spreading=spreading_messages(plan),
        replant_line=_replant_line(replant),
        remarks=plan.remarks,
    )


def _frost(plan: BlockPlan, headline: str) -> tuple[Message, ...]:
    group = "" if plan.rule is None else plan.rule.group
    return frost_notes(plan.settings.variety, group, bears=headline not in WITHOUT_NUMBER)


def _renewal(plan: BlockPlan, rows: tuple[RowBrief, ...], headline: str) -> tuple[Message, ...]:
    """How vines are renewed: given with the sign that sets them apart where they stand among others, not of young vines."""
    if headline == "renew":
        return winter_only(renew_messages(among_others=False))
    if headline in WITHOUT_NUMBER or not meets_renewal(plan, rows):
        return ()
    return winter_only(renew_messages())


def meets_renewal(plan: BlockPlan, rows: tuple[RowBrief, ...]) -> bool:
    """Whether the crew meets vines that are renewed without a crop."""
    keys = {note.key for entry in plan.advice for note in entry.notes}
    return not keys.isdisjoint(RENEW_NOTES) or any("renew" in row.apart for row in rows)


def brief_samples(plan: BlockPlan) -> tuple[SampleBrief, ...]:
    """Return what is to be minded of each weighed vine."""
    samples = plan.samples
    away = pd.to_numeric(samples["row_distance_m"], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    used, odd = samples["used"].to_numpy(bool), samples["outlier"].fillna(False).to_numpy(bool)
    far = away > plan.settings.row_spacing_m / 2
    return tuple(
        SampleBrief(_sample_remark(why, bool(taken), bool(strange), distance if outside else None), bool(strange))
        for why, taken, strange, distance, outside in zip(samples["why_not"], used, odd, away, far, strict=True)
    )


def _sample_remark(why: object, used: bool, odd: bool, far_m: float | None) -> Message | None:
    if used:
        return Message("brief.odd_weight") if odd else None
    if far_m is not None:
        return Message("brief.why_far", {"distance_m": float(far_m)})
    return Message("brief.why_" + str(why).replace(" ", "_")) if why else Message("brief.left_out")


def brief_replant(plan: BlockPlan) -> tuple[ReplantBrief, ...]:
    """Return the areas worth a visit, the largest first."""
    return tuple(
        ReplantBrief(
            rows=(str(line["first_row"]), str(line["last_row"])),
            missing=int(line["vines_missing"]),
            weak=int(line["vines_weak"]),
            row_length_m=float(line["row_length_m"]),
            area_ha=float(line["area_ha"]),
            reason=Message("brief.reason_" + str(line["reason"]).replace(",", "").replace(" ", "_")),
        )
        for line in plan.replant_areas.to_dict("records")
    )


def spreading_messages(plan: BlockPlan) -> tuple[Message, ...]:
    """Return whether missing, dead and diseased vines stand together more than chance, and that trouble be tested."""
    settings, order = plan.settings, dict(zip(plan.rows["row"], plan.rows["order"], strict=True))
    vines = plan.vines[["row", "vine", "status", "geometry"]].assign(row_order=plan.vines["row"].map(order), weak=False)
    spacings = settings.row_spacing_m, settings.vine_spacing_m
    stand = Stand(plan.name, settings.variety, "", *spacings, settings.vines_per_panel, vines.reset_index(drop=True))
    return tuple(message for one in find_clusterings(stand) for message in one.messages)


def row_span(rows: tuple[str, str]) -> str:
    """Return first and last row as they are written: "3", "3–9"."""
    first, last = rows
    return first if first == last else f"{first}–{last}"


def _replant_line(areas: tuple[ReplantBrief, ...]) -> Message | None:
    if not areas:
        return None
    rows = ", ".join(row_span(area.rows) for area in areas)
    return Message("brief.replant_line", {"rows": rows, "missing": sum(area.missing for area in areas)})


def _bud_notes(zones: tuple[ZoneBrief, ...]) -> tuple[Message, ...]:
    """What counts as a bud; nothing of renewal spurs where none are left."""
    renewal = any(zone.recipe is not None and zone.recipe.count("renewal") for zone in zones)
    return tuple(note for note in bud_notes() if renewal or note.key != "cautions.renewal_counts")
