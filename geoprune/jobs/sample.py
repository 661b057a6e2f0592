"""A weighing plan for every block of a vineyard, from files to files."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.covariates import Covariate
from geoprune.deliver.edition import Style
from geoprune.deliver.field import estate_of, field_block_from_tables, render_field_page, season_of
from geoprune.deliver.folders import block_folders
from geoprune.deliver.weighing import write_weigh_lists
from geoprune.deliver.weighing.pages import (
    FIELD_SHEETS,
    field_sheet_html,
    field_sheet_pdf,
    weigh_list_html,
    weigh_list_pdf,
    weigh_plan_html,
)
from geoprune.errors import DataError, Message, Problem, Problems, Remark
from geoprune.jobs.inputs import Ground, found_remark, note_settings, read_covariates, read_ground, read_zones_of
from geoprune.jobs.runner import Progress
from geoprune.layers import Source
from geoprune.plan import GivenZones
from geoprune.plan.given import find_given
from geoprune.reading import Faults
from geoprune.reading.earlier import read_earlier_blocks
from geoprune.rules import Rule
from geoprune.sampling import SampleOptions, VineModel, WeighList, assumed_model, earlier_model, make_weigh_list
from geoprune.settings import Settings
from geoprune.sources import sources_noted
from geoprune.threads import run_parts
from geoprune.trellis import Trellis, build_trellis

#: The rule's slope is taken between these shares of the mean vine size, where most vines of a block lie (design choice).
AROUND_MEAN = (0.7, 1.3)


@dataclass(frozen=True)
class SampleRequest:
    """What a weighing plan is asked for: how many and how; CV of single vines and mean vine size, where known."""

    options: SampleOptions = field(default_factory=SampleOptions)
    cv: float | None = None
    mean_kg: float | None = None


@dataclass(frozen=True, eq=False)
class SamplePlan:
    """The lists of all blocks with the rows they lie in, and what was read and assumed."""

    lists: tuple[WeighList, ...]
    trellises: tuple[Trellis, ...]
    varieties: tuple[str, ...]
    options: SampleOptions
    sources: tuple[Source, ...]
    remarks: tuple[Remark, ...]


@dataclass(frozen=True, eq=False)
class _Block:
    """A block ready to be planned."""

    name: str
    variety: str
    trellis: Trellis
    rule: Rule
    model: VineModel
    zones: NDArray[np.object_] | None
    covariates: Mapping[str, NDArray]


@dataclass(frozen=True, eq=False)
class _SideInputs:
    """What was read beside the vineyard: layers, models of earlier winters, zones."""

    layers: tuple[Covariate, ...]
    earlier: Mapping[str, VineModel]
    zones: GivenZones | None


def plan_sampling(
    vineyard: Path,
    settings: Settings | None = None,
    *,
    request: SampleRequest | None = None,
    progress: Progress | None = None,
) -> SamplePlan:
    """Read a vineyard and choose the places to weigh in every block.

    Parameters
    ----------
    vineyard : Path
        File with blocks, and rows or spacing; its samples, and those that the settings name, are not read.
    settings : Settings, optional
        How the file is read; the rule, earlier winters, zones that each get their share, layers whose range is covered.
    request : SampleRequest, optional
    progress : callable, optional
        Called when a block is begun: its name, how many were before it, how many there are.

    Raises
    ------
    DataError
        With every problem of all files.
    """
    settings, request, faults = settings or Settings(), request or SampleRequest(), Faults()
    found = faults.problems
    with sources_noted() as sources:
        ground = read_ground(vineyard, settings, faults, need_samples=False)
        layers, earlier = read_covariates(ground, found), read_earlier_models(settings.files.earlier, faults)
        side_inputs = _SideInputs(layers, earlier, read_zones_of(ground, found) if ground.sound else None)
        note_settings(ground.settings)
    found.stop()
    remarks = [*found_remark(ground.settings), *faults.remarks]
    entries = ground.vineyard.blocks.to_dict("records")
    prepared = [_prepare(entry, ground, vineyard.name, request, side_inputs, found, remarks) for entry in entries]
    found.stop()
    blocks = [block for block in prepared if block is not None]
    lists = run_parts(partial(_plan, request=request, progress=progress, total=len(blocks)), list(enumerate(blocks)))
    trellises, varieties = tuple(block.trellis for block in blocks), tuple(block.variety for block in blocks)
    return SamplePlan(tuple(lists), trellises, varieties, request.options, tuple(sources), tuple(remarks))


def read_earlier_models(files: tuple[Path, ...], faults: Faults) -> dict[str, VineModel]:
    """Read how vine size was modelled in earlier winters, of every block whose figures can be used."""
    models = {
        name: earlier_model(block.vine_size_kg, block.variance_kg2, nugget_share=block.nugget_share, range_m=block.range_m)
        for name, block in read_earlier_blocks(files, faults).items()
    }
    return {name: model for name, model in models.items() if model is not None}


def _plan(numbered: tuple[int, _Block], *, request: SampleRequest, progress: Progress | None, total: int) -> WeighList:
    begun, block = numbered
    if progress is not None:
        progress(block.name, begun, total)
    size = block.model.mean_kg * np.array(AROUND_MEAN)
    buds = block.rule.buds(size)
    return make_weigh_list(
        block.trellis,
        block.model,
        float((buds[1] - buds[0]) / (size[1] - size[0])),
        block=block.name,
        options=request.options,
        zones=block.zones,
        covariates=block.covariates,
    )


def write_sampling(plan: SamplePlan, out: Path, *, style: Style | None = None, force: bool = False) -> Path:
    """Write pages, lists, layer, waypoints and tables of a weighing plan into the folder `out`, whole or not at all."""
    style, folders = style or Style(), block_folders(weigh_list.name for weigh_list in plan.lists)
    pages: dict[str, str | bytes] = {"index.html": weigh_plan_html(plan.lists, folders, style)}
    for name, sheet in FIELD_SHEETS.items():
        pages |= {f"{name}.html": field_sheet_html(sheet, style), f"{name}.pdf": field_sheet_pdf(sheet, style)}
    for weigh_list, trellis, variety in zip(plan.lists, plan.trellises, plan.varieties, strict=True):
        pages[f"{folders[weigh_list.name]}/weigh_list.html"] = weigh_list_html(weigh_list, plan.options, style)
        pages[f"{folders[weigh_list.name]}/weigh_list.pdf"] = weigh_list_pdf(weigh_list, plan.options, style)
        pages[f"{folders[weigh_list.name]}/field.html"] = _field_page(
            weigh_list, trellis, variety, estate_of(plan.sources), style
        )
    return write_weigh_lists(
        plan.lists,
        out,
        options=plan.options,
        pages=pages,
        sources=plan.sources,
        remarks=plan.remarks,
        style=style,
        force=force,
    )


def _field_page(weigh_list: WeighList, trellis: Trellis, variety: str, estate: str, style: Style) -> str:
    """The page for the phone, with the vines to weigh; what they weigh is expected only where it is known from somewhere."""
    mean, vines = weigh_list.model.mean_kg, trellis.vines
    if weigh_list.model.source != "assumed":
        vines = vines.assign(vine_size_kg=mean, vine_size_se_kg=weigh_list.model.cv() * mean)
    block = field_block_from_tables(
        weigh_list.name,
        season=season_of(trellis.vines, style.made),
        rows=trellis.rows,
        runs=pd.DataFrame({"row": [], "bands": []}),
        vines=vines,
        weigh=weigh_list.table,
        variety=variety,
        estate=estate,
    )
    return render_field_page(block, language=style.reader.language, units=style.reader.units)


def _prepare(
    entry: Mapping[Any, Any],
    ground: Ground,
    file: str,
    request: SampleRequest,
    side_inputs: _SideInputs,
    found: Problems,
    remarks: list[Remark],
) -> _Block | None:
    """One block laid out, with what is believed of it; None where something does not fit, and `found` says what."""
    name, data = str(entry["block"]), ground.vineyard
    assert ground.book is not None
    trellis = found.gather(_in_file, file, build_trellis, data, name)
    rule = found.gather(_in_file, file, ground.book.resolve, entry["rule"], entry["variety"])
    if trellis is None or rule is None:
        return None
    labels = found.gather(find_given, side_inputs.zones, trellis, entry["geometry"], name)
    if labels is None:
        return None
    zones = None
    if labels[0] is not None:
        zones = np.array(labels[0].names, dtype=object)[labels[0].panel_zone - 1][trellis.vines["panel_id"].to_numpy()]
    remarks += labels[1]
    points = shapely.get_coordinates(trellis.vines.geometry.to_numpy())
    values = {layer.name: _filled(found.gather(layer.at, points, data.crs)) for layer in side_inputs.layers}
    model = side_inputs.earlier.get(name)
    if model is None:
        model = assumed_model(trellis.vine_spacing_m, cv=request.cv, mean_kg=request.mean_kg)
        if ground.settings.files.earlier:
            remarks.append(Remark("assumed", Message("sampling.earlier_unknown"), name))
    kept = {n: v for n, v in values.items() if v is not None}
    return _Block(name, str(entry["variety"]), trellis, rule, model, zones, kept)


def _in_file(file: str, step: Callable[..., Any], *args: Any) -> Any:
    """Run a step, its problems reported with the file's name."""
    try:
        return step(*args)
    except DataError as error:
        problems: list[Problem] = [replace(problem, file=problem.file or file) for problem in error.problems]
        raise DataError(problems) from None


def _filled(values: NDArray | None) -> NDArray | None:
    """A layer's values; words that are missing are one word."""
    if values is None or values.dtype != object:
        return values
    return np.where(pd.isna(values), "", values).astype(object)
