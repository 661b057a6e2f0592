"""The order of the steps: from a vineyard to the plan of each block."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from shapely import MultiPolygon

from geoprune.covariates import Covariate
from geoprune.errors import DataError, Problem, Problems, Remark
from geoprune.layers import Vineyard, check_vineyard
from geoprune.learned import Learned
from geoprune.plan.advice import (
    advise_zones,
    block_crop,
    block_notes,
    harvest_remarks,
    left_notes,
    plan_remarks,
    variety_remarks,
    verdict_reasons,
    wood_of,
)
from geoprune.plan.estate import Heard, Voice, hear
from geoprune.plan.given import GivenZones, find_given
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
from geoprune.rules import (
    BudNeed,
    CropAssumptions,
    Injury,
    Rule,
    RuleBook,
    Training,
    assess_injury,
    countable_counts,
    fit_recipe,
    load_rules,
    measured_wood,
)
from geoprune.surface import Checked, Spoken, check_observations, fit_surface, next_vines, row_bearing, score_covariate
from geoprune.threads import run_parts
from geoprune.trellis import Trellis, build_trellis, left_out_remarks, middle_points, place_samples
from geoprune.zones import GivenLabels, ZoneOptions, draw_zones, judge_zones

#: Columns of the blocks layer that describe the wood.
WOOD_COLUMNS = (
    *("cordon_length_m", "cane_length_m", "spur_spacing_mm", "node_spacing_mm"),
    *("canes", "buds_per_cane", "buds_per_spur", "renewal_spurs", "buds_per_renewal_spur"),
)


@dataclass(frozen=True, eq=False)
class SideInputs:
    """What may be given beside the vineyard; see `make_plan`."""

    crops: tuple[CropAssumptions, ...] = ()
    harvest: pd.DataFrame | None = None
    covariates: tuple[Covariate, ...] = ()
    given_zones: GivenZones | None = None
    scores: pd.DataFrame | None = None
    earlier: tuple[Learned, ...] = ()
    left: pd.DataFrame | None = None


@dataclass(frozen=True, eq=False)
class Prepared:
    """One block, checked and laid out, before anything is estimated; `heard` is what it takes from the others."""

    settings: BlockSettings
    options: PlanOptions
    polygon: MultiPolygon
    crs: CRS
    rule: Rule
    trellis: Trellis
    samples: gpd.GeoDataFrame
    injury: Injury
    need: BudNeed
    checked: Checked
    labels: GivenLabels | None
    remarks: tuple[Remark, ...]
    heard: Heard = field(default_factory=Heard)

    @property
    def voice(self) -> Voice:
        """What the block may tell the others."""
        return Voice(self.settings.block, self.checked, row_bearing(self.trellis))


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


def prepare_blocks(
    vineyard: Vineyard,
    side_inputs: SideInputs,
    *,
    options: PlanOptions,
    block_options: Mapping[str, PlanOptions] | None = None,
    book: RuleBook,
    trainings: Mapping[str, Training] | None = None,
    keep: Callable[[Prepared], None] | None = None,
) -> list[Prepared]:
    """Check and lay out all blocks that have samples, and hold what is given beside the vineyard against each.

    A block has its own options where `block_options` holds some, else `options`; `trainings` as `rules.load_trainings`
    gives them. Where `keep` is given it gets each block as soon as it is laid out, and none is returned.

    Raises
    ------
    DataError
        With the problems of all blocks.
    """
    file, samples_file = [source.name for source in (*vineyard.sources[:1], *vineyard.sources[-1:])] or ("", "")
    problems = Problems(rule_problems(vineyard.blocks, book))
    weighed, own = set(vineyard.samples["block"]), block_options or {}
    prepared: list[Prepared] = []
    keep = keep or prepared.append
    for name in vineyard.blocks["block"]:
        if name not in weighed:
            continue
        before = len(problems)
        choices: dict[str, Any] = {"options": own.get(name, options), "book": book, "trainings": trainings or {}}
        block = _prepare(vineyard, name, side_inputs, problems=problems, **choices)
        if block is not None:
            keep(block)
        home = vineyard.of(name).file
        problems[before:] = [
            one if one.layer == "samples" else replace(one, file=one.file or home) for one in problems[before:]
        ]
    files = dict.fromkeys(("blocks", "rows", "vines", "bud_checks"), file) | {"samples": samples_file}
    Problems(replace(problem, file=problem.file or files.get(problem.layer, "")) for problem in problems).stop()
    return prepared


def rule_problems(blocks: pd.DataFrame, book: RuleBook, *, file: str = "") -> list[Problem]:
    """Return what is wrong with the rules that blocks name; `blocks` has block, rule and variety."""
    problems = Problems()
    for entry in blocks.to_dict("records"):
        problems.gather(_rule, book, entry, file=file)
    return problems


def _rule(book: RuleBook, entry: Mapping[str, Any], *, season: int | None = None, file: str = "") -> Rule:
    """The rule a block names; what is wrong with it is reported with the block's name."""
    try:
        return book.resolve(entry["rule"], entry["variety"], planted=_whole(entry.get("planted")), season=season)
    except DataError as error:
        place = f"block '{entry['block']}'"
        raise DataError(replace(problem, file=file, layer="blocks", row=place) for problem in error.problems) from None


def plan_block(block: Prepared, side_inputs: SideInputs) -> BlockPlan:
    """Plan one block that was checked and laid out."""
    settings, options, trellis, injury = block.settings, block.options, block.trellis, block.injury
    name = settings.block
    need, labels = block.need, block.labels
    surface = fit_surface(
        trellis,
        block.samples,
        block=name,
        seed=options.seed,
        checked=block.checked,
        prior=block.heard.prior,
        shape=block.heard.shape,
        outline=block.polygon,
    )
    chosen = zone_options(settings, options)
    ours = draw_zones(trellis, surface.draws, need, pattern=surface.pattern, options=chosen)
    zoning = ours if labels is None else judge_zones(trellis, surface.draws, need, labels, ours, options=chosen)
    following = next_vines(surface, trellis, need)
    findings = Findings(settings, block.polygon, trellis, block.samples, surface, zoning, need, injury)
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
        verdict_reasons=verdict_reasons(findings, given=labels is not None),
        buds_per_vine=None if findings.without_number else findings.countable(int(zoning.one_number)),
        vine_size_kg=surface.block_mean_kg,
        vine_size_se_kg=surface.block_mean_se_kg,
        loo_rmse_kg=surface.loo_rmse_kg,
        mean_rmse_kg=surface.mean_rmse_kg,
        rows=named(name, trellis.rows.assign(panels=np.bincount(trellis.panels["row_order"], minlength=len(trellis.rows)))),
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
        injury=injury,
        crop=crop,
        notes=(*block_notes(findings, zones, crop, options=options), *left_notes(side_inputs.left, name)),
        options=options,
    )


def zone_options(settings: BlockSettings, options: PlanOptions) -> ZoneOptions:
    """The choices of a block's drawing: the counts its wood is left with all alike, unless a step is asked for."""
    counts = countable_counts(settings.system, settings.vine_spacing_m, **wood_of(settings, options))
    return replace(options.zones, counts=counts, minutes_per_vine=options.minutes_per_vine)


def bud_need_within(settings: BlockSettings, rule: Rule, injury: Injury, options: PlanOptions) -> BudNeed:
    """The block's need of buds, held to what the wood of a vine can carry; in whole steps where a step is asked for.

    A cap of the rule or of the grower that lies lower stays; a floor is never undercut.
    """
    need = BudNeed(rule, injury_factor=injury.need_factor, floor=options.floor, cap=options.cap)
    capacity = fit_recipe(0, settings.system, settings.vine_spacing_m, **wood_of(settings, options)).capacity
    step = options.zones.bud_step or 1
    held = max(capacity // step * step, step, need.floor or 0)
    return need if need.cap is not None and need.cap <= held else replace(need, cap=float(held))


def _prepare(
    vineyard: Vineyard,
    name: str,
    side_inputs: SideInputs,
    *,
    options: PlanOptions,
    book: RuleBook,
    trainings: Mapping[str, Training],
    problems: Problems,
) -> Prepared | None:
    """One block laid out, with what is given beside it; None where something does not fit, and `problems` says what."""
    whole, vineyard = vineyard, vineyard.alone(name)
    entry, weighed = vineyard.blocks.iloc[0], vineyard.samples
    season = _whole(weighed["season"].max())
    rule = problems.gather(_rule, book, entry, season=season)
    trellis = problems.gather(build_trellis, vineyard, name)
    if trellis is None:
        return None
    polygon, layers = _multi(entry.geometry), list(side_inputs.covariates)
    given = problems.gather(find_given, side_inputs.given_zones, trellis, polygon, name)
    here = None if side_inputs.scores is None else side_inputs.scores[side_inputs.scores["block"] == name]
    if here is not None and len(here):
        layers += [layer] if (layer := problems.gather(score_covariate, trellis, here, file="scores")) is not None else []
    samples = problems.gather(place_samples, weighed, trellis)
    checked = (
        None if samples is None else problems.gather(check_observations, trellis, samples, block=name, covariates=layers)
    )
    if rule is None or samples is None or checked is None or given is None:
        return None
    settings = _settings(entry, rule, trellis, trainings)
    measured, measured_said = measured_wood(samples.loc[samples["used"], "internode_mm"], settings.system)
    settings = replace(settings, wood={**measured, **options.wood, **settings.wood})
    checks = vineyard.bud_checks
    injury = assess_injury(
        None if checks is None else checks[checks["block"] == name],
        method=options.injury_method,
        panel_midpoints=middle_points(trellis.panels),
        variety=settings.variety,
        seed=options.seed,
    )
    need = problems.gather(bud_need_within, settings, rule, injury, options)
    if need is None:
        return None
    labels, given_remarks = given
    read = (remark for remark in whole.remarks if remark.block == name)
    remarks = (
        *(*read, *variety_remarks(book, settings), *left_out_remarks(samples, trellis, block=name)),
        *given_remarks,
        *(Remark("assumed", message, name) for message in measured_said if settings.wood == {**settings.wood, **measured}),
    )
    return Prepared(settings, options, polygon, vineyard.crs, rule, trellis, samples, injury, need, checked, labels, remarks)


def _settings(entry: pd.Series, rule: Rule, trellis: Trellis, trainings: Mapping[str, Training]) -> BlockSettings:
    panels, training = trellis.panels, str(entry["training"])
    own = trainings.get(training)
    return BlockSettings(
        block=entry["block"],
        variety=str(entry["variety"]),
        rule=rule.name,
        training=training,
        training_as_given=str(entry.get("training_as_given") or ""),
        own_training=own if own is not None and own.own else None,
        posts_surveyed=trellis.posts_surveyed,
        row_spacing_m=float(entry["row_spacing_m"]),
        vine_spacing_m=float(entry["vine_spacing_m"]),
        vines_per_panel=int((panels["last_vine"] - panels["first_vine"]).max()) + 1,
        planted=_whole(entry.get("planted")),
        wood=_wood(entry),
        farm=_text(entry.get("farm")),
    )


def _wood(entry: pd.Series) -> dict[str, float]:
    """The block's own lengths and numbers of wood as keywords of `rules.fit_recipe`."""
    own = {name: float(entry[name]) for name in WOOD_COLUMNS if name in entry and not pd.isna(entry[name])}
    counts = {name: int(value) for name, value in own.items() if not name.endswith(("_m", "_mm"))}
    lengths = {name.removesuffix("m"): value / 1000 for name, value in own.items() if name.endswith("_mm")}
    return counts | lengths | {name: value for name, value in own.items() if name.endswith("_m")}


def _multi(geometry: shapely.Geometry) -> MultiPolygon:
    return MultiPolygon([part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"])


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value)


def _whole(value: Any) -> int | None:
    return None if value is None or pd.isna(value) else int(np.round(float(value)))
