"""One block's whole work, in whatever process: planned, and everything made that is written of it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace
from functools import cache, partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from geoprune.brief import BlockBrief
from geoprune.deliver.edition import versions
from geoprune.deliver.writing.block import BlockOutput, Results, make_output, make_pages
from geoprune.jobs.digests import digest_of
from geoprune.jobs.kept import KeptPlans
from geoprune.jobs.runner import Failure, guarded
from geoprune.layers import Source
from geoprune.plan import SideInputs
from geoprune.plan.preparing import Prepared
from geoprune.plan.steps import plan_block
from geoprune.threads import single_blas


@dataclass(frozen=True, eq=False)
class BlockTask:
    """A block laid out, with what is given beside the vineyard and concerns it; all of it can be pickled.

    `source` is the file it stands in, of a vineyard in several files.
    """

    prepared: Prepared
    side_inputs: SideInputs
    source: Source | None = None

    @property
    def name(self) -> str:
        """The block's name."""
        return self.prepared.settings.block


@dataclass(frozen=True, eq=False)
class BlockDone:
    """What is written of a block.

    Attributes
    ----------
    output : BlockOutput
    key : str
        What its plan is kept under; "" where it is not.
    kept : bool
        Whether it was kept before.
    pages : Future, optional
        The files of its folder where they are made elsewhere, or why they could not be.
    """

    output: BlockOutput
    key: str = ""
    kept: bool = False
    pages: Future[Mapping[str, bytes] | Failure] | None = None


def task_of(prepared: Prepared, side_inputs: SideInputs, source: Source | None = None) -> BlockTask:
    """Return a block's task, without what planning does not look at: layers are in `prepared` by now."""
    own: dict[str, Any] = {
        name: None if table is None else table[table["block"] == prepared.settings.block]
        for name, table in (("harvest", side_inputs.harvest), ("left", side_inputs.left))
    }
    return BlockTask(prepared, replace(side_inputs, **own, covariates=(), given_zones=None, scores=None), source)


def work_block(
    task: BlockTask, *, results: Results, kept: KeptPlans | None = None, elsewhere: Executor | None = None
) -> BlockDone:
    """Plan a block and make everything that is written of it; its plan may be kept from an earlier run.

    Its pages are made `elsewhere`, beside the rest of the work, where that is given.
    """
    if task.source is not None:
        origin = replace(results.provenance, sources=(task.source, *results.provenance.sources))
        results = replace(results, provenance=origin)
    coming: list[Future[Mapping[str, bytes] | Failure]] = []

    def hand_over(brief: BlockBrief, results: Results) -> dict[str, bytes]:
        assert elsewhere is not None
        coming.append(elsewhere.submit(guarded, partial(make_pages, results=results), brief, task.name))
        return {}

    with single_blas():
        key = "" if kept is None else key_of(task)
        found = kept.read(key) if kept is not None and key else None
        plan = plan_block(task.prepared, task.side_inputs) if found is None else found
        if kept is not None and key and found is None:
            kept.keep(key, plan)
        output = make_output(plan, results, pages=make_pages if elsewhere is None else hand_over)
        return BlockDone(output, key, found is not None, coming[0] if coming else None)


@cache
def program_digest() -> str:
    """Return a digest of the program itself: a version number may stay while it is worked on."""
    folder, found = files("geoprune"), hashlib.sha256()
    for path in sorted(Path(str(folder)).rglob("*")):
        if path.suffix in (".py", ".toml"):
            found.update(path.read_bytes())
    return found.hexdigest()


def key_of(task: BlockTask) -> str:
    """Return what a task's plan is kept under: a digest of all it is made from and with; "" where none can be made."""
    try:
        return digest_of(task.prepared, task.side_inputs, versions(), program_digest())
    except TypeError:
        return ""
