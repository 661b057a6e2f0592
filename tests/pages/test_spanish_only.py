"""Everything that is shown in Spanish of the demo blocks is Spanish: no word of the English list is left in it."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner

from geoprune.cli import main
from geoprune.rules import load_methods, load_rules, load_trainings
from geoprune.rules.bands import find_bands
from geoprune.words import Reader, word_lists

DEMO = Path(__file__).parents[2] / "demo_blocks"
BLOCKS = ("church-riesling", "creek-bend", "ridge-concord", "two-barns")
#: Titles, journals, institutions and names of the demo, which are not translated.
NAMES = (
    *(
        "Church Riesling",
        "Creek Bend",
        "Ridge Concord",
        "Two Barns",
        "Oxbarrow Farm",
        "Evaluating Bud Injury and Adjusting Pruning",
    ),
    *(
        "Grape Pruning Primer",
        "Growing Table Grapes in a Temperate Climate",
        "Training Systems for Grape Vines",
        "Spur Pruning",
    ),
    *(
        "Cane Pruning",
        "Grapegrower & Winemaker",
        "Manual of American Grape-Growing",
        "Trellis Systems: Geneva Double Curtain",
    ),
    *("The Mid-Atlantic Winegrape Grower's Guide", "Double pruning grapevines for spring frost protection"),
    *(
        "Facts for Fancy Fruit",
        "Determining cold weather damage in cold climate grapes",
        "Growing Grapes in WV",
        "winemakingtalk.com",
    ),
    *("Pruning, the winter work", "What are bull canes and how do I handle them?", "Gardener Handbook", "Vine Balance"),
    *("Good Fruit Grower", "Cold-friendly varieties", "Finger Lakes Grape Program", "Grape Cultivars for Minnesota"),
    "Influence of training system, pruning severity, and spur length on yield and quality of six French-American hybrid",
    *("Department of Agriculture", "Canopy Management", "Wines & Vines", "Practical Winery & Vineyard", "Vidon Vineyard"),
    *("eXtension Grapes", "Vitis vinifera", "tipo labrusca", "West Virginia", "grape cultivars", "gardenguides.com"),
    *(
        "uvasapiens.com",
        "Extension",
        "UTM zone",
        "Table Grapes",
        "(New Zealand), October",
        "May 2018",
        "June 2017",
        "July 2013",
    ),
)


#: Layers as a user's own file names them, in English, after the word for one, and columns of several words.
LAYERS_NAMED = re.compile(
    r"\bcapa\b:?(?:(?:,| y)? (?:blocks|rows|vines|samples|bud_checks|scores|harvest)\b)+|\b[a-z]+(?:_[a-z]+)+\b"
)


#: Rooms that are no list of words: pieces of sources, and help with its commands.
BESIDE = ("phrases", "help")


def words_of(text: str) -> set[str]:
    return set(re.findall(r"[a-záéíóúñü]{3,}", text.casefold()))


def english_words() -> set[str]:
    lists = word_lists()

    def outcome(language: str) -> set[str]:
        texts = [text for room, names in lists[language].items() if room not in BESIDE for text in names.values()]
        return words_of(re.sub(r"\{[^}]*\}", "", LAYERS_NAMED.sub(" ", " ".join(texts))))

    pieces = " ".join(lists["en"]["phrases"].values())
    for name in NAMES:
        pieces = pieces.replace(name, " ")
    small = set(re.findall(r"\b[a-z]{3,}\b(?!\.com)", pieces))  # capitals begin names of people, places and cultivars
    allowed = {"web", "normal", "total", "plan", "error", "real", "base", "reml", "fig", "english", "index"}
    return (outcome("en") | small) - outcome("es") - allowed


ENGLISH = english_words()


def english_in(text: str) -> list[str]:
    for name in NAMES:
        text = text.replace(name, " ")
    text = LAYERS_NAMED.sub(" ", text)
    return sorted(words_of(text) & ENGLISH)


def shown_text(page: str) -> str:
    """Text of a page and of its drawings, with what is read aloud, but without codes of data."""
    plain = re.sub(r"<(style|script|code)\b.*?</\1>", " ", page, flags=re.DOTALL)
    spoken = " ".join(re.findall(r'(?:aria-label|title|alt)="([^"]*)"', plain))
    return unescape(re.sub(r"<[^>]+>", " ", plain) + " " + spoken)


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: Any) -> tuple[Path, str]:
    out = tmp_path_factory.mktemp("spanish") / "out"
    files = (str(DEMO / "estate.gpkg"), "--samples", str(DEMO / "weights.csv"), "--harvest", str(DEMO / "harvest.csv"))
    done = CliRunner().invoke(main, ["prescribe", *files, "--out", str(out), "--lang", "es", "--units", "metric"])
    assert done.exit_code == 0, done.output
    return out, done.output


def test_the_english_list_is_one() -> None:
    assert {"vines", "spurs", "averaged", "cooler", "weak", "buds"} <= ENGLISH
    assert english_in("El mapa falla por cooler climates") == ["climates", "cooler"]
    assert english_in("Vea la capa vines, no the vines") == ["the", "vines"]


def test_the_terminal_is_spanish(outcome: tuple[Path, str]) -> None:
    out, terminal = outcome
    assert english_in(terminal.replace(str(out), "")) == []


@pytest.mark.parametrize("block", BLOCKS)
@pytest.mark.parametrize("page", ["report", "crew_sheet", "crew_card"])
def test_pages_are_spanish(outcome: tuple[Path, str], block: str, page: str) -> None:
    html = (outcome[0] / block / f"{page}.html").read_text("utf-8")
    files = html.find("SHA-256")
    tail = html.find("Versiones", files)
    assert english_in(shown_text(html[:files] if tail > 0 else html)) == []


@pytest.mark.parametrize("block", BLOCKS)
@pytest.mark.parametrize("sheet", ["crew_sheet", "crew_card"])
def test_sheets_are_spanish(outcome: tuple[Path, str], block: str, sheet: str) -> None:
    command = ["pdftotext", "-layout", str(outcome[0] / block / f"{sheet}.pdf"), "-"]
    assert english_in(subprocess.run(command, capture_output=True, check=True).stdout.decode()) == []


@pytest.mark.browser
@pytest.mark.parametrize("place", [*(f"{block}/map.html" for block in BLOCKS), "index.html"])
def test_maps_are_spanish(outcome: tuple[Path, str], open_page: Callable, place: str) -> None:
    page = open_page((outcome[0] / place).read_text("utf-8")).page
    for drawer in page.locator("details summary").all():
        drawer.click()
    spoken = page.evaluate(
        "[...document.querySelectorAll('[aria-label]')].map((e) => e.getAttribute('aria-label')).join(' ')"
    )
    text = page.locator("body").inner_text() + " " + spoken
    for note in pd.read_csv(DEMO / "weights.csv")["note"].dropna().unique():  # told as they were written
        text = text.replace(note, " ")
    assert english_in(text) == []


@pytest.mark.parametrize("block", BLOCKS)
def test_sentences_of_the_summary_are_spanish(outcome: tuple[Path, str], block: str) -> None:
    blocks = json.loads((outcome[0] / "summary.json").read_text("utf-8"))["blocks"]
    found = next(entry for entry in blocks.values() if entry["folder"] == block)
    said = [*found["verdict_reasons"], *found["notes"], *(remark["text"] for remark in found["remarks"])]
    said += [sentence for entry in found["advice"] for sentence in entry["sentences"]]
    assert english_in(" ".join(said)) == []


def test_texts_of_the_rule_book_are_spanish() -> None:
    book, kinds = load_rules(), ("pruning_weight", "crop_load", "cane_weight", "shoots")
    entries = [*book.rules, *load_methods().values(), *load_trainings().values()]
    texts = [getattr(entry, name) for entry in entries for name in ("title", "source", "tag") if hasattr(entry, name)]
    texts += [band.source for kind in kinds for band in find_bands(kind)]
    texts += [band.validity for kind in kinds for band in find_bands(kind) if band.tag == "memory"]
    left = {text: english_in(Reader("es").phrase(text)) for text in texts}
    assert {text: words for text, words in left.items() if words} == {}
