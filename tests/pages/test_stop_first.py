"""A block, zone or part without a number is told before all else, on every page and on the terminal."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from datetime import date
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console
from sheet_plans import partly_stopped_plan, sheet_plan, stopped_plan

from geoprune.cli.summary import print_summary
from geoprune.errors import Message
from geoprune.maps import render_block_map, render_estate
from geoprune.maps.block_page import tell_block
from geoprune.maps.ground import lay_ground
from geoprune.maps.packing import Bundle
from geoprune.pages import crew_card_html, crew_card_pdf, crew_sheet_html, crew_sheet_pdf
from geoprune.pages.report import report_html
from geoprune.plan import BlockPlan, EstatePlan, PlanOptions, estate_stop_message, stop_message
from geoprune.words import languages, say, word_lists

MADE = date(2026, 12, 3)
SMALL = {"rows": 10, "vines": 40}


def parts_plan() -> BlockPlan:
    """A plan whose injury says that parts have no number."""
    plan = stopped_plan(**SMALL)
    assert plan.injury is not None
    said = Message("injury.stop_in_parts", {"limit_percent": 80.0})
    return replace(sheet_plan(**SMALL), injury=replace(plan.injury, messages=(said,)))


def plain_part(page: str) -> str:
    """What a browser without scripts shows of a map."""
    return page.split("<noscript>")[1].split("</noscript>")[0]


def test_all_of_a_block_some_zones_or_parts_stop() -> None:
    whole, zone = stopped_plan(**SMALL), partly_stopped_plan(**SMALL)
    assert whole.stopped
    assert not zone.stopped
    assert zone.stopped_zones == (1,)
    assert [message and message.key for message in map(stop_message, (whole, zone, parts_plan(), sheet_plan(**SMALL)))] == [
        *("map.verdict_stop", "map.stop_zones", "injury.stop_in_parts"),
        None,
    ]


def test_a_block_whose_only_zone_has_no_number_is_stopped() -> None:
    plan = sheet_plan(verdict="one_number", **SMALL)
    plan = replace(plan, zones=plan.zones.assign(buds_per_vine=float("nan")))
    assert plan.buds_per_vine is not None
    assert plan.stopped


@pytest.mark.parametrize("language", languages())
def test_the_sheet_and_the_card_say_so_before_the_verdict(language: str) -> None:
    plan = partly_stopped_plan(**SMALL)
    stop, words = say(stop_message(plan), language, "us"), word_lists()[language]["sheet"]
    for page in (crew_sheet_html(plan, language=language), crew_card_html(plan, language=language)):
        assert -1 < page.index(stop) < page.index(words["verdict_zone"].format(zones=3))
        assert f'<b class="word">{words["stop_word"]}</b>' in page
    assert page.index(stop) > 0
    report = report_html(plan, language=language)
    assert report.index(stop) < report.index(word_lists()[language]["report"]["verdict_zone"].format(zones=3))


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs Debian's package poppler-utils")
@pytest.mark.parametrize("draw", [crew_sheet_pdf, crew_card_pdf])
def test_the_pdf_says_so_too(draw, tmp_path: Path) -> None:
    file = tmp_path / "page.pdf"
    file.write_bytes(draw(partly_stopped_plan(**SMALL), made=MADE))
    told = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True, text=True).stdout
    assert told.index("STOP in zone 1") < told.index("3 numbers")


@pytest.mark.parametrize("language", languages())
def test_the_map_says_so_first_and_gives_no_number_for_the_whole_block(language: str) -> None:
    for plan in (partly_stopped_plan(**SMALL), stopped_plan(**SMALL)):
        said = plain_part(render_block_map(plan, language=language))
        stop = say(stop_message(plan), language, "us")
        assert said.index(stop) < said.index("<table>")
        assert word_lists()[language]["map"]["stop_word"] in said.split("<tbody>")[1]
        ground = lay_ground(plan)
        told = tell_block(plan, ground, Bundle(plan.vines.crs, ground.polygon.bounds[:2]))
        assert told["buds"] is None
        assert told["said"][language]["us"]["stop"] == stop


@pytest.mark.parametrize("language", languages())
def test_the_estate_names_them_and_counts_none_as_one_number(language: str) -> None:
    names = ("Dead", "Half", "Parts", "Well")
    plans = [
        replace(plan, name=name)
        for name, plan in zip(
            names, (stopped_plan(**SMALL), partly_stopped_plan(**SMALL), parts_plan(), sheet_plan(**SMALL)), strict=True
        )
    ]
    stop = estate_stop_message(plans)
    assert stop is not None
    told = say(stop, language, "us")
    assert [name in told for name in names] == [True, True, True, False]
    page = plain_part(render_estate(plans, links={}, language=language))
    counts = word_lists()[language]["map"]["estate_verdict"].format(zoned=3, one=0)
    assert -1 < page.index(told) < page.index(counts)
    assert estate_stop_message(plans[3:]) is None


def test_the_terminal_says_so_first(tmp_path: Path) -> None:
    plans = (sheet_plan(**SMALL), stopped_plan(**SMALL), partly_stopped_plan(**SMALL))
    plans = tuple(replace(plan, name=name) for plan, name in zip(plans, ("Well", "Dead", "Half"), strict=True))
    told = Console(record=True, width=200, file=StringIO())
    estate = EstatePlan(plans, plans[0].crs, PlanOptions())
    print_summary(told, estate, tmp_path, language="en", units="us")
    lines = told.export_text().splitlines()
    assert lines[0].startswith("STOP, no number: Dead; Half (zone 1).")
    assert any(line.startswith("Dead: STOP") for line in lines)
    assert any(line.startswith("Half: STOP in zone 1") for line in lines)
