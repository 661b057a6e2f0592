"""The order of the steps: from a vineyard to the plan of each block."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from geoprune.covariates import Covariate
from geoprune.layers import Vineyard, check_vineyard
from geoprune.learned import Learned
from geoprune.plan.advice import (
    advise_zones,
    block_crop,
    block_notes,
    harvest_remarks,
    left_notes,
    plan_remarks,
    verdict_reasons,
    wood_of,
)
from geoprune.plan.estate import Voice, hear
from geoprune.plan.given import GivenZones
from geoprune.plan.preparing import Prepared, SideInputs, prepare_blocks
from geoprune.plan.shape import Benefit, BlockPlan, BlockSettings, PlanOptions
from geoprune.plan.tables import (
    Findings,
    alternative_table,
    flag_table,
    named,
    panel_table,
    replant_table,
    run_table,
    sample_table,
    vine_table,
    zone_table,
)
from geoprune.rules import CropAssumptions, RuleBook, Training, countable_counts, load_rules
from geoprune.surface import Spoken, fit_surface, next_vines
from geoprune.threads import run_parts
from geoprune.zones import ZoneOptions, draw_zones, judge_zones


def make_plan(
    vineyard: Vineyard,
    *,
    options: PlanOptions | None = None,
    block_options: Mapping[str, PlanOptions] | None = None,
    book: RuleBook | None = None,
    trainings: Mapping[str, Training] | None = None,
    crops: Sequence[CropAssumptions] = (),
    harvest: pd.DataFrame | None = None,
    covariates: Sequence[Covariate] = (),
    given_zones: GivenZones | None = None,
    scores: pd.DataFrame | None = None,
    earlier: Sequence[Learned] = (),
    left: pd.DataFrame | None = None,
    progress: Callable[[str], None] = lambda name: None,
) -> tuple[BlockPlan, ...]:
    """Plan every block of a vineyard.

    Parameters
    ----------
    vineyard : Vineyard
    options : PlanOptions, optional
    block_options : mapping, optional
        Block -> its own options, where they differ; blocks that are not there are passed over.
    book : RuleBook, optional
        The rules a block may name; the published ones when not given.
    trainings : mapping, optional
        The training systems a block may name, as `rules.load_trainings` gives them; those of geoprune when not given.
    crops : sequence of CropAssumptions
        Figures to expect a crop from; none is expected for a cultivar without them.
    harvest : DataFrame, optional
        Last yields, as `reading.check_harvest` returns them.
    covariates : sequence of Covariate
        Layers that may explain vine size; each is used where it earns its place.
    given_zones : GivenZones, optional
        Zones drawn by others, judged in place of ours in the blocks they cover.
    scores : DataFrame, optional
        Quick scores of vines (block, row, vine, score), a covariate of the blocks they stand in.
    earlier : sequence of Learned
        What earlier winters, or blocks that are not in the vineyard, said of range and nugget share (`plan.model.learned`,
        or `reading.read_earlier`); they are heard like the vineyard's own blocks.
    left : DataFrame, optional
        What was really left last winter, as `reading.read_left` returns it; reported, and not reckoned with.
    progress : callable
        Called with a block's name when it is begun.

    Raises
    ------
    DataError
        With the problems of all blocks; nothing is planned by halves.
    """
    chosen = options or PlanOptions()
    side_inputs = SideInputs(tuple(crops), harvest, tuple(covariates), given_zones, scores, tuple(earlier), left)
    choices: dict[str, Any] = {"options": chosen, "block_options": block_options, "book": book or load_rules()}
    prepared = prepare_blocks(check_vineyard(vineyard), side_inputs, **choices, trainings=trainings)
    spoken = run_parts(Voice.speak, [block.voice for block in prepared]) if len(prepared) > 1 else [None]
    return plan_blocks(listening(prepared, spoken, side_inputs), side_inputs, progress=progress)


def listening(prepared: Sequence[Prepared], spoken: Sequence[Spoken | None], side_inputs: SideInputs) -> list[Prepared]:
    """Give each block what the others said (None where one said nothing), and earlier winters."""
    heard = hear(spoken, side_inputs.earlier)
    return [replace(block, heard=one) for block, one in zip(prepared, heard, strict=True)]


def plan_blocks(
    prepared: Sequence[Prepared],
    side_inputs: SideInputs,
    *,
    progress: Callable[[str], None] = lambda name: None,
) -> tuple[BlockPlan, ...]:
    """Plan blocks that were checked and laid out, several at a time; `progress` is called when one is begun."""

    def plan(block: Prepared) -> BlockPlan:
        progress(block.settings.block)
        return plan_block(block, side_inputs)

    return tuple(run_parts(plan, prepared))


def plan_block(block: Prepared, side_inputs: SideInputs) -> BlockPlan:
    """Plan one block that was checked and laid out."""
    name, settings, options = block.settings.block, block.settings, block.options
    findings = findings_of(block)
    surface, zoning, rows = findings.surface, findings.zoning, block.trellis.rows
    following = next_vines(surface, block.trellis, block.need)
    zones, sampled = zone_table(findings), sample_table(findings)
    advice = advise_zones(findings, zones, sampled, options=options, crops=side_inputs.crops, harvest=side_inputs.harvest)
    zones["diagnosis"] = [entry.diagnosis_key for entry in advice]
    zones["recipe"] = [entry.recipe.text.replace("×", "x") if entry.recipe else "" for entry in advice]
    remarks = (*block.remarks, *block.heard.remarks(name), *harvest_remarks(side_inputs.harvest, name, findings.zones))
    crop = block_crop(zones, settings, options=options, crops=side_inputs.crops)
    return BlockPlan(
        name=name,
        settings=settings,
        polygon=block.polygon,
        crs=block.crs,
        verdict=zoning.verdict,
        verdict_reasons=verdict_reasons(findings, given=block.labels is not None),
        buds_per_vine=None if findings.without_number else findings.countable(int(zoning.one_number)),
        vine_size_kg=surface.block_mean_kg,
        vine_size_se_kg=surface.block_mean_se_kg,
        loo_rmse_kg=surface.loo_rmse_kg,
        mean_rmse_kg=surface.mean_rmse_kg,
        rows=named(name, rows.assign(panels=np.bincount(block.trellis.panels["row_order"], minlength=len(rows)))),
        zones=zones,
        panels=panel_table(findings),
        vines=vine_table(findings),
        samples=sampled,
        replant_areas=replant_table(findings),
        flags=flag_table(findings),
        alternative=alternative_table(findings),
        runs=run_table(findings),
        next_vines=named(name, following.vines),
        advice=advice,
        surface_grid=surface.grid,
        benefit=Benefit(surface.benefit, zoning.benefit),
        model=surface.model,
        diagnostics=replace(surface.diagnostics, weigh_more=following.weigh_more),
        remarks=(*remarks, *plan_remarks(findings, advice, step=options.zones.bud_step or 1)),
        rule=block.rule,
        injury=block.injury,
        crop=crop,
        notes=(*block_notes(findings, zones, crop, options=options), *left_notes(side_inputs.left, name)),
        options=options,
    )


def findings_of(block: Prepared) -> Findings:
    """Estimate a block's vine size and draw its zones; those given by others are judged in place of ours."""
    trellis, need = block.trellis, block.need
    surface = fit_surface(
        trellis,
        block.samples,
        block=block.settings.block,
        seed=block.options.seed,
        checked=block.checked,
        prior=block.heard.prior,
        shape=block.heard.shape,
        outline=block.polygon,
    )
    chosen = zone_options(block.settings, block.options)
    zoning = draw_zones(trellis, surface.draws, need, pattern=surface.pattern, options=chosen)
    if block.labels is not None:
        zoning = judge_zones(trellis, surface.draws, need, block.labels, zoning, options=chosen)
    return Findings(block.settings, block.polygon, trellis, block.samples, surface, zoning, need, block.injury)


def zone_options(settings: BlockSettings, options: PlanOptions) -> ZoneOptions:
    """The choices of a block's drawing: the counts its wood is left with all alike, unless a step is asked for."""
    counts = countable_counts(settings.system, settings.vine_spacing_m, **wood_of(settings, options))
    return replace(options.zones, counts=counts, minutes_per_vine=options.minutes_per_vine)
