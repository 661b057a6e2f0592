"""Names of zones that were given: shown on map, sheet, card and terminal, and never more than text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from io import StringIO
from pathlib import Path

import pytest
from invented_plan import HOSTILE
from rich.console import Console
from sheet_plans import sheet_plan

from geoprune.cli.summary import print_summary
from geoprune.maps import render_block_map
from geoprune.pages import crew_card_html, crew_card_pdf, crew_sheet_html, crew_sheet_pdf
from geoprune.plan import BlockPlan, EstatePlan, PlanOptions

MADE = date(2026, 12, 3)


def named(*names: str) -> BlockPlan:
    plan = sheet_plan(rows=10, vines=40, zones=len(names))
    return replace(plan, zones=plan.zones.assign(given_as=list(names)))


def test_a_name_that_is_a_number_is_no_name() -> None:
    assert named("2", "Frost hollow").zone_names == {2: "Frost hollow"}
    assert sheet_plan(rows=10, vines=40).zone_names == {}


def test_sheet_and_card_show_names_beside_the_class() -> None:
    plan = named("Gravel bank", "Frost hollow")
    for page in (crew_sheet_html(plan), crew_card_html(plan)):
        assert "<h3>Gravel bank</h3>" in page
        assert "<h3>Frost hollow</h3>" in page
    assert "small vines, " in crew_sheet_html(plan)


def test_hostile_names_stay_text(open_page: Callable) -> None:
    plan = named(HOSTILE, HOSTILE + "{{7*7}}")
    for page in (crew_sheet_html(plan), crew_card_html(plan)):
        assert "<img" not in page
        assert "<script" not in page
        assert "49" not in page.split("<body>")[1].split("<table")[0].split("</h3>")[0]
    assert crew_sheet_pdf(plan, made=MADE).startswith(b"%PDF")
    assert crew_card_pdf(plan, made=MADE).startswith(b"%PDF")
    watched = open_page(render_block_map(plan))
    watched.page.on("dialog", lambda dialog: pytest.fail("a name ran"))
    assert "</script>" in watched.page.locator("#zones").inner_text()
    assert watched.page.locator("#zones img").count() == 0
    assert not [message for message in watched.messages if "Error" in message]
    console = Console(record=True, width=300, file=StringIO())
    print_summary(console, EstatePlan((plan,), plan.crs, PlanOptions()), Path("out"), language="en", units="us")
    told = console.export_text()
    assert not set(told) & {"\u202e", "\x07"}
