"""Blocks on other machines: a Dask cluster, asked for by its scheduler's address. `pip install "geoprune[cluster]"`."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from geoprune.deliver.edition import versions
from geoprune.errors import ClusterError
from geoprune.jobs.block import program_digest
from geoprune.text import one_line

if TYPE_CHECKING:
    from distributed import Client

#: Seconds to wait for the scheduler, and for its first worker.
PATIENCE_S = 30.0
INSTALL = 'Install it on this machine and on the workers: pip install "geoprune[cluster]"'


class ClusterExecutor(Executor):
    """The workers of a cluster as an executor. Work of a worker that is lost is done again by another.

    Every piece of work first makes sure that its worker has the same geoprune, Python and libraries as this machine, to the
    byte: numbers do not depend on where a block was worked on.

    Attributes
    ----------
    lost : tuple of type
        What is raised of a block that took one worker after another down with it.
    """

    def __init__(self, client: Client) -> None:
        from distributed.scheduler import KilledWorker

        self.lost = (KilledWorker,)
        self._client, self._executor = client, client.get_executor(pure=False)
        self._program = program()

    @property
    def at_once(self) -> int:
        """Blocks to hand over at a time: two for each that the cluster can work on now."""
        return 2 * max(1, sum(self._client.nthreads().values()))

    def submit(self, work: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        """Hand a piece of work over."""
        return self._executor.submit(checked, self._program, work, *given, **named)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Drop what was not begun; the cluster stays as it is."""
        self._executor.shutdown(wait=wait)


@contextmanager
def cluster(scheduler: str) -> Iterator[ClusterExecutor]:
    """Yield the workers of a cluster.

    Parameters
    ----------
    scheduler : str
        Address of its scheduler, such as tcp://10.0.0.1:8786.

    Raises
    ------
    ClusterError
        If `distributed` is not installed, nobody answers there, there is no worker, or the workers cannot run the same
        geoprune.
    """
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError(f"--scheduler needs the package distributed. {INSTALL}.") from None
    try:
        client = Client(scheduler, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        reason = one_line(error)[:160]
        raise ClusterError(
            f"{scheduler}: no scheduler of a Dask cluster answers there ({reason}). Check its address."
        ) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=PATIENCE_S)
        except TimeoutError:
            raise ClusterError(f"{scheduler}: the cluster has no worker. Start some: dask worker {scheduler}.") from None
        yield ClusterExecutor(client)


def program() -> dict[str, str]:
    """Return what a worker must have to make the same numbers: versions of Python and libraries, digest of geoprune."""
    return {**versions(), "geoprune files": program_digest()[:16]}


def checked(expected: dict[str, str], work: Callable[..., Any], *given: Any, **named: Any) -> Any:
    """Do a piece of work where the worker has what is expected.

    Raises
    ------
    ClusterError
        If it has not.
    """
    here = program()
    if here != expected:
        other = ", ".join(f"{name} {here.get(name, 'missing')}" for name in expected if here.get(name) != expected[name])
        raise ClusterError(f"A worker of the cluster has {other}, unlike this machine. Install the same on all of them.")
    return work(*given, **named)
