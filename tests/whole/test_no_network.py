"""Nothing reaches for a network: commands run where there is none, and are watched for calls that would ask for one."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import invented_vineyard as iv
import pytest

from geoprune.cli import main

ROOT = Path(__file__).parents[2]
PROGRAM = (sys.executable, "-m", "geoprune")
#: An address to be reached: by a connection or a single packet. Opening a socket alone reaches nothing.
REACHES = re.compile(r"(?:connect|sendto|sendmsg|sendmmsg)\(.*AF_INET")


def alone(folder: Path, *command: str | Path) -> tuple[subprocess.CompletedProcess[str], list[str]]:
    """Run a command where no network is; return how it ended and the calls by which it tried to reach one."""
    for program in ("unshare", "strace"):
        if shutil.which(program) is None:
            pytest.skip(f"needs {program} (Debian's packages util-linux and strace)")
    calls = folder / "calls.txt"
    watched = [
        "strace",
        "-f",
        "--seccomp-bpf",
        "-qq",
        "-s",
        "64",
        "-e",
        "trace=connect,sendto,sendmsg,sendmmsg",
        "-o",
        calls,
    ]
    words = ["unshare", "--map-root-user", "--net", *watched, *command]
    settings = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(list(map(str, words)), cwd=folder, capture_output=True, text=True, timeout=400, env=settings)
    return done, [line for line in calls.read_text("utf-8", "replace").splitlines() if REACHES.search(line)]


def test_a_program_that_reaches_for_a_network_is_noticed(tmp_path):
    code = "import socket; socket.create_connection(('192.0.2.1', 80), 1)"
    done, reached = alone(tmp_path, sys.executable, "-c", code)
    assert "unreachable" in done.stderr
    assert reached


def test_the_demo_runs_where_no_network_is(tmp_path):
    demo = ROOT / "demo_blocks"
    job = ("prescribe", demo / "estate.gpkg", "--samples", demo / "weights.csv", "--out", "results")
    done, reached = alone(tmp_path, *PROGRAM, *job)
    assert done.returncode == 0, done.stderr
    assert reached == []
    assert (tmp_path / "results" / "index.html").stat().st_size > 1000


#: Runs commands in one process and stops at the first that does not end well.
EACH = """
import json, sys
from click.testing import CliRunner
from geoprune.cli import main
for words in json.loads(sys.argv[1]):
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, (words, done.output, done.exception)
"""
COMMANDS = (
    "check vineyard.gpkg --samples weights.csv",
    "prescribe vineyard.gpkg --samples weights.csv --out results",
    "prescribe vineyard.gpkg --samples earlier.csv --out earlier",
    "sample vineyard.gpkg --out sample_out",
    "weigh-in vineyard.gpkg --samples weights.csv",
    "audit plan results --out recount",
    "replant results --out replanting",
    "seasons earlier results --out winters",
    "new folder",
)


def test_every_other_command_runs_where_no_network_is(tmp_path):
    iv.write(tmp_path)
    for name, season in (("weights", 2027), ("earlier", 2026)):
        iv.samples(season=season).to_csv(tmp_path / f"{name}.csv", index=False)
    done, reached = alone(tmp_path, sys.executable, "-c", EACH, json.dumps([line.split() for line in COMMANDS]))
    assert done.returncode == 0, done.stderr
    assert reached == []
    assert {line.split()[0] for line in COMMANDS} >= set(main.commands) - {"rules", "settings", "trainings", "buds-to-cut"}
