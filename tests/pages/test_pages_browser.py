"""Sheets, cards and reports in headless Chromium, opened from a file with the network off."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from small_plans import HOSTILE, UTM, brief_without_number, edition, pages_of, small_plan

from geoprune.deliver.edition import Style
from geoprune.deliver.folders import block_folders
from geoprune.deliver.pages import crew_card_html, crew_sheet_html, report_html
from geoprune.errors import Message
from geoprune.plan import EstatePlan, PlanOptions

pytestmark = pytest.mark.browser
DRAW = {"sheet": crew_sheet_html, "card": crew_card_html, "report": report_html}


@pytest.fixture(scope="module")
def hostile() -> Any:
    return small_plan("flat cane", rows=12, vines=40, name=HOSTILE, note=HOSTILE)


@pytest.mark.parametrize("kind", DRAW)
@pytest.mark.parametrize("language", ["en", "es"])
def test_nothing_in_a_name_runs_and_nothing_is_asked_for(
    open_page: Callable, hostile: Any, kind: str, language: str
) -> None:
    watched = open_page(DRAW[kind](edition(hostile, language=language)), width=360, height=740)
    assert watched.page.evaluate("window.PWNED") is None
    assert watched.messages == []
    assert len(watched.requests) == 1
    assert watched.page.locator("script, img, iframe, object, link").count() == 0
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= 360
    assert watched.page.locator("html").get_attribute("lang") == language


@pytest.mark.parametrize("width", [1000, 360])
@pytest.mark.parametrize("kind", [*DRAW, "stopped"])
def test_no_accessibility_violation_is_found(open_page: Callable, kind: str, width: int) -> None:
    # axe-core: the rules of WCAG 2.1 A and AA (contrast among them) and its best practices, as carried by
    # axe-playwright-python; its own script has to run, which the page's policy forbids, so that is lifted here.
    from axe_playwright_python.sync_playwright import Axe

    plan = brief_without_number() if kind == "stopped" else small_plan(rows=10, vines=40)
    watched = open_page(DRAW.get(kind, crew_sheet_html)(edition(plan)), width=width, height=800, bypass_csp=True)
    for drawer in watched.page.locator("details summary").all():
        drawer.click()
    result = Axe().run(watched.page)
    assert result.violations_count == 0, result.generate_report()


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_printed_from_the_browser_no_row_is_split(open_page: Callable, tmp_path: Path, paper: str) -> None:
    plan = small_plan(rows=60, vines=80, zones=4, seed=4)
    watched = open_page(crew_sheet_html(edition(plan, paper=paper)))
    pdf = tmp_path / "printed.pdf"
    watched.page.pdf(path=str(pdf), prefer_css_page_size=True)
    text = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, check=True).stdout.decode()
    pages = text.split("\f")[:-1]
    line = re.compile(r"(?:end|\d+)\s*→\s*(?:end|\d+)\s+\d+\s*–\s*\d+\s")
    found = [number for number, page in enumerate(pages) for text in page.splitlines() if line.search(text)]
    assert len(found) == len(plan.runs)
    for row in plan.runs["row"].unique():
        held = {found[index] for index in (plan.runs["row"] == row).to_numpy().nonzero()[0]}
        assert len(held) == 1
    assert all("Creek Bench" in page for page in pages)
    assert "Row by row" in pages[1]  # numbers, picture and cautions fit on the first


def test_the_numbers_of_a_sheet_are_large_on_a_phone(open_page: Callable) -> None:
    watched = open_page(crew_sheet_html(edition(small_plan(rows=10, vines=40))), width=360, height=740)
    sizes = watched.page.evaluate(
        "[...document.querySelectorAll('.number b')].map(n => parseFloat(getComputedStyle(n).fontSize))"
    )
    # 40 pt in CSS pixels of 1/96 inch (CSS Values and Units Level 3, section 6.2).
    assert len(sizes) == 3
    assert min(sizes) >= 40 * 96 / 72


def test_the_map_and_the_estate_lead_to_sheet_card_and_report(open_page: Callable) -> None:
    plan = small_plan(rows=8, vines=30)
    folders = block_folders([plan.name])
    pages = dict(pages_of(EstatePlan((plan,), UTM, PlanOptions()), Style()))
    folder = folders[plan.name]
    for page, prefix in ((f"{folder}/map.html", ""), ("index.html", f"{folder}/")):
        watched = open_page(str(pages[page]))
        found = watched.page.evaluate("[...document.querySelectorAll('.links a')].map(a => a.getAttribute('href'))")
        wanted = [f"{prefix}{name}" for name in ("crew_sheet.html", "crew_sheet.pdf", "crew_card.html", "report.html")]
        assert set(wanted) <= set(found)
        assert {link if prefix else f"{folder}/{link}" for link in found} <= pages.keys()


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("zones", [1, 3])
def test_a_row_list_is_not_cut_on_a_phone(open_page: Callable, language: str, zones: int) -> None:
    plan = small_plan(rows=12, vines=120, zones=zones)
    page = open_page(crew_sheet_html(edition(plan, language=language)), width=360, height=740).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("zones", [3, 4])
def test_a_card_prints_numbers_on_its_front_and_notes_on_its_back(
    open_page: Callable, tmp_path: Path, language: str, zones: int
) -> None:
    plan = small_plan(rows=12, vines=60, zones=zones)
    note = Message("rules.renew_share", {"percent": 12.0, "pounds": 0.25, "kilograms": 0.1134})
    plan = replace(plan, advice=(replace(plan.advice[0], notes=(note,)), *plan.advice[1:]))
    pdf = tmp_path / "card.pdf"
    page = open_page(crew_card_html(edition(plan, language=language, paper="a4"))).page
    page.pdf(path=str(pdf), prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes())) == 2
