"""The order in which a plan is written."""

from __future__ import annotations

import errno
import json
import sqlite3
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from textwrap import indent
from typing import Any

from pyogrio.errors import DataLayerError, DataSourceError
from xlsxwriter.exceptions import XlsxWriterException

from geoprune.brief import BlockBrief
from geoprune.clock import fixed
from geoprune.deliver.edition import Style, provenance_of
from geoprune.deliver.folders import block_folders
from geoprune.deliver.writing.block import BlockOutput, Results, make_output, vines_drawn
from geoprune.deliver.writing.folder import digest, failure_text, is_full, replace_folder
from geoprune.deliver.writing.joined import WAITING, Joint, Waitings, write_layers, write_tables
from geoprune.deliver.writing.summary import estate_summary
from geoprune.errors import Message, OutputError
from geoprune.plan import EstatePlan
from geoprune.text import clean, one_line


def write_plan(
    estate: EstatePlan,
    out: Path,
    *,
    style: Style | None = None,
    beside: Mapping[str, str] | None = None,
    made: datetime | None = None,
    force: bool = False,
) -> Path:
    """Write everything a plan holds into the folder `out`: whole, or not at all.

    Parameters
    ----------
    estate : EstatePlan
    out : Path
        Folder to appear; refused when it exists, unless `force`.
    style : Style
        Who reads, and on what paper; figures in data files are in SI, named in their columns.
    beside : mapping, optional
        Further text files: path inside `out` with forward slashes -> text.
    made : datetime, optional
        Time put into summary.json.
    force : bool
        Replace an earlier result of geoprune. A folder with anything else or anything changed in it is never touched.

    Returns
    -------
    Path
        `out`.

    Raises
    ------
    ValueError
        If there is no block.
    OutputError
        If a text would lie outside `out` or over another file; else see `writing.folder.replace_folder`.
    """
    if not estate.blocks:
        raise ValueError("a plan without a block cannot be written")
    style = style or Style()
    results = Results(style, provenance_of(estate), estate.crs, drawn=vines_drawn(len(plan.vines) for plan in estate.blocks))
    folders = block_folders(plan.name for plan in estate.blocks)

    def fill(folder: Path) -> None:
        writer = ResultWriter(folder, out)
        for position, plan in enumerate(estate.blocks):
            with as_output_error(folder, out):
                output = make_output(plan, results)
            writer.add(position, folders[plan.name], output)
        without_blocks = replace(estate, blocks=())
        writer.join(style, made)
        writer.add_index(make_index(writer.index(without_blocks, style)))
        writer.finish(without_blocks, style=style, beside=beside or {}, made=made)

    check_names(beside or {})
    return replace_folder(Path(out), fill, force=force)


@dataclass(frozen=True, eq=False)
class Index:
    """What the estate's page is made from: briefs, block -> folder, and the estate for a reader; it can be pickled."""

    briefs: tuple[BlockBrief, ...]
    folders: Mapping[str, str]
    estate: EstatePlan
    style: Style


def make_index(index: Index) -> str:
    """Make the estate's page."""
    from geoprune.deliver.deliverables import estate_page  # here, because it may be made in another process

    return estate_page(index.briefs, index.folders, index.estate, index.style)


class ResultWriter:
    """Writes results into a folder block by block, in any order, and at the end what all blocks share.

    Parameters
    ----------
    folder : Path
        The hidden folder that is filled.
    out : Path
        What it will be, for messages.
    """

    def __init__(self, folder: Path, out: Path) -> None:
        self._folder, self._out = folder, out
        self._waiting = Waitings(folder / WAITING)
        self._briefs: dict[int, tuple[str, BlockBrief]] = {}

    @property
    def briefs(self) -> tuple[BlockBrief, ...]:
        """The briefs of the blocks written so far, in the estate's order, without heavy tables."""
        return tuple(brief for _, (_, brief) in sorted(self._briefs.items()))

    def add(self, position: int, folder: str, output: BlockOutput) -> None:
        """Write a block's own files and put aside what it gives to the files of all.

        Parameters
        ----------
        position : int
            Its place in the estate.
        folder : str
            Name of its folder.
        output : BlockOutput
        """
        self.add_pages(folder, output.files)
        self._waiting.add(position, folder, output.tables, output.places, output.summary)
        self._briefs[position] = folder, output.brief

    def add_pages(self, folder: str, files: Mapping[str, bytes]) -> None:
        """Write files of a block's own folder: name -> content."""
        for name, content in files.items():
            write_page(self._folder / folder / name, content)

    def index(self, estate: EstatePlan, style: Style) -> Index:
        """Return what the estate's page is made from. The blocks of `estate` are those that were added."""
        return Index(self.briefs, {brief.name: folder for folder, brief in self._briefs.values()}, estate, style)

    def add_index(self, page: str) -> None:
        """Write the estate's page."""
        write_page(self._folder / "index.html", page)

    def join(self, style: Style, made: datetime | None = None, *, elsewhere: Executor | None = None) -> None:
        """Write layers, tables and waypoints of all blocks; tables and waypoints `elsewhere`, at the same time."""
        joint = Joint(self._waiting, self._folder, created_at(style, made), style.reader.language)
        with as_output_error(self._folder, self._out):
            tables = None if elsewhere is None else elsewhere.submit(write_tables, joint)
            write_layers(joint)
            if tables is None:
                write_tables(joint)
            else:
                tables.result()

    def finish(self, estate: EstatePlan, *, style: Style, beside: Mapping[str, str], made: datetime | None = None) -> None:
        """Write the files `beside` and, last, the summary; the blocks of `estate` are those that were added."""

        def say(message: Message) -> str:
            return clean(style.reader.say(message))

        for name, text in beside.items():
            write_page(self._folder / name, text)
        summaries = [
            (self._briefs[block.position][1].name, self._waiting.kept(block, "summary"))
            for block in self._waiting.in_order()
        ]
        self._waiting.clear()
        write_summary(estate_summary(estate, say=say, made=made), self._folder, blocks=summaries)


def created_at(style: Style, made: datetime | None) -> datetime:
    """Return the time of making for files that hold one: as given, as fixed by the environment, or the day on the pages."""
    return made or fixed() or datetime(style.made.year, style.made.month, style.made.day, tzinfo=UTC)


def check_names(names: Iterable[str]) -> None:
    """Refuse a file whose path would leave the folder."""
    for name in names:
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts or "\\" in name or ":" in name or not path.parts:
            raise OutputError(f"{name!r} is not a path inside the output folder")


@contextmanager
def as_output_error(folder: Path, out: Path) -> Iterator[None]:
    """Raise what the libraries raise on a full or failing disk as an `OutputError`."""
    try:
        yield
    except (DataSourceError, DataLayerError, sqlite3.Error, XlsxWriterException) as error:
        full = is_full(folder) or is_full(Path(tempfile.gettempdir()))
        failure = OSError(errno.ENOSPC, "") if full else OSError(one_line(error)[:160])
        raise OutputError(failure_text(out, failure)) from error


def write_page(path: Path, content: str | bytes) -> None:
    """Write one page, never over another file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists():
        raise OutputError(f"{path.name}: written twice")
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8", errors="replace"))


def write_summary(summary: dict[str, Any], folder: Path, *, blocks: Iterable[tuple[str, str]] = ()) -> None:
    """Write summary.json last, with the list of all files and the digests by which they are known again.

    Parameters
    ----------
    summary : dict
    folder : Path
    blocks : iterable of (str, str)
        Name and entry (JSON text) of each block, put in as `blocks`, where there are any.
    """
    digests = {p.relative_to(folder).as_posix(): digest(p) for p in sorted(folder.rglob("*")) if p.is_file()}
    listed = {**summary, "files": sorted({"summary.json", *digests}), "digests": digests}
    text = json.dumps(listed, indent=2, ensure_ascii=False, allow_nan=False)
    head, mark, tail = text.partition('\n  "blocks": {}')
    with (folder / "summary.json").open("w", encoding="utf-8", newline="\n") as target:
        target.write(head)
        if mark:
            target.write(mark.removesuffix("}"))
            for place, (name, entry) in enumerate(blocks):
                entry_text = indent(f"{json.dumps(clean(name), ensure_ascii=False)}: {entry}", "    ", lambda line: True)
                target.write(f"{',' if place else ''}\n{entry_text}")
            target.write("\n  }" + tail)
        target.write("\n")
