"""An estate on a cluster: the bytes of one machine, also where a worker is killed, and clear words where there is none.

The cluster is a real one of two workers, on this machine; the estate is invented (`test_estates.py`).
"""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest
from click.testing import CliRunner
from test_estates import BLOCKS, estate, same  # noqa: F401

from geoprune import prescribe
from geoprune.cli import main
from geoprune.errors import ClusterError
from geoprune.jobs.cluster import checked, cluster, program

distributed = pytest.importorskip("distributed", reason="needs the package distributed (geoprune[cluster])")
pytestmark = pytest.mark.filterwarnings("ignore")  # those of the cluster's own threads and sockets


@pytest.fixture(scope="module")
def scheduler():
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as local:
        yield local.scheduler_address


def test_a_cluster_gives_the_bytes_of_one_machine_though_a_worker_is_killed(estate, tmp_path, scheduler):  # noqa: F811
    vineyard, settings = estate
    prescribe(vineyard, tmp_path / "here" / "out", settings=settings)
    killed = []

    with cluster(scheduler) as executor:

        def kill_one(name: str, begun: int, total: int) -> None:
            if begun == 1 and not killed:
                workers = executor.submit(os.getpid).result()
                killed.append(workers)
                os.kill(workers, signal.SIGKILL)

        done = prescribe(vineyard, tmp_path / "there" / "out", settings=settings, executor=executor, progress=kill_one)
    assert killed
    assert [brief.name for brief in done.briefs] == list(BLOCKS)
    assert done.failures == ()
    same(tmp_path / "here" / "out", tmp_path / "there" / "out")


def test_a_worker_with_another_library_is_told():
    with pytest.raises(ClusterError, match=r"A worker of the cluster has numpy .*, unlike this machine"):
        checked({**program(), "numpy": "0.1"}, len, "abc")
    assert checked(program(), len, "abc") == 3


def test_a_scheduler_that_does_not_answer_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("geoprune.jobs.cluster.PATIENCE_S", 1.0)
    (tmp_path / "v.gpkg").write_bytes(b"")
    given = ["prescribe", str(tmp_path / "v.gpkg"), "--out", str(tmp_path / "out"), "--scheduler", "tcp://127.0.0.1:9"]
    found = CliRunner().invoke(main, given)
    assert found.exit_code == 1
    assert "tcp://127.0.0.1:9: no scheduler of a Dask cluster answers there" in " ".join(found.stderr.split())
    assert not (tmp_path / "out").exists()
