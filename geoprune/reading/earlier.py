"""What earlier results say of a block, from their summary.json."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any

from geoprune.errors import DataError, Problem
from geoprune.layers import Source
from geoprune.learned import FAMILY, Learned
from geoprune.reading.faults import Faults
from geoprune.reading.summaries import EarlierBlock, EarlierSummary, read_summary
from geoprune.text import few

SUMMARY = "summary.json"
NOBODY: Mapping[Path, Collection[str]] = MappingProxyType({})
NO_SUMMARY = ("it is not a summary of earlier results", "Give the summary.json of an earlier run")


def summary_of(path: Path) -> Path:
    """Return the summary of earlier results that are named by it, or by their folder."""
    return path / SUMMARY if path.is_dir() else path


def read_earlier(
    paths: Sequence[Path], now: Iterable[Source] = (), spoken: Mapping[Path, Collection[str]] = NOBODY
) -> list[Learned]:
    """Read what every block that had a map learned of range and nugget share, as `plan.make_plan(earlier=...)` takes it.

    Parameters
    ----------
    paths : sequence of Path
        Files `summary.json` that `geoprune prescribe` wrote, or the folders they stand in.
    now : iterable of Source
        Files of the present run: weights must not speak twice.
    spoken : mapping
        Path -> blocks whose weights are heard themselves, as `add_earlier_weights` gives them.

    Raises
    ------
    DataError
        With every file that is no such summary, was made from the same weights, is given twice, or learned nothing that
        can be used, and why.
    """
    present = {source.sha256 for source in now}
    usable: list[Learned] = []
    problems: list[Problem] = []
    seen: set[Any] = set()
    for path in paths:
        summary, heard = read_summary(summary_of(path)), spoken.get(path, ())
        learned = () if summary is None else _learned(summary, heard)
        same = learned if summary is None else summary.digests or learned
        if summary is None:
            fault = NO_SUMMARY
        elif present and present <= summary.digests:
            fault = ("it was made from the same files", "Give results of other blocks, or of earlier winters")
        elif same in seen:
            fault = ("it was made from the same files as another one given", "Give each result once")
        elif heard and not learned:
            continue
        elif not learned:
            fault = _why_useless(summary)
        else:
            seen.add(same)
            usable += learned
            continue
        problems.append(Problem(path.name, "earlier results", "", *fault))
    if problems:
        raise DataError(problems)
    return usable


def read_earlier_blocks(paths: Iterable[Path], faults: Faults) -> dict[str, EarlierBlock]:
    """Read what earlier results say of each block; of one in several files the last holds. What is none is noted."""
    found: dict[str, EarlierBlock] = {}
    for path in paths:
        summary = read_summary(summary_of(path))
        if summary is None:
            faults.at(path.name).add(*NO_SUMMARY)
        else:
            found |= summary.blocks
    return found


def _learned(summary: EarlierSummary, heard: Collection[str]) -> tuple[Learned, ...]:
    others = (block for name, block in summary.blocks.items() if name not in heard)
    return tuple(block.learned for block in others if block.learned is not None)


def _why_useless(summary: EarlierSummary) -> tuple[str, str]:
    """Why nothing of a summary can be used, and what to do."""
    if any(block.learned_amiss for block in summary.blocks.values()):
        return "what its blocks learned is no likelihood over ranges and shares", "Give summary.json as it was written"
    families = sorted({block.covariance for block in summary.blocks.values()} - {"none"})
    if families:
        what = f"its patterns were fitted as {few(families)}, whose ranges say nothing of the {FAMILY} kind"
        return what, "Leave it out: nothing of it can be used"
    return "no block in it had a map: its weights were too few or all alike", "Leave it out, or give results of other blocks"
