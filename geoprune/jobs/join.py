"""What several phones exported, joined: no entry is lost, and what stands twice is shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from geoprune.deliver.field import FieldLog, merge_logs, read_field_log
from geoprune.errors import DataError, Problem, Problems
from geoprune.layers import Source
from geoprune.sources import sources_noted
from geoprune.text import few


@dataclass(frozen=True, eq=False)
class Joined:
    """The lists of every block and winter, each joined from all phones; how many entries each file holds; the files."""

    logs: tuple[FieldLog, ...]
    entries: tuple[tuple[str, int], ...]
    sources: tuple[Source, ...]


def join_lists(files: Sequence[Path]) -> Joined:
    """Join the lists that field pages export, block by block and winter by winter.

    Parameters
    ----------
    files : sequence of Path
        JSON files, in any order; a file given twice changes nothing.

    Returns
    -------
    Joined
        Blocks in the order they are met, winters of a block from the oldest.

    Raises
    ------
    DataError
        With every problem of all files, and where they come from several estates, in which one name may mean two blocks.
    """
    found = Problems()
    with sources_noted() as sources:
        read = [(file.name, found.gather(read_field_log, file)) for file in files]
    found.stop()
    lists = [(name, log) for name, log in read if log is not None]
    estates = {log.estate: name for name, log in reversed(lists)}
    if len(estates) > 1:
        told = ", ".join(f"{few([estate])} ({name})" for estate, name in sorted(estates.items()))
        what = f"the lists are of {len(estates)} estates: {told}"
        raise DataError([Problem("", "", "", what, "Join the lists of one estate at a time")])
    blocks: dict[tuple[str, int], list[FieldLog]] = {}
    order = list(dict.fromkeys(log.block for _, log in lists))
    for _, log in lists:
        blocks.setdefault((log.block, log.season), []).append(log)
    keys = sorted(blocks, key=lambda key: (order.index(key[0]), key[1]))
    counted = tuple((name, len(log.entries)) for name, log in lists)
    return Joined(tuple(merge_logs(blocks[key]) for key in keys), counted, tuple(sources))
