"""A block, zone or part without a number is told before all else, on every page and on the terminal."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console
from small_plans import brief_partly_without_number, brief_without_number, edition, small_brief

from geoprune.brief import BlockBrief, brief_block, estate_alert
from geoprune.cli.summary import print_summary
from geoprune.deliver.edition import Style
from geoprune.deliver.maps import render_block_map, render_estate
from geoprune.deliver.maps.wording import block_words
from geoprune.deliver.pages import crew_card_html, crew_card_pdf, crew_sheet_html, crew_sheet_pdf, report_html
from geoprune.errors import Message
from geoprune.jobs import Prescription
from geoprune.words import Reader, languages, word_lists


def parts_brief() -> BlockBrief:
    """A brief of a block whose injury says that parts have no number."""
    injury = brief_without_number().plan.injury
    said = Message("injury.stop_in_parts", {"limit_percent": 80.0})
    return brief_block(replace(small_brief().plan, injury=replace(injury, messages=(said,))))


def plain_part(page: str) -> str:
    """What a browser without scripts shows of a map."""
    return page.split("<noscript>")[1].split("</noscript>")[0]


def test_all_of_a_block_some_zones_or_parts_stop() -> None:
    briefs = (brief_without_number(), brief_partly_without_number(), parts_brief(), small_brief())
    assert [brief.without_number for brief in briefs] == [True, False, False, False]
    assert [zone.zone for zone in briefs[1].zones if zone.buds is None] == [1]
    keys = ["brief.verdict_stop", "brief.stop_zones", "injury.stop_in_parts", None]
    assert [brief.alert and brief.alert.key for brief in briefs] == keys


def test_a_block_whose_only_zone_has_no_number_is_stopped() -> None:
    plan = small_brief(zones=1).plan
    assert plan.buds_per_vine is not None
    assert brief_block(replace(plan, zones=plan.zones.assign(buds_per_vine=float("nan")))).without_number


@pytest.mark.parametrize("language", languages())
def test_the_sheet_and_the_card_say_so_before_the_verdict(language: str) -> None:
    brief, reader = brief_partly_without_number(), Reader(language)
    stop, words = reader.say(brief.alert), word_lists()[language]["sheet"]
    for page in (crew_sheet_html(edition(brief, language=language)), crew_card_html(edition(brief, language=language))):
        assert -1 < page.index(stop) < page.index(reader.say(brief.crew_verdict))
        assert f'<b class="word">{words["stop_word"]}</b>' in page
    report = report_html(edition(brief, language=language))
    assert report.index(stop) < report.index(reader.say(brief.verdict))


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs Debian's package poppler-utils")
@pytest.mark.parametrize("draw", [crew_sheet_pdf, crew_card_pdf])
def test_the_pdf_says_so_too(draw: Callable, tmp_path: Path) -> None:
    file = tmp_path / "page.pdf"
    file.write_bytes(draw(edition(brief_partly_without_number())))
    said = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True, text=True).stdout
    assert said.index("STOP in zone 1") < said.index("3 numbers")


@pytest.mark.parametrize("language", languages())
def test_the_map_says_so_first_and_gives_no_number_for_the_whole_block(language: str) -> None:
    for brief in (brief_partly_without_number(), brief_without_number()):
        said = plain_part(render_block_map(edition(brief, language=language)))
        stop = Reader(language).say(brief.alert)
        assert said.index(stop) < said.index("<table>")
        assert word_lists()[language]["map"]["stop_word"] in said.split("<tbody>")[1]
        assert brief.buds is None
        assert brief.instead is None
        assert block_words(brief, Reader(language))["stop"] == stop


@pytest.mark.parametrize("language", languages())
def test_the_estate_names_them_and_counts_none_as_one_number(language: str) -> None:
    kinds = {
        "Dead": brief_without_number(),
        "Half": brief_partly_without_number(),
        "Parts": parts_brief(),
        "Well": small_brief(),
    }
    briefs = [brief_block(replace(brief.plan, name=name)) for name, brief in kinds.items()]
    said = Reader(language).say(estate_alert(briefs))
    assert [name in said for name in kinds] == [True, True, True, False]
    page = plain_part(render_estate(briefs, links={}, style=Style(Reader(language))))
    counts = word_lists()[language]["map"]["estate_verdict"].format(zoned=3, one=0)
    assert -1 < page.index(said) < page.index(counts)
    assert estate_alert(briefs[3:]) is None


def test_the_terminal_says_so_first(tmp_path: Path) -> None:
    kinds = {"Well": small_brief(), "Dead": brief_without_number(), "Half": brief_partly_without_number()}
    plans = tuple(replace(brief.plan, name=name) for name, brief in kinds.items())
    said = Console(record=True, width=200, file=StringIO())
    print_summary(said, Prescription(tuple(map(brief_block, plans)), (), tmp_path), Reader())
    lines = said.export_text().splitlines()
    assert lines[0].startswith("STOP, no number: Dead; Half (zone 1).")
    assert any(line.startswith("Dead: STOP") for line in lines)
    half = next(place for place, line in enumerate(lines) if line.startswith("Half: "))
    assert lines[half + 1].startswith("STOP in zone 1")
