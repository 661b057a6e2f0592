"""Names of zones that were given: shown on map, sheet, card and terminal, and never more than text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console
from small_plans import HOSTILE, edition, small_brief, small_plan

from geoprune.brief import brief_block
from geoprune.cli.summary import print_summary
from geoprune.deliver.maps import render_block_map
from geoprune.deliver.pages import crew_card_html, crew_card_pdf, crew_sheet_html, crew_sheet_pdf
from geoprune.jobs import Prescription
from geoprune.plan import BlockPlan
from geoprune.words import Reader


def named(*names: str) -> BlockPlan:
    plan = small_plan(rows=10, vines=40, zones=len(names))
    return replace(plan, zones=plan.zones.assign(given_as=list(names)))


def test_a_name_that_is_a_number_is_no_name() -> None:
    assert [zone.name for zone in brief_block(named("2", "Frost hollow")).zones] == [None, "Frost hollow"]
    assert {zone.name for zone in small_brief(rows=10, vines=40).zones} == {None}


def test_sheet_and_card_show_names_beside_the_class() -> None:
    plan = named("Gravel bank", "Frost hollow")
    for page in (crew_sheet_html(edition(plan)), crew_card_html(edition(plan))):
        assert "<h3>Gravel bank</h3>" in page
        assert "<h3>Frost hollow</h3>" in page
    assert "small vines, " in crew_sheet_html(edition(plan))


def test_hostile_names_stay_text(open_page: Callable) -> None:
    plan = named(HOSTILE, HOSTILE + "{{7*7}}")
    for page in (crew_sheet_html(edition(plan)), crew_card_html(edition(plan))):
        assert "<img" not in page
        assert "<script" not in page
        assert "49" not in page.split("<body>")[1].split("<table")[0].split("</h3>")[0]
    assert crew_sheet_pdf(edition(plan)).startswith(b"%PDF")
    assert crew_card_pdf(edition(plan)).startswith(b"%PDF")
    watched = open_page(render_block_map(edition(plan)))
    watched.page.on("dialog", lambda dialog: pytest.fail("a name ran"))
    assert "</script>" in watched.page.locator("#zones").inner_text()
    assert watched.page.locator("#zones img").count() == 0
    assert not [message for message in watched.messages if "Error" in message]
    console = Console(record=True, width=300, file=StringIO())
    print_summary(console, Prescription((brief_block(plan),), (), Path("out")), Reader())
    said = console.export_text()
    assert not set(said) & {"\u202e", "\x07"}
