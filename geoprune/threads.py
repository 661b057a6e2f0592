"""Work in parts on all cores: one BLAS thread in each part, so that a busy machine does not stall a call.

One BLAS call split over cores waits for its slowest part; on two busy cores an eigen-decomposition of 1000 samples
was measured 30 times slower that way. Parts never share sums, so results do not depend on the number of threads.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache
from threading import Lock
from typing import Any, TypeVar

from threadpoolctl import ThreadpoolController

Item = TypeVar("Item")
Result = TypeVar("Result")
_LOCK = Lock()
_HELD: list[Any] = []


@cache
def _controller() -> ThreadpoolController:
    return ThreadpoolController().select(user_api="blas")


def workers() -> int:
    """Cores this process may use: its affinity, or OMP_NUM_THREADS where that is smaller."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    asked = os.environ.get("OMP_NUM_THREADS", "")
    return min(cores, int(asked)) if asked.isdigit() and int(asked) > 0 else cores


@contextmanager
def single_blas() -> Iterator[None]:
    """Hold BLAS to one thread; nested and parallel holds are counted, the outermost restores."""
    with _LOCK:
        _HELD.append(None if _HELD else _controller().limit(limits=1))
    try:
        yield
    finally:
        with _LOCK:
            limit = _HELD.pop() if len(_HELD) > 1 else _HELD.pop(0)
            if limit is not None:
                limit.restore_original_limits()


def run_parts(work: Callable[[Item], Result], items: Sequence[Item], *, threads: int | None = None) -> list[Result]:
    """`[work(item) for item in items]`, on `threads` cores (all by default), results in order."""
    threads = min(workers() if threads is None else threads, len(items))
    with single_blas():
        if threads <= 1:
            return [work(item) for item in items]
        pool = ThreadPoolExecutor(threads)
        try:
            return list(pool.map(work, items))
        finally:
            pool.shutdown(wait=False, cancel_futures=True)  # a run that is told to stop waits for no one
