"""What is said of a block: advice per zone, reasons of the verdict, notes and remarks, all as messages."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from geoprune.errors import Message, Remark
from geoprune.layers import GONE
from geoprune.plan.shape import TOO_FEW, BlockSettings, PlanOptions
from geoprune.plan.tables import Findings, renew_shares, zone_need
from geoprune.rules import (
    AdviceOptions,
    Crop,
    CropAssumptions,
    Range,
    RuleBook,
    ZoneAdvice,
    advise,
    assumptions_for,
    block_yield_kg,
    crop_load,
    expect_crop,
    loss_notes,
    missing_share,
    plan_labour,
    replant_notes,
    sick_notes,
    zone_no_number,
    zone_yield_kg,
)

#: From this share of vines to renew on, a wrong unit of the weights is likelier than such a block (a design choice).
MOSTLY_SMALL = 0.5


def advise_zones(
    findings: Findings,
    zones: gpd.GeoDataFrame,
    samples: gpd.GeoDataFrame,
    *,
    options: PlanOptions,
    crops: Sequence[CropAssumptions] = (),
    harvest: pd.DataFrame | None = None,
) -> tuple[ZoneAdvice, ...]:
    """Put together what goes with each zone's number."""
    settings = findings.settings
    chosen = AdviceOptions(
        lengths=wood_of(settings, options),
        crop=assumptions_for(settings.variety, crops),
        target_t_ha=options.target_t_ha,
        minutes_per_vine=options.minutes_per_vine,
        cost_per_hour=options.cost_per_hour,
        pruning=options.last_pruning,
        seed=options.seed,
    )
    used = samples["used"].to_numpy(bool)
    said = []
    whole = 1.0 if len(zones) == 1 else np.nan  # a block's yield says nothing of how its zones differ
    load = block_load(harvest, zones, settings.block, options)
    for line in zones.to_dict("records"):
        taken = np.nan if harvest is None else zone_yield_kg(harvest, settings.block, line["zone"], share_of_pruning=whole)
        said.append(
            advise(
                line,
                settings,
                need=zone_need(findings.need, line["injury_factor"]),
                injury=findings.injury,
                samples=samples[used & (findings.sample_zone == line["zone"])],
                yield_kg=taken,
                block_load=load,
                options=chosen,
            )
        )
    return tuple(said)


def wood_of(settings: BlockSettings, options: PlanOptions) -> dict[str, Any]:
    """Lengths and numbers of the wood, keywords of `rules.fit_recipe`: the block's own before those of the run."""
    return {**options.wood, **settings.wood}


def block_crop(
    zones: gpd.GeoDataFrame,
    settings: BlockSettings,
    *,
    options: PlanOptions,
    crops: Sequence[CropAssumptions] = (),
) -> Crop | None:
    """Crop to expect of the block; None without figures for its cultivar, or without a number in some zone."""
    assumed = assumptions_for(settings.variety, crops)
    if assumed is None or zones["buds_per_vine"].isna().any():
        return None
    dead = zones[["injury_high", "injury_share", "injury_low"]].fillna(0.0).to_numpy()
    return expect_crop(
        zones["buds_per_vine"],
        zones["vines"],
        assumed,
        area_ha=zones["area_ha"],
        live=[Range(*(1.0 - line)) for line in dead],
        target_t_ha=options.target_t_ha,
        seed=options.seed,
    )


def block_notes(
    findings: Findings,
    zones: gpd.GeoDataFrame,
    crop: Crop | None,
    *,
    options: PlanOptions,
) -> tuple[Message, ...]:
    """What is said of the block as a whole: bud injury, crop and target, hours, missing and sick vines, replants.

    Past the stop limit the share dead and the stop itself are the verdict's reasons, and are not said again, and no hours
    are given; that parts have no number is said first (`alert_message`).
    """
    said = [] if crop is None else _crop_messages(crop)
    vines = findings.trellis.vines
    hours = plan_labour(
        int(zones["vines"].sum()),
        minutes_per_vine=options.minutes_per_vine,
        cost_per_hour=options.cost_per_hour,
    )
    labour = () if findings.without_number else (hours.message,)
    gone = int(vines["status"].isin(GONE).sum())
    injured: Iterable[Message] = ()
    if findings.injury.buds_cut:
        injured = findings.injury.messages[2 if findings.past_limit else 0 :]
    injured = [message for message in injured if message.key != "injury.stop_in_parts"]
    sick = int((vines["status"] == "diseased").sum())
    losses = (*loss_notes(missing_share(gone, len(vines))), *replant_notes(gone), *sick_notes(sick, len(vines)))
    return (*injured, *said, *labour, *losses)


def block_load(harvest: pd.DataFrame | None, zones: gpd.GeoDataFrame, block: str, options: PlanOptions) -> float:
    """The block's last yield over its pruning weight; NaN without a yield, or where it means nothing."""
    if harvest is None or options.last_pruning != "hand":
        return float("nan")
    pruned = float((zones["vines"] * zones["vine_size_kg"]).sum())
    return float(crop_load(block_yield_kg(harvest, block), pruned))


def _crop_messages(crop: Crop) -> list[Message]:
    low, mean, high = crop.block_t_ha
    _, total, _ = crop.block_total_kg
    said = [Message("plan.block_crop", {"low_t_ha": low, "crop_t_ha": mean, "high_t_ha": high, "total_t": total / 1000})]
    if np.isfinite(crop.chance_of_target):
        fields = {"target_t_ha": crop.target_t_ha, "percent": 100 * crop.chance_of_target}
        said.append(Message("plan.block_target", fields))
    return said


def variety_remarks(book: RuleBook, settings: BlockSettings) -> tuple[Remark, ...]:
    """Say when the rule book does not know the block's cultivar: nothing that hangs on it is then said."""
    if book.named_for(settings.variety):
        return ()
    fields = {"variety": settings.variety, "near": ", ".join(book.nearest_cultivars(settings.variety))}
    key = "plan.variety_near" if fields["near"] else "plan.variety_unknown"
    return (Remark("assumed", Message(key, fields), settings.block),)


def harvest_remarks(harvest: pd.DataFrame | None, block: str, zones: int) -> tuple[Remark, ...]:
    """Say how yields given by zone were used: they belong to zones of the same number, or to none."""
    if harvest is None:
        return ()
    given = sorted(int(zone) for zone in harvest.loc[harvest["block"] == block, "zone"].dropna().unique())
    remarks = [Remark("dropped", Message("plan.harvest_no_zone", {"zone": zone}), block) for zone in given if zone > zones]
    if any(zone <= zones for zone in given):
        remarks.append(Remark("assumed", Message("plan.harvest_zones"), block))
    return tuple(remarks)


def left_notes(left: pd.DataFrame | None, block: str) -> tuple[Message, ...]:
    """Tell what was really left in a block last winter, zone by zone of that winter; a table of `reading.read_left`."""
    if left is None:
        return ()
    here = left[left["block"] == block].sort_values("zone")
    return tuple(_left_note(line) for line in here.to_dict("records"))


def _left_note(line: Mapping[Hashable, Any]) -> Message:
    asked, low, high = (line[name] for name in ("buds_asked", "buds_left_low", "buds_left_high"))
    fields = {"zone": int(line["zone"]), "left": line["buds_left"], "asked": "", "range": ""}
    if np.isfinite(asked):
        fields["asked"] = Message("plan.left_asked", {"asked": asked})
    if np.isfinite([low, high]).all():
        fields["range"] = Message("plan.left_range", {"low": low, "high": high})
    return Message("plan.left_zone", fields)


def verdict_reasons(findings: Findings, *, given: bool) -> tuple[Message, ...]:
    """Why the block is zoned or not; `given` where its zones were drawn by others."""
    if findings.injury.stop:
        return findings.injury.messages[:2]
    if findings.past_limit:
        dead, _, *more = findings.injury.messages
        return (dead, *(message for message in more if message.key == "injury.stop_in_parts"))
    if findings.without_number:
        said = [zone_no_number(line, findings.need) for line in findings.zone_lines]
        reasons = [message for message in said if message is not None]
        return tuple(message for place, message in enumerate(reasons) if message not in reasons[:place])
    few = tuple(remark.message for remark in findings.surface.remarks if remark.message.key == TOO_FEW)
    return (*few, *findings.zoning.reasons) if given else few or findings.zoning.reasons


def plan_remarks(findings: Findings, advice: Sequence[ZoneAdvice], *, step: int) -> tuple[Remark, ...]:
    """What was assumed, dropped or extrapolated in planning the block, and what a person must look at first."""
    noted = [remark for remark in findings.surface.remarks if remark.message.key != TOO_FEW]
    noted += _capacity_remarks(advice, step)
    counted = findings.trellis.panels["counted"].to_numpy(float)
    vines = np.bincount(findings.zoning.panel_zone - 1, counted, minlength=findings.zones)
    small = float(vines @ renew_shares(findings) / vines.sum())
    if small > MOSTLY_SMALL:
        noted.append(Remark("warning", Message("plan.mostly_renew", {"percent": 100 * small})))
    noted += [Remark("assumed", message) for message in _given_names(findings)]
    if not findings.injury.buds_cut:
        noted.append(Remark("assumed", findings.injury.messages[0]))
    elif (
        not findings.injury.enough or findings.injury.stop or np.isnan(np.asarray(findings.buds_per_vine, dtype=float)).any()
    ):
        noted.append(Remark("warning", findings.injury.messages[1]))
    return tuple(replace(remark, block=findings.block) for remark in noted)


def _given_names(findings: Findings) -> list[Message]:
    """Which of the zones given each zone is: numbers go by vine size here, whatever they were."""
    names = findings.zoning.names
    if names == tuple(str(zone) for zone in range(1, len(names) + 1)):
        return []
    return [Message("plan.given_name", {"zone": zone, "name": name}) for zone, name in enumerate(names, start=1)]


def _capacity_remarks(advice: Sequence[ZoneAdvice], step: int) -> list[Remark]:
    recipes = {entry.zone: entry.recipe for entry in advice if entry.recipe is not None}
    messages = [
        Message("plan.over_capacity", {"zone": zone, "buds": recipe.requested, "capacity": recipe.capacity})
        for zone, recipe in recipes.items()
        if not recipe.fits
    ]
    caps = {note.fields["cap"] for entry in advice for note in entry.notes if note.key == "rules.step_cap"}
    capacities = {recipe.capacity for recipe in recipes.values()}
    messages += [
        Message("plan.held_by_wood", {"capacity": capacity, "cap": cap})
        for capacity in capacities
        for cap in caps
        if cap <= capacity < cap + step
    ]
    return [Remark("warning", message) for message in messages]
