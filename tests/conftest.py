"""Headless Chromium for every room's tests, with each message, error and request of a page written down."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

from geoprune.errors import DataError, Problem
from geoprune.words.problems import problem_sentence

os.environ["GEOPRUNE_LANGUAGE"] = "en"  # whoever runs the tests, on whatever system
#: Small words of English that Spanish does not have; no fault told in Spanish holds one outside of quotes.
ENGLISH = frozenset(
    re.findall(
        r"\w+",
        "the is are was be of and or not with without for it its this that there which from than more give write keep"
        " check correct has have had stands draw save read they them one two each every an to on lies",
    )
)
QUOTED = re.compile(r"'[^']*'|`[^`]*`|\"[^\"]*\"|\([^()]*\)|\[[^\]]*\]")
WORD = re.compile(r"(?<![\w.-])[a-z]+(?![\w-])")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # commands that tests run would compile the whole program each time
sys.dont_write_bytecode = False
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
)


@dataclass
class Watched:
    """A page, and what it said and asked for since it was opened."""

    page: Any
    messages: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    if not Path(CHROMIUM).exists():
        pytest.skip("needs headless Chromium (Debian's package chromium), which is not installed here")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield started
        started.close()


@pytest.fixture
def open_page(browser: Any, tmp_path: Path) -> Iterator[Callable[..., Watched]]:
    """Open HTML from a file, with no network, and wait until it says it is ready."""
    contexts = []

    def opened(html: str, *, width: int = 1280, height: int = 800, **settings: Any) -> Watched:
        file = tmp_path / "page.html"
        file.write_text(html, encoding="utf-8")
        context = browser.new_context(viewport={"width": width, "height": height}, offline=True, **settings)
        contexts.append(context)
        watched = Watched(context.new_page())
        watched.page.on("console", lambda message: watched.messages.append(message.text))
        watched.page.on("pageerror", lambda error: watched.messages.append(str(error)))
        watched.page.on("request", lambda request: watched.requests.append(request.url))
        watched.page.goto(file.as_uri())
        if settings.get("java_script_enabled", True):
            watched.page.wait_for_selector("html[data-ready=yes]", timeout=60_000)
        return watched

    yield opened
    for context in contexts:
        context.close()


def english_left(problem: Problem) -> set[str]:
    """Words of English in a problem that is told in Spanish, but for what it quotes of files and lists of names."""
    told, shorter = "", problem_sentence(replace(problem, file=""), "es")
    while told != shorter:  # brackets within brackets
        told, shorter = shorter, QUOTED.sub(" ", shorter)
    return ENGLISH & set(WORD.findall(told.casefold()))


@pytest.fixture(autouse=True)
def told_in_spanish(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Every fault that geoprune raises in any test has its Spanish."""
    raised: list[Problem] = []
    build = DataError.__init__

    def built(self: DataError, problems: Any) -> None:
        build(self, problems)
        if str(sys._getframe(1).f_globals.get("__name__", "")).startswith("geoprune"):
            raised.extend(self.problems)

    monkeypatch.setattr(DataError, "__init__", built)
    yield
    english = {str(problem): problem_sentence(problem, "es") for problem in dict.fromkeys(raised) if english_left(problem)}
    assert not english


def pytest_sessionfinish(session: pytest.Session) -> None:
    """With GEOPRUNE_NO_SKIPS=1 a test that was skipped because something is not installed fails the run."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("GEOPRUNE_NO_SKIPS") != "1" or reporter is None:
        return
    lacking = [report for report in reporter.stats.get("skipped", []) if "needs " in str(report.longrepr)]
    if lacking:
        reporter.write_line(f"{len(lacking)} tests were skipped for want of a program", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
