"""What the blocks of an estate share: layers, tables and waypoints of all of them, written a few blocks at a time.

Every block's tables wait in files of their own until all blocks are there, so that memory does not grow with the estate.
"""

from __future__ import annotations

import json
import pickle
import shutil
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from geoprune.deliver.writing.geopackage import add_layers, finish_geopackage
from geoprune.deliver.writing.spreadsheets import SHEETS, PrescriptionBook, write_csv
from geoprune.deliver.writing.styles import message_values
from geoprune.deliver.writing.tables import (
    GEOMETRIES,
    further_columns,
    join_tables,
    prescription_table,
    with_further,
)
from geoprune.deliver.writing.waypoints import write_parts

#: Lines of the longest layer that are held and written at a time; about 100 MB.
LINES_AT_ONCE = 50_000
#: Layers that tables are made of.
IN_TABLES = ("blocks", *SHEETS)
#: Folder of the waiting tables inside the hidden folder of a run. Only this run writes and reads it, and removes it.
WAITING = ".waiting"
Tables = Mapping[str, pd.DataFrame]
Places = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True)
class Waiting:
    """A block whose tables and waypoints wait to be joined: `lines` are those of its longest layer."""

    position: int
    folder: str
    lines: int


@dataclass
class Waitings:
    """The blocks that wait, and what is known of all of them.

    `further` is layer -> column beyond the promised ones -> an empty series of its kind; `values` are layer -> what its
    style depends on.
    """

    folder: Path
    blocks: list[Waiting] = field(default_factory=list)
    further: dict[str, dict[str, pd.Series]] = field(default_factory=lambda: {layer: {} for layer in GEOMETRIES})
    values: dict[str, list[pd.DataFrame]] = field(default_factory=lambda: {layer: [] for layer in GEOMETRIES})

    def add(self, position: int, folder: str, tables: Tables, places: Places, summary: Mapping[str, Any]) -> None:
        """Put aside what a block gives to the files of all blocks."""
        self.folder.mkdir(mode=0o700, exist_ok=True)
        for layer, table in tables.items():
            self.further[layer] = further_columns(table, layer) | self.further[layer]
            self.values[layer].append(message_values(layer, table))
        record = {"folder": folder, **summary}
        text = json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False)
        for kind, kept in (("tables", tables), ("places", places), ("summary", text)):
            with (self.folder / f"{position}.{kind}").open("wb") as target:
                pickle.dump(kept, target, protocol=pickle.HIGHEST_PROTOCOL)
        self.blocks.append(Waiting(position, folder, max(map(len, tables.values()))))

    def in_order(self) -> list[Waiting]:
        """Return the blocks in the order of the estate."""
        return sorted(self.blocks, key=lambda block: block.position)

    def kept(self, block: Waiting, kind: str) -> Any:
        """Return what was put aside of a block: its "tables", "places" or "summary"."""
        with (self.folder / f"{block.position}.{kind}").open("rb") as source:
            return pickle.load(source)

    def joined(self, layers: Collection[str]) -> Iterator[dict[str, pd.DataFrame]]:
        """Yield the tables of a few blocks after another, layer -> table."""
        for some in some_at_once(self.in_order()):
            parts = [{layer: found[layer] for layer in layers} for found in (self.kept(block, "tables") for block in some)]
            yield {
                layer: join_tables([with_further(part[layer], self.further[layer]) for part in parts]) for layer in layers
            }

    def clear(self) -> None:
        """Remove what was put aside."""
        shutil.rmtree(self.folder, ignore_errors=True)


def some_at_once(blocks: Sequence[Waiting]) -> Iterator[list[Waiting]]:
    """Part blocks, in order, so that each part holds at most `LINES_AT_ONCE`, or one block."""
    part: list[Waiting] = []
    for block in blocks:
        if part and sum(one.lines for one in part) + block.lines > LINES_AT_ONCE:
            yield part
            part = []
        part.append(block)
    if part:
        yield part


@dataclass(frozen=True, eq=False)
class Joint:
    """What the files of all blocks are written from, where they go, the time of making they hold, and
    the language of layers' legends; it can be pickled."""

    waiting: Waitings
    folder: Path
    created: datetime
    language: str


def write_layers(joint: Joint) -> None:
    """Write the layers of all blocks."""
    layers, values = joint.folder / "prescription.gpkg", joint.waiting.values
    for tables in joint.waiting.joined(GEOMETRIES):
        add_layers(tables, layers)
    needed = {layer: message_values(layer, pd.concat(parts)) for layer, parts in values.items()}
    finish_geopackage(layers, needed, joint.language)


def write_tables(joint: Joint) -> None:
    """Write the tables and waypoints of all blocks."""
    waiting, folder = joint.waiting, joint.folder
    prescription = folder / "prescription.csv"
    book = PrescriptionBook(folder / "prescription.xlsx", joint.created)
    for tables in waiting.joined(IN_TABLES):
        lines = prescription_table(tables)
        write_csv(lines, prescription, append=prescription.exists())
        book.add(tables, lines)
    book.close()
    for layer in ("flags", "next_vines"):
        for kind in ("gpx", "kml"):
            parts = (waiting.kept(block, "places")[layer][kind] for block in waiting.in_order())
            write_parts(parts, folder / f"{layer}.{kind}")
