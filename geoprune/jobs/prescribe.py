"""The whole job: reads every file, plans every block, draws the pages and writes the results."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from geoprune.brief import BlockBrief
from geoprune.deliver.edition import Style, provenance_of
from geoprune.deliver.folders import block_folders
from geoprune.deliver.writing.block import Results, vines_drawn
from geoprune.deliver.writing.folder import free_target, replace_folder
from geoprune.deliver.writing.output import ResultWriter, make_index
from geoprune.errors import DataError, Problem, Remark
from geoprune.jobs.block import BlockTask, task_of, work_block
from geoprune.jobs.inputs import Inputs, read_inputs
from geoprune.jobs.kept import KeptPlans
from geoprune.jobs.runner import Failure, Progress, map_blocks
from geoprune.jobs.shelf import Lazily, Shelf, empty_shelf
from geoprune.layers import Source
from geoprune.plan import EstatePlan, Heard, SideInputs, Voice, hear
from geoprune.processes import begin_early, block_processes
from geoprune.settings import Settings, settings_text
from geoprune.surface import Spoken
from geoprune.text import one_line
from geoprune.words import Reader, say

Item = TypeVar("Item")
Result = TypeVar("Result")
#: The effective settings among the results.
WRITTEN_SETTINGS = "settings.toml"


@dataclass(frozen=True, eq=False)
class Prescription:
    """What became of a job.

    Attributes
    ----------
    briefs : tuple of BlockBrief
        What is said of each block that was planned, in the file's order. Of its plan only small tables are there (zones,
        areas to replant): the others are in the results, and a vineyard may be large.
    remarks : tuple of Remark
        What is to be said of the vineyard as a whole.
    out : Path
    failures : tuple of Failure
    kept : tuple of str
        Blocks whose plan was kept from an earlier run.
    """

    briefs: tuple[BlockBrief, ...]
    remarks: tuple[Remark, ...]
    out: Path
    failures: tuple[Failure, ...] = ()
    kept: tuple[str, ...] = ()


def prescribe(
    vineyard: str | Path,
    out: str | Path,
    *,
    settings: Settings | None = None,
    force: bool = False,
    resume: bool = False,
    cores: int | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Prescription:
    """Plan every block of a vineyard file and write maps, sheets, tables and layers.

    Parameters
    ----------
    vineyard : str or Path
        GeoPackage, GeoJSON, zipped Shapefile or KML (docs/conventions.md), or a folder of such files.
    out : str or Path
        Folder that appears, whole or not at all.
    settings : Settings, optional
        The defaults where none are given; no settings file is looked for here (`settings.find_settings` does).
    force : bool
        Replace the results of an earlier run.
    resume : bool
        Keep the plan of every block as soon as it is made, and use those that a run into the same folder with `resume`
        kept where nothing that they were made from has changed since. Pages are made anew.
    cores : int, optional
        Work on so many blocks at a time, each in a process of its own; a script that asks for it must be guarded by
        `if __name__ == "__main__"`. By default threads of this process.
    executor : concurrent.futures.Executor, optional
        Where blocks are worked on instead, such as the client of a cluster. Plans are not kept then.
    progress : callable, optional
        See `jobs.map_blocks`.

    Returns
    -------
    Prescription
        A block that failed is among its `failures`, is warned of in the results, and has no folder in them.

    Raises
    ------
    DataError
        With every problem of settings and files, or of all blocks when every one failed; nothing is written then.
    OutputError
        If `out` may not be replaced or cannot be written.

    Notes
    -----
    Results do not depend on where and in how many parts the work is done.
    """
    settings = settings or Settings()
    if problems := [*settings.problems(), *choice_problems(settings)]:
        raise DataError(problems)
    vineyard, out = Path(vineyard), free_target(Path(out), force=force)
    if executor is None and cores is not None and cores > 1:
        begin_early()
    kept = KeptPlans.beside(out) if resume and executor is None else None
    with empty_shelf() as shelf:
        inputs = read_inputs(vineyard, settings, shelf=shelf)
        with workforce(cores, len(shelf), executor) as at_work:
            return _prescribe(inputs, shelf, out, force=force, kept=kept, at_work=at_work, progress=progress)


def _prescribe(
    inputs: Inputs,
    shelf: Shelf,
    out: Path,
    *,
    force: bool,
    kept: KeptPlans | None,
    at_work: Workforce,
    progress: Progress | None,
) -> Prescription:
    """Do the blocks one by one, each written as soon as it is done, then what all share."""
    heard = hear_all(shelf, inputs.side_inputs, executor=at_work.blocks)
    settings, style = inputs.settings, style_of(inputs.settings)
    estate = EstatePlan((), inputs.vineyard.layers_crs or inputs.vineyard.crs, settings.as_data(), (), inputs.sources)
    drawn = vines_drawn(shelf.vines)
    results, own = Results(style, provenance_of(estate), estate.crs, drawn=drawn), sources_by_block(inputs, shelf.names)
    if inputs.folder:
        origin = replace(results.provenance, sources=shared_sources(inputs), estate=inputs.folder)
        results = replace(results, provenance=origin)
    beside_planning = None if at_work.blocks is at_work.pages else at_work.pages
    work = partial(work_block, results=results, kept=kept, elsewhere=beside_planning)
    beside = {WRITTEN_SETTINGS: settings_text(settings, folder=out, language=settings.pages.language)}

    def task(position: int) -> BlockTask:
        block = replace(shelf[position], heard=heard[position])
        return task_of(block, inputs.side_inputs, own.get(shelf.names[position]))

    tasks = Lazily(len(shelf), task)
    folders = block_folders(shelf.names)
    said: list[Prescription] = []

    def fill(folder: Path) -> None:
        writer = ResultWriter(folder, out)
        keys: dict[str, str] = {}
        before: set[str] = set()
        failures: dict[int, Failure] = {}
        coming: list[tuple[str, Future[Mapping[str, bytes] | Failure]]] = []
        for outcome in map_blocks(work, tasks, name=_name, executor=at_work.blocks, progress=progress):
            if outcome.failure is not None:
                failures[outcome.position] = outcome.failure
            elif outcome.result is not None:
                writer.add(outcome.position, folders[outcome.block], outcome.result.output)
                if outcome.result.pages is not None:
                    coming.append((outcome.block, outcome.result.pages))
                keys[outcome.block] = outcome.result.key
                before |= {outcome.block} if outcome.result.kept else set()
        failed = tuple(failure for _, failure in sorted(failures.items()))
        if failed and not keys:
            raise DataError(_problem(failure) for failure in failed)
        remarks = [remark for remark in inputs.vineyard.remarks if not remark.block]
        remarks += [Remark("warning", failure.message) for failure in failed]
        finished = replace(estate, remarks=tuple(remarks))
        index = at_work.do(make_index, writer.index(finished, style))
        writer.join(style, elsewhere=None if at_work.blocks is None else at_work.pages)
        for block, pages in coming:
            made = pages.result()
            if isinstance(made, Failure):
                raise DataError([_problem(made)])
            writer.add_pages(folders[block], made)
        writer.add_index(index.result())
        writer.finish(finished, style=style, beside=beside)
        if kept is not None:
            kept.forget_others(set(keys.values()))
        names = tuple(name for name in shelf.names if name in before)
        said.append(Prescription(writer.briefs, tuple(remarks), out, failed, names))

    replace_folder(out, fill, force=force)
    return said[0]


def hear_all(shelf: Shelf, side_inputs: SideInputs, *, executor: Executor | None) -> list[Heard]:
    """Ask every block what it tells the others, and return what each hears; a block that fails says nothing here."""
    spoken: list[Spoken | None] = [None] * len(shelf)
    if len(shelf) > 1:
        voices = Lazily(len(shelf), lambda position: shelf[position].voice)
        for outcome in map_blocks(Voice.speak, voices, name=lambda voice: voice.name, executor=executor):
            spoken[outcome.position] = outcome.result
    return hear(spoken, side_inputs.earlier)


def sources_by_block(inputs: Inputs, names: Iterable[str]) -> dict[str, Source]:
    """Return block -> the file it stands in, of a folder of vineyard files."""
    if not inputs.folder:
        return {}
    named = {source.name: source for source in inputs.sources}
    homes = {name: inputs.vineyard.of(name).file for name in names}
    return {block: named[file] for block, file in homes.items() if file in named}


def shared_sources(inputs: Inputs) -> tuple[Source, ...]:
    """Return the files that concern all blocks of a folder of vineyard files."""
    homes = {inputs.vineyard.file, *(part.file for part in inputs.vineyard.parts)}
    return tuple(source for source in inputs.sources if source.name not in homes)


@dataclass(frozen=True)
class Workforce:
    """Where blocks are worked on, and where pages are made beside that; None for this process."""

    blocks: Executor | None = None
    pages: Executor | None = None

    def do(self, work: Callable[[Item], Result], item: Item) -> Future[Result]:
        """Do a piece of work beside this process where that can be, else at once."""
        if self.pages is not None:
            return self.pages.submit(work, item)
        done: Future[Result] = Future()
        done.set_result(work(item))
        return done


@contextmanager
def workforce(cores: int | None, blocks: int, executor: Executor | None = None) -> Iterator[Workforce]:
    """Yield where blocks are worked on: as given, in processes where several cores may be used, else here.

    One block is planned here, and its pages are made in a process beside.
    """
    if executor is not None or (cores or 1) < 2:
        yield Workforce(executor)
        return
    with block_processes(min(cores or 1, max(blocks, 1))) as processes:
        yield Workforce(processes if blocks > 1 else None, processes)


def style_of(settings: Settings) -> Style:
    """Return who reads the pages, and on what paper.

    Raises
    ------
    ValueError
        If the locale or the background cannot be; `choice_problems` reports both.
    """
    pages = settings.pages
    reader = Reader(pages.language, pages.units, pages.locale or "")
    return Style(reader, pages.paper, pages.background, pages.credit or "")


def choice_problems(settings: Settings) -> list[Problem]:
    """Return which choices of the pages cannot be."""
    pages, found = settings.pages, []
    for name, alone in (("locale", replace(pages, background=None)), ("background", replace(pages, locale=None))):
        try:
            style_of(replace(settings, pages=alone))
        except ValueError as error:
            found.append(Problem(settings.file, "", f"[pages] {name}", one_line(error), "Correct it, or leave it out"))
    return found


def _name(task: BlockTask) -> str:
    return task.name


def _problem(failure: Failure) -> Problem:
    return Problem("", "", f"block '{failure.block}'", say(failure.message, "en", "us").rstrip("."), "Nothing was written")
