"""One block's whole work, in whatever process: planned, and everything made that is written of it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from geoprune.deliver.edition import versions
from geoprune.deliver.writing.block import BlockOutput, Results, make_output
from geoprune.jobs.digests import digest_of
from geoprune.jobs.kept import KeptPlans
from geoprune.plan import SideInputs
from geoprune.plan.steps import Prepared, plan_block
from geoprune.threads import single_blas


@dataclass(frozen=True, eq=False)
class BlockTask:
    """A block laid out, with what is given beside the vineyard and concerns it; all of it can be pickled."""

    prepared: Prepared
    side_inputs: SideInputs

    @property
    def name(self) -> str:
        """The block's name."""
        return self.prepared.settings.block


@dataclass(frozen=True, eq=False)
class BlockDone:
    """What is written of a block, the key its plan is kept under ("" where none is), and whether it was kept before."""

    output: BlockOutput
    key: str = ""
    kept: bool = False


def task_of(prepared: Prepared, side_inputs: SideInputs) -> BlockTask:
    """Return a block's task, without what planning does not look at: layers are in `prepared` by now."""
    own: dict[str, Any] = {
        name: None if table is None else table[table["block"] == prepared.settings.block]
        for name, table in (("harvest", side_inputs.harvest), ("left", side_inputs.left))
    }
    return BlockTask(prepared, replace(side_inputs, **own, covariates=(), given_zones=None, scores=None))


def work_block(task: BlockTask, *, results: Results, kept: KeptPlans | None = None) -> BlockDone:
    """Plan a block and make everything that is written of it; its plan may be kept from an earlier run."""
    with single_blas():
        key = "" if kept is None else key_of(task)
        found = kept.read(key) if kept is not None and key else None
        plan = plan_block(task.prepared, task.side_inputs) if found is None else found
        if kept is not None and key and found is None:
            kept.keep(key, plan)
        return BlockDone(make_output(plan, results), key, found is not None)


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
