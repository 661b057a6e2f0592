"""Blocks checked and laid out, with what is given beside the vineyard, before anything is estimated."""

from __future__ import annotations

from collections.abc import Callable, Mapping
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
from geoprune.layers import Vineyard
from geoprune.learned import Learned
from geoprune.plan.advice import variety_remarks, wood_of
from geoprune.plan.estate import Heard, Voice
from geoprune.plan.given import GivenZones, find_given
from geoprune.plan.shape import BlockSettings, PlanOptions
from geoprune.rules import (
    BudNeed,
    CropAssumptions,
    Injury,
    Rule,
    RuleBook,
    Training,
    assess_injury,
    fit_recipe,
    measured_wood,
)
from geoprune.surface import Checked, check_observations, row_bearing, score_covariate
from geoprune.trellis import Trellis, build_trellis, left_out_remarks, middle_points, place_samples
from geoprune.zones import GivenLabels

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
    injury = _injury(vineyard, trellis, settings, options)
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


def _injury(vineyard: Vineyard, trellis: Trellis, settings: BlockSettings, options: PlanOptions) -> Injury:
    checks = vineyard.bud_checks
    return assess_injury(
        None if checks is None else checks[checks["block"] == settings.block],
        method=options.injury_method,
        panel_midpoints=middle_points(trellis.panels),
        variety=settings.variety,
        seed=options.seed,
    )


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
