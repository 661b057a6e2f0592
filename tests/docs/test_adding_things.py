"""What docs/contributing.md promises: one entry in one place, and the thing is there."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from importlib import import_module
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from small_plans import MADE, UTM, edition, pages_of, small_brief

import geoprune
from geoprune.deliver import deliverables
from geoprune.deliver.deliverables import Deliverable, links_of
from geoprune.deliver.edition import Edition, Style
from geoprune.deliver.maps import render_block_map, shell
from geoprune.plan import EstatePlan, PlanOptions
from geoprune.rules import load_rules
from geoprune.words import Reader, lists

PACKAGE = Path(geoprune.__file__).parent
CONTRIBUTING = (Path(__file__).parents[2] / "docs" / "contributing.md").read_text("utf-8")


@pytest.fixture
def french(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A further language: a folder, here with the English sentences but one."""
    for code in ("en", "es"):
        shutil.copytree(lists.FOLDER / code, tmp_path / code)
    shutil.copytree(lists.FOLDER / "en", tmp_path / "fr")
    brief = tmp_path / "fr" / "brief.toml"
    brief.write_text(
        re.sub(r'verdict_zone = ".*"', 'verdict_zone = "Taillez en {zones} zones."', brief.read_text("utf-8")), "utf-8"
    )
    monkeypatch.setattr(lists, "FOLDER", tmp_path)
    caches = (lists.word_lists, lists.room_words, lists.languages)
    for cached in caches:
        cached.cache_clear()
    yield
    monkeypatch.undo()
    for cached in caches:
        cached.cache_clear()


def test_the_places_named_are_there():
    for name in re.findall(r"`(geoprune/[\w/]+(?:\.toml|\.py|/))`", CONTRIBUTING):
        assert (PACKAGE.parent / name).exists(), name


def test_a_rule_is_an_entry(tmp_path: Path):
    file = tmp_path / "rules.toml"
    entry = {"id": "bench", "title": "Our bench", "unit": "lb", "source": "ours"}
    lines = [f'{name} = "{value}"' for name, value in entry.items()]
    file.write_text("\n".join(["[[rule]]", "first = 26", "further = 13", *lines]), "utf-8")
    assert load_rules(file).resolve("bench").buds(0.45359237 * 2) == pytest.approx(39)


@pytest.mark.usefixtures("french")
def test_a_language_is_a_folder():
    reader = Reader("fr", "metric")
    assert reader.say(small_brief().verdict) == "Taillez en 3 zones."
    assert reader.figure("row_length_m", 12345.0) == "12\u202f345 m"  # CLDR 46: the French group mark
    assert "Taillez en 3 zones." in render_block_map(edition(small_brief(), language="fr"))


def weighing_note(edition: Edition) -> str:
    """A page of a test's own, from the brief."""
    return f"{edition.brief.name}: {edition.reader.say(edition.brief.verdict)}\n"


def test_an_output_file_is_one_entry(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(
        deliverables, "BLOCK_FILES", (*deliverables.BLOCK_FILES, Deliverable("note.txt", "note", weighing_note))
    )
    pages = dict(pages_of(EstatePlan((small_brief().plan,), UTM, PlanOptions()), Style(made=MADE)))
    assert pages["creek-bench/note.txt"] == "Creek Bench: Prune in 3 zones.\n"
    assert links_of("creek-bench")["note"] == "creek-bench/note.txt"


def test_what_is_told_is_a_field_of_the_brief():
    spoken = replace(small_brief(), instead=small_brief().verdict)
    assert Reader().say(spoken.verdict) in render_block_map(edition(spoken))


@pytest.mark.browser
def test_a_map_layer_is_one_object(monkeypatch: pytest.MonkeyPatch, open_page: Callable):
    drawing = "(view, look) => view.stroke(view.outline(shape.block), look.ink, 9)"
    one = f'  {{ name: "ring", on: true, paint: {drawing}, sign: () => {{}} }},\n'

    def with_ring(name: str) -> str:
        text = (PACKAGE / "deliver" / "maps" / "assets" / name).read_text("utf-8")
        return text.replace("const LAYERS = [\n", f"const LAYERS = [\n{one}") if name == "block_layers.js" else text

    monkeypatch.setattr(shell, "asset", with_ring)
    watched = open_page(render_block_map(edition(small_brief())))
    box = watched.page.locator('#layers input[data-layer="ring"]')
    assert box.is_checked()
    box.uncheck()
    assert watched.messages == []


def test_a_command_is_a_file_and_a_name():
    main = import_module("geoprune.cli").main

    @click.command("greet")
    def greet() -> None:
        """Say good day."""
        click.echo("Good day")

    main.add_command(greet)
    try:
        assert CliRunner().invoke(main, ["greet"]).output == "Good day\n"
        assert "Say good day." in CliRunner().invoke(main, ["--help"]).output
    finally:
        main.commands.pop("greet")
