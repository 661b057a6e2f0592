"""Commands and examples of the documentation run; its links and pictures are there."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
FENCE = re.compile(r"^```(\w+)\n(.*?)^```", re.MULTILINE | re.DOTALL)


def blocks(page: Path, language: str) -> list[str]:
    return [text for word, text in FENCE.findall(page.read_text(encoding="utf-8")) if word == language]


def commands() -> list[str]:
    """Each command in a block marked sh, once, in the order of the pages."""
    lines = [line.strip() for page in PAGES for block in blocks(page, "sh") for line in block.splitlines()]
    return list(dict.fromkeys(line for line in lines if line.startswith("geoprune ")))


@pytest.fixture(scope="module")
def workplace(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("docs")
    (folder / "demo_blocks").symlink_to(ROOT / "demo_blocks")
    return folder


def test_there_are_commands_in_the_docs():
    assert any("prescribe demo_blocks/estate.gpkg" in command for command in commands())


@pytest.mark.parametrize("command", commands())
def test_commands_run(command, workplace, monkeypatch):
    from geoprune.cli import main

    monkeypatch.chdir(workplace)
    words = shlex.split(command, comments=True)[1:]
    if words[0] == "prescribe" and "--out" in words and (workplace / words[words.index("--out") + 1]).exists():
        words.append("--force")
    result = CliRunner().invoke(main, words)
    assert result.exit_code == 0, result.output


def test_make_targets_named_in_the_docs_exist():
    named = {
        target
        for page in (*PAGES, ROOT / "DEVELOPERS.md")
        for target in re.findall(r"make ([a-z]+)", page.read_text("utf-8"))
    }
    there = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE))
    assert {"demo", "test", "docs"} <= named & there
    assert named & {"demo", "test", "lint", "types", "docs", "pictures", "setup"} <= there


def test_the_python_examples_of_the_library_page_run(workplace):
    code = "\n".join(blocks(ROOT / "docs" / "library.md", "python"))
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], cwd=workplace, capture_output=True, text=True, timeout=500
    )
    assert done.returncode == 0, done.stderr
    assert "Creek Bend zone" in done.stdout


def test_the_example_of_the_readme_is_the_first_of_the_library_page():
    assert blocks(ROOT / "README.md", "python")[0] == blocks(ROOT / "docs" / "library.md", "python")[0]


def test_the_site_builds_and_every_link_leads_somewhere(tmp_path):
    build = [sys.executable, "-m", "mkdocs", "build", "--strict", "--site-dir", str(tmp_path / "site")]
    done = subprocess.run(build, cwd=ROOT, capture_output=True, text=True, timeout=200)
    assert done.returncode == 0, done.stdout + done.stderr
    check = [sys.executable, "docs/check_links.py", str(tmp_path / "site")]
    done = subprocess.run(check, cwd=ROOT, capture_output=True, text=True, timeout=100)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize(
    "page", [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "demo_blocks" / "README.md"], ids=lambda p: p.name
)
def test_files_named_in_links_are_there(page):
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), target


def test_pictures_are_small():
    pictures = list((ROOT / "docs" / "pictures").glob("*.png"))
    assert len(pictures) >= 4
    assert max(picture.stat().st_size for picture in pictures) < 200_000


def test_a_broken_link_is_found(tmp_path):
    (tmp_path / "a.html").write_text(
        '<a href="b.html">b</a><a href="#x">x</a><p id="y"></p><script src="https://x.y/z.js"></script>'
    )
    check = [sys.executable, str(ROOT / "docs" / "check_links.py"), str(tmp_path)]
    done = subprocess.run(check, capture_output=True, text=True, timeout=100)
    assert done.returncode == 1
    assert ("b.html: leads nowhere" in done.stdout, "no such anchor" in done.stdout, "from elsewhere" in done.stdout) == (
        True,
    ) * 3
