"""All files of a job read and held against each other; the problems of all of them are reported together."""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from geoprune.covariates import Covariate, read_covariate
from geoprune.errors import DataError, Message, Problems, Remark
from geoprune.jobs.options import block_options, plan_options
from geoprune.jobs.shelf import Shelf
from geoprune.layers import Source, Vineyard
from geoprune.plan import GivenZones, PlanOptions, SideInputs, prepare_blocks, rule_problems
from geoprune.plan.preparing import WOOD_COLUMNS, Prepared
from geoprune.reading import (
    Faults,
    add_earlier_weights,
    clean_name,
    earlier_folders,
    read_earlier,
    read_given_zones,
    read_harvest,
    read_left,
    read_scores,
    read_vineyard,
)
from geoprune.reading.declared import Declared
from geoprune.rules import RuleBook, Training, find_training, load_crop_assumptions, load_rules, load_trainings
from geoprune.settings import BLOCK_COLUMNS, Settings, match_blocks
from geoprune.sources import read_bytes, sources_noted


@dataclass(frozen=True, eq=False)
class Inputs:
    """What a job works on.

    Attributes
    ----------
    vineyard : Vineyard
        As read, with what the settings say of a block in place of what the file says.
    settings : Settings
        Blocks named as in the vineyard.
    side_inputs : SideInputs
    prepared : sequence of Prepared
        Every block that has samples, checked and laid out, each with its options.
    options : PlanOptions
        Those of the vineyard.
    sources : tuple of Source
        All files, with their digests.
    folder : str
        What the folder is called that holds the vineyard's files; "" for one file.
    """

    vineyard: Vineyard
    settings: Settings
    side_inputs: SideInputs
    prepared: Sequence[Prepared]
    options: PlanOptions
    sources: tuple[Source, ...]
    folder: str = ""


@dataclass(frozen=True, eq=False)
class Ground:
    """A vineyard as every job reads it; `sound` says that nothing was wrong. Blocks of `settings` are named as in it."""

    vineyard: Vineyard
    settings: Settings
    book: RuleBook | None
    trainings: Mapping[str, Training] | None
    sound: bool


def read_ground(path: Path, settings: Settings, faults: Faults, *, need_samples: bool = True) -> Ground:
    """Read a vineyard as its settings say it is to be read; what is wrong is noted in `faults`.

    Parameters
    ----------
    path : Path
        The vineyard file.
    settings : Settings
    faults : Faults
    need_samples : bool
        False where vines are yet to be weighed, or weights are looked at apart.
    """
    found = faults.problems
    book = found.gather(load_rules, settings.files.rules)
    trainings = found.gather(load_trainings, settings.files.trainings)
    before = len(found)
    choices = reading_choices(settings, book, found, trainings)
    if not need_samples:
        choices["samples"] = None  # bud checks are read even so: what is wrong with them is better known now
    data = read_vineyard(path, faults=faults, need_samples=need_samples, **choices)
    sound = len(found) == before
    settings = _matched(settings, data, found, vineyard=path.name, given=choices["block_values"])
    return Ground(data, settings, book, trainings, sound)


def declared_of(settings: Settings) -> Declared:
    """Return what settings declare of every table beside the vineyard."""
    return Declared(settings.columns, settings.values, decimal_mark=settings.files.decimal_mark or "")


def read_covariates(ground: Ground, found: Problems) -> tuple[Covariate, ...]:
    """Read the layers that the settings name; what is wrong is noted in `found`."""
    around = ground.vineyard.blocks.geometry if ground.sound else None
    files = ground.settings.files.covariates.items()
    layers = [found.gather(read_covariate, *named, around=around) for named in files]
    return tuple(layer for layer in layers if layer is not None)


def read_zones_of(ground: Ground, found: Problems) -> GivenZones | None:
    """Read the zones that the settings name; what is wrong is noted in `found`."""
    files = ground.settings.files
    if files.zones_from is None:
        return None
    column = None if files.zones_column is None else clean_name(files.zones_column)
    read = partial(read_given_zones, layer=files.zones_layer, column=column, declared=declared_of(ground.settings))
    layer = found.gather(read, files.zones_from, ground.vineyard)
    return None if layer is None else GivenZones(layer, column, files.zones_from.name)


def read_inputs(path: Path, settings: Settings, *, shelf: Shelf | None = None) -> Inputs:
    """Read a vineyard and every file that its settings name, and lay out its blocks.

    Parameters
    ----------
    path : Path
        The vineyard file, or a folder of them.
    settings : Settings
    shelf : Shelf, optional
        Where blocks are put as they are laid out, and stay; a list if not given.

    Raises
    ------
    DataError
        With the problems of all files, and of all blocks.
    """
    with sources_noted() as sources:
        read = _read_inputs(path, settings, shelf)
        note_settings(settings)
    return replace(read, sources=tuple(sources), folder=path.resolve().name if path.is_dir() else "")


def _read_inputs(path: Path, settings: Settings, shelf: Shelf | None) -> Inputs:
    faults = Faults()
    found = faults.problems
    ground = read_ground(path, settings, faults)
    data, settings, files = ground.vineyard, ground.settings, settings.files
    heard: Mapping[Path, set[str]] = {}
    if ground.sound:
        data, heard = add_earlier_weights(data, earlier_folders(files.earlier), found)

    def read(file: Path | Sequence[Path] | None, reader: Callable[..., Any], *more: Any, **named: Any) -> Any:
        return None if file is None else found.gather(reader, file, *more, **named)

    declared = declared_of(settings)

    side_inputs = SideInputs(
        crops=read(files.crop_figures, load_crop_assumptions) or (),
        harvest=read(files.harvest, read_harvest, data, faults, declared=declared),
        covariates=read_covariates(ground, found),
        given_zones=read_zones_of(ground, found),
        scores=read(files.scores, read_scores, data, declared=declared),
        earlier=tuple(read(files.earlier or None, read_earlier, data.sources, heard) or ()),
        left=read(files.left, read_left, list(data.blocks["block"])) if len(data.blocks) else None,
    )
    data = replace(data, remarks=(*found_remark(settings), *faults.remarks))
    options = plan_options(settings)
    prepared = None
    if ground.sound and ground.book is not None:
        own = block_options(settings)
        given: dict[str, Any] = {"block_options": own, "book": ground.book, "trainings": ground.trainings}
        given |= {} if shelf is None else {"keep": shelf.append}
        prepared = found.gather(prepare_blocks, data, side_inputs, options=options, **given)
    elif ground.book is not None:
        found.keep(rule_problems(data.blocks, ground.book, file=path.name))
    found.stop()
    return Inputs(data, settings, side_inputs, (prepared or []) if shelf is None else shelf, options, data.sources)


def reading_choices(
    settings: Settings, book: RuleBook | None, found: Problems, trainings: Mapping[str, Training] | None = None
) -> dict[str, Any]:
    """Return what settings say of the vineyard file and its samples, as keywords of `reading.read_vineyard`.

    A rule or training of a block's that is none is noted in `found` with its place in the settings file, and left out.
    """
    files = settings.files
    given: dict[str, Any] = {
        "samples": files.samples,
        "bud_checks": files.bud_checks,
        "crs": files.crs,
        "decimal_mark": files.decimal_mark,
        "sheet": files.sheet,
    }
    given |= {"header_row": files.header_row or None, "columns": settings.columns, "values": settings.values}
    given |= {"layers": settings.layers, "trainings": trainings}
    checks: dict[str, Callable[[str], Any]] = {"training": partial(find_training, known=trainings)}
    checks |= {} if book is None else {"rule": book.resolve}
    own = {block: _as_columns(block, values, settings, checks, found) for block, values in settings.blocks.items()}
    return given | {"block_values": {block: values for block, values in own.items() if values}}


def _as_columns(
    block: str, own: Mapping[str, Any], settings: Settings, checks: Mapping[str, Callable[[str], Any]], found: Problems
) -> dict[str, Any]:
    """A block's settings that are columns of the layer of blocks, under the names they are read by."""
    columns = {}
    for key, value in own.items():
        try:
            checks.get(key, str)(value)
        except DataError as error:
            place = f'[block."{block}"] {key}'
            found.keep(replace(one, file=settings.file, layer="", row=place) for one in error.problems)
            continue
        if f"{key}m" in WOOD_COLUMNS:
            columns[f"{key}m"] = value * 1000.0  # spacings of spurs and buds are in mm there
        elif key in (*WOOD_COLUMNS, *BLOCK_COLUMNS):
            columns[key] = value
    return columns


def _matched(settings: Settings, data: Vineyard, found: Problems, *, vineyard: str, given: Container[str]) -> Settings:
    """Settings with blocks named as in the vineyard; blocks that there are not are noted, but those reading was `given`."""
    if not len(data.blocks):
        return settings
    match = partial(match_blocks, names=list(data.blocks["block"]), vineyard=vineyard)
    try:
        return match(settings)
    except DataError:
        found.gather(match, replace(settings, blocks={k: v for k, v in settings.blocks.items() if k not in given}))
        return replace(settings, blocks={})


def found_remark(settings: Settings) -> tuple[Remark, ...]:
    """Say which settings file was taken: it may have been found by itself."""
    if settings.source is None:
        return ()
    return (Remark("assumed", Message("settings.found", {"file": settings.file})),)


def note_settings(settings: Settings) -> None:
    """Note the settings file among the sources: it was read before the job began."""
    if settings.source is not None:
        read_bytes(settings.source, may_be_empty=True)
