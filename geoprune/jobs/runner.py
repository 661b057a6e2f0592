"""A job mapped over blocks: on threads here, or with any executor; one block that fails does not stop the others."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ThreadPoolExecutor, wait
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Generic, TypeVar

from geoprune.errors import BlockError, GeopruneError, Message
from geoprune.text import one_line
from geoprune.threads import single_blas, workers

Item = TypeVar("Item")
Result = TypeVar("Result")
#: Called when a block is begun: its name, how many were begun before it, and how many there are.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Failure:
    """A block that could not be planned, and what to say of it."""

    block: str
    message: Message


@dataclass(frozen=True, eq=False)
class Outcome(Generic[Result]):
    """What became of one block: a result, or a failure.

    Attributes
    ----------
    position : int
        Its place among the blocks given.
    block : str
    result : object or None
    failure : Failure or None
    """

    position: int
    block: str
    result: Result | None = None
    failure: Failure | None = None


def map_blocks(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    name: Callable[[Item], str],
    executor: Executor | None = None,
    at_once: int | None = None,
    progress: Progress | None = None,
) -> Iterator[Outcome[Result]]:
    """Do a piece of work for every block and yield what became of each, in the order in which they end.

    Parameters
    ----------
    work : callable
        Gets one item. With processes or a cluster it and the items are pickled.
    items : sequence
        One per block.
    name : callable
        Returns the name of an item's block.
    executor : concurrent.futures.Executor, optional
        Where the work is done: threads (the default, on all cores), processes, or the client of a cluster. It is left
        open.
    at_once : int, optional
        So many blocks are with the executor at a time, so that memory does not grow with the estate; for an executor that
        is given what its own `at_once` says, else twice the cores of this machine.
    progress : callable, optional
        Called here, with a block's name, when it is handed over.

    Yields
    ------
    Outcome
        An error inside a block is that block's failure. What ends a program (Ctrl-C, a signal) ends the map; work that
        was not begun is dropped.
    """
    if not items:
        return
    with ExitStack() as stack:
        if executor is None:
            stack.enter_context(single_blas())
            executor = ThreadPoolExecutor(min(workers(), len(items)))
            stack.callback(executor.shutdown, wait=False, cancel_futures=True)
            at_once = at_once or min(workers(), len(items))
        usual: int = getattr(executor, "at_once", 2 * workers())
        yield from _windowed(work, items, name, executor, at_once or usual, progress)


def _windowed(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    name: Callable[[Item], str],
    executor: Executor,
    at_once: int,
    progress: Progress | None,
) -> Iterator[Outcome[Result]]:
    """Keep `at_once` blocks with the executor until all are done."""
    running: dict[Future[Result | Failure], tuple[int, str]] = {}
    following = iter(range(len(items)))
    lost: tuple[type[Exception], ...] = getattr(executor, "lost", ())  # errors of a block that takes its workers down
    try:
        while True:
            while len(running) < at_once and (position := next(following, None)) is not None:
                item = items[position]  # asked for once: it may be made for the asking
                block = name(item)
                if progress is not None:
                    progress(block, position, len(items))
                running[executor.submit(guarded, work, item, block)] = position, block
                del item
            if not running:
                return
            for done in wait(running, return_when=FIRST_COMPLETED).done:
                position, block = running.pop(done)
                try:
                    result = done.result()
                except lost as error:
                    result = Failure(block, failure_message(block, error))
                if isinstance(result, Failure):
                    yield Outcome(position, block, failure=result)
                else:
                    yield Outcome(position, block, result)
    finally:
        for future in running:
            future.cancel()


def guarded(work: Callable[[Item], Result], item: Item, block: str) -> Result | Failure:
    """Do the work where it is done, and bring home what failed as a sentence: not every error can be pickled.

    What ends the program passes, and so do faults of the machine (a full disk): no other block would do better.
    """
    try:
        return work(item)
    except Exception as error:
        if isinstance(error, OSError) and not isinstance(error, GeopruneError):
            raise
        return Failure(block, failure_message(block, error))


def failure_message(block: str, error: Exception) -> Message:
    """Return what is said of a block that failed: what its data lack, or a line to report."""
    if isinstance(error, GeopruneError) and not isinstance(error, BlockError):
        return Message("jobs.block_refused", {"block": block, "reason": one_line(error)})
    failed = error if isinstance(error, BlockError) else BlockError(block, error)
    return Message("jobs.block_failed", {"block": block, "report": failed.report})
