"""All that is written of one block, made from its plan alone, so that any process may make it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import pandas as pd
from pyproj import CRS

from geoprune.brief import BlockBrief, brief_block
from geoprune.deliver.edition import Provenance, Style
from geoprune.deliver.writing.summary import block_summary
from geoprune.deliver.writing.tables import block_tables
from geoprune.deliver.writing.waypoints import Words, flag_words, next_vine_words, parts_of, waypoints
from geoprune.errors import Message
from geoprune.plan import BlockPlan, Diagnostics
from geoprune.text import clean

#: A picture of the estate with more vines than these shows none: they would be finer than a screen can draw, and heavy.
MOST_DRAWN_VINES = 60_000
#: Tables of a plan that nothing needs once the block's own files are made.
HEAVY = ("rows", "panels", "samples", "flags", "next_vines")


@dataclass(frozen=True)
class Results:
    """What all blocks of a run share.

    `crs` is that of all layers; `drawn` says whether the estate's picture shows vines.
    """

    style: Style
    provenance: Provenance
    crs: CRS
    drawn: bool = True


@dataclass(frozen=True, eq=False)
class BlockOutput:
    """What is written of a block.

    Attributes
    ----------
    brief : BlockBrief
        What the estate's page and the terminal show; the heavy tables of its plan are empty.
    files : mapping
        Name in the block's folder -> content; empty where pages are made elsewhere.
    tables : mapping
        Layer -> table (`writing.tables.block_tables`).
    places : mapping
        Layer -> format -> waypoints as elements.
    summary : mapping
        Its entry in summary.json.
    """

    brief: BlockBrief
    files: Mapping[str, bytes]
    tables: Mapping[str, pd.DataFrame]
    places: Mapping[str, Mapping[str, str]]
    summary: Mapping[str, Any]


def make_pages(brief: BlockBrief, results: Results) -> dict[str, bytes]:
    """Make the files of a block's own folder: name -> content."""
    # loaded here: a run that has its pages made in another process does without maps, templates and typesetter
    from geoprune.deliver.deliverables import block_pages
    from geoprune.deliver.writing.raster import surface_files

    grid = brief.plan.surface_grid
    files = {} if grid is None else surface_files(grid, brief.plan.crs)
    return files | {name: as_bytes(content) for name, content in block_pages(brief, results.style, results.provenance)}


def make_output(
    plan: BlockPlan, results: Results, *, pages: Callable[[BlockBrief, Results], Mapping[str, bytes]] = make_pages
) -> BlockOutput:
    """Make everything that is written of a block.

    Parameters
    ----------
    plan : BlockPlan
    results : Results
    pages : callable
        Makes the files of the block's folder, or hands them over to be made elsewhere and returns none.
    """

    def say(message: Message) -> str:
        return clean(results.style.reader.say(message))

    brief = brief_block(plan)
    files = pages(brief, results)
    tables = block_tables(plan, results.crs)
    surveyed = frozenset([plan.name] if plan.settings.posts_surveyed else [])
    words: dict[str, Words] = {"flags": partial(flag_words, surveyed=surveyed), "next_vines": next_vine_words}
    places = {layer: parts_of(waypoints(tables[layer], wording, say)) for layer, wording in words.items()}
    return BlockOutput(lighten(brief, drawn=results.drawn), files, tables, places, block_summary(plan, tables, say))


def as_bytes(content: str | bytes) -> bytes:
    """Return a page as it is stored."""
    return content if isinstance(content, bytes) else content.encode("utf-8", errors="replace")


def lighten(brief: BlockBrief, *, drawn: bool) -> BlockBrief:
    """Return a brief without what only the block's own files need; with its vines where they are `drawn`."""
    plan = brief.plan
    vines = plan.vines[["row", "vine", "status", "treatment", "geometry"]]
    light = {name: getattr(plan, name).iloc[:0] for name in HEAVY}
    light |= {"vines": vines if drawn else vines.iloc[:0], "runs": plan.runs[["row"]], "surface_grid": None}
    light |= {"diagnostics": Diagnostics(), "model": replace(plan.model, learned=None)}
    return replace(brief, plan=replace(plan, **light), rows=(), samples=())


def vines_drawn(counts: Iterable[int]) -> bool:
    """Return whether the estate's picture shows vines, for the numbers of vines of its blocks."""
    return sum(counts) <= MOST_DRAWN_VINES
