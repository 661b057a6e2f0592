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
#: Commands that open no layer and make no page, and one that asks the database it is given.
TEXT_ONLY = {"rules", "settings", "trainings", "buds-to-cut", "join", "database"}


@pytest.fixture(scope="module")
def everything(tmp_path_factory):
    """The folder in which every command was run, with what it wrote, and the calls that reached for a network."""
    folder = tmp_path_factory.mktemp("everything")
    iv.write(folder)
    for name, season in (("weights", 2027), ("earlier", 2026)):
        iv.samples(season=season).to_csv(folder / f"{name}.csv", index=False)
    done, reached = alone(folder, sys.executable, "-c", EACH, json.dumps([line.split() for line in COMMANDS]))
    assert done.returncode == 0, done.stderr
    return folder, reached


def test_every_command_runs_where_no_network_is(everything):
    assert everything[1] == []
    assert {line.split()[0] for line in COMMANDS} >= set(main.commands) - TEXT_ONLY


def test_the_demo_runs_where_no_network_is(tmp_path):
    demo = ROOT / "demo_blocks"
    job = ("prescribe", demo / "estate.gpkg", "--samples", demo / "weights.csv", "--out", "results")
    done, reached = alone(tmp_path, *PROGRAM, *job)
    assert done.returncode == 0, done.stderr
    assert reached == []
    assert (tmp_path / "results" / "index.html").stat().st_size > 1000


def said_by(browser, page: Path) -> list[str]:
    """What a page says in the browser's console when it is opened from the disk, and the addresses it asks for besides."""
    context = browser.new_context(offline=True)
    opened, said = context.new_page(), []
    opened.on("console", lambda message: said.append(message.text))
    opened.on("pageerror", lambda error: said.append(str(error)))
    opened.on("request", lambda request: said.append(request.url) if request.url != page.as_uri() else None)
    opened.goto(page.as_uri())
    opened.wait_for_selector("html[data-ready=yes]", timeout=60_000)
    context.close()
    return [line for line in said if not line.startswith(("data:", "blob:"))]


@pytest.mark.browser
def test_no_page_breaks_its_own_strict_policy(everything, browser):
    pages = sorted(everything[0].rglob("*.html"))
    assert len(pages) >= 12, pages
    for page in pages:
        text = page.read_text("utf-8")
        (policy,) = re.findall(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">', text)
        assert text.index("Content-Security-Policy") < min(text.find("<style"), text.find("<title")), page
        assert policy.startswith("default-src 'none'; "), page
        assert not re.search(r"unsafe|\*|https?:", policy), page
        assert {"base-uri 'none'", "form-action 'none'"} <= set(policy.split("; ")), page
        assert said_by(browser, page) == [], page


@pytest.mark.browser
@pytest.mark.parametrize(
    "put_in", ["<b style='color:red'>x</b>", "<style>b{}</style>", "<script>1</script>", "<img src='http://192.0.2.1/'>"]
)
def test_what_is_put_into_a_page_is_stopped_by_its_policy_and_noticed(everything, browser, tmp_path, put_in):
    page = tmp_path / "page.html"
    text = (everything[0] / "results" / "a" / "report.html").read_text("utf-8")
    page.write_text(text.replace("<main>", f"<main>{put_in}", 1), "utf-8")
    assert any("Content Security Policy" in line for line in said_by(browser, page))
