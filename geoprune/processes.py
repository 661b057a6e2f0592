"""Blocks on all cores: processes of this machine, begun early, ended with the run whatever happens to it.

Processes are forked from one small server that has loaded what blocks need and has no threads, so that each is there at
once and none inherits a lock. Each holds BLAS to one thread: numbers do not depend on how many there are.
"""

from __future__ import annotations

import atexit
import multiprocessing
import os
import shutil
import signal
import tempfile
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager, suppress
from multiprocessing import connection, forkserver, resource_tracker
from pathlib import Path

from geoprune.errors import ProcessLostError
from geoprune.owned import clear_left_over, owned_folder

#: Libraries learn from these how many threads they may begin.
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
#: How Python calls the processes of an executor.
PROCESS_NAMES = ("ForkServerProcess", "SpawnProcess")
#: How the folder for sockets begins and ends.
POOL_FOLDER = ("geoprune-", ".pool")
#: What a process needs to plan and draw a block.
NEEDED = ["geoprune.jobs.block", "geoprune.deliver.deliverables", "geoprune.deliver.writing.raster"]

LOST = "a process at work on blocks was ended, most likely for want of memory. Run again with --cores 1."


def begin_early() -> None:
    """Begin to load what processes need, beside what this process does meanwhile; nothing where it cannot be."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return
    with one_thread_each():  # what the server is set to holds for all that are forked from it
        _use_temporary_folder()
        multiprocessing.set_forkserver_preload(NEEDED)
        with deaf_to_the_terminal():
            forkserver.ensure_running()
        atexit.register(_end_server)


@contextmanager
def block_processes(count: int) -> Iterator[Executor]:
    """Yield `count` processes to work on blocks; they end at the end, at once when the run is told to stop.

    Raises
    ------
    ProcessLostError
        If one of them is ended from outside: a system that runs out of memory does that.
    """
    methods = multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("forkserver" if "forkserver" in methods else "spawn")
    begin_early()
    executor = ProcessPoolExecutor(count, mp_context=context, initializer=_begin)
    try:
        yield executor
    except BaseException as failure:
        for process in multiprocessing.active_children():
            if process.name.startswith(PROCESS_NAMES):
                process.terminate()
        if isinstance(failure, BrokenProcessPool):
            raise ProcessLostError(LOST) from failure
        raise
    finally:
        executor.shutdown(wait=True, cancel_futures=True)


@contextmanager
def deaf_to_the_terminal() -> Iterator[None]:
    """Have processes that are begun now leave Ctrl-C and a closed terminal to the run, from their first moment.

    A terminal tells every process of a run; one that is still loading would answer with a traceback. What is blocked
    stays so in what is begun, and reaches the run itself at the end of the block.
    """
    before = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGHUP])
    try:
        resource_tracker.ensure_running()  # unblocks SIGINT when it begins, so it comes first
        signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Have processes that are begun now hold their libraries to one thread."""
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(ONE_THREAD)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _use_temporary_folder() -> None:
    """Give the module `multiprocessing` a folder for its sockets that is cleared after a kill, unless it has one already."""
    config = multiprocessing.current_process()._config  # type: ignore[attr-defined]
    if config.get("tempdir") is None:
        where = Path(tempfile.gettempdir())
        clear_left_over(where, *POOL_FOLDER)
        held = ExitStack()
        folder = held.enter_context(owned_folder(where, *POOL_FOLDER))
        held.callback(shutil.rmtree, folder, ignore_errors=True)
        atexit.register(held.close)
        config["tempdir"] = str(folder)


def _end_server() -> None:
    """End the server with the run: left alone it would go on loading for seconds. Not while others use it."""
    number = getattr(getattr(forkserver, "_forkserver", None), "_forkserver_pid", None)
    if number is not None and not multiprocessing.active_children():
        with suppress(ProcessLookupError):
            os.kill(number, signal.SIGTERM)


def _begin() -> None:
    """Leave Ctrl-C to the run, and end with it even where it was killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    run = multiprocessing.parent_process()
    if run is not None:
        threading.Thread(target=_end_with, args=(run.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)
