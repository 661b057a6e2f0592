"""Vines that are not pruned to the number are told to the crew: gone, young, sick, and those to renew without a crop."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from datetime import date
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console
from sheet_plans import sheet_plan

from geoprune.cli.summary import print_summary
from geoprune.errors import Message
from geoprune.maps import render_block_map
from geoprune.pages import crew_card_html, crew_sheet_html, crew_sheet_pdf
from geoprune.pages.content import sheet_content, told_numbers, treated_apart
from geoprune.plan import BlockPlan, EstatePlan, PlanOptions, young_messages
from geoprune.rules import RENEW_BELOW_KG, load_rules
from geoprune.words import languages, say, word_lists

MADE = date(2026, 12, 3)


def plan_with(*, small_row: str = "3") -> BlockPlan:
    """A plan where the map expects small vines in the first panel of a row, and a weighed vine elsewhere is small."""
    plan = sheet_plan(rows=10, vines=40)
    first = (plan.panels["row"] == small_row) & (plan.panels["first_vine"] == 1)
    samples = plan.samples.assign(used=True)
    samples.loc[samples.index[0], "vine_weight_kg"] = 0.9 * RENEW_BELOW_KG
    samples.loc[samples.index[1:], "vine_weight_kg"] = samples["vine_weight_kg"][1:].clip(lower=RENEW_BELOW_KG)
    note = Message("rules.renew_share", {"percent": 12.0, "pounds": 0.25, "kilograms": RENEW_BELOW_KG})
    advice = (replace(plan.advice[0], notes=(note,)), *plan.advice[1:])
    return replace(plan, panels=plan.panels.assign(renew_share=np.where(first, 0.8, 0.1)), samples=samples, advice=advice)


def test_numbers_are_drawn_together() -> None:
    assert told_numbers([3]) == "3"
    assert told_numbers([1, 2, 3, 5, 8, 9]) == "1–3, 5, 8–9"


def test_every_vine_of_a_status_is_listed_under_its_row_and_no_other() -> None:
    plan = plan_with()
    apart = treated_apart(plan)
    for kind, statuses in (("gone", ["missing", "dead"]), ("young", ["young"]), ("sick", ["diseased"])):
        of_kind = plan.vines[plan.vines["status"].isin(statuses)]
        wanted = {(row, vine) for row, vine in zip(of_kind["row"], of_kind["vine"], strict=True)}
        assert {(row, vine) for row, kinds in apart.items() for vine in kinds.get(kind, [])} == wanted
        assert wanted


def test_vines_to_renew_are_those_weighed_small_and_those_of_small_panels() -> None:
    plan = plan_with()
    weighed = plan.samples.iloc[0]
    panel = plan.panels[plan.panels["renew_share"] > 0.5].iloc[0]
    alive = set(plan.vines.loc[(plan.vines["row"] == "3") & (plan.vines["status"] == "bearing"), "vine"])
    wanted = {("3", vine) for vine in range(1, int(panel["last_vine"]) + 1) if vine in alive}
    wanted |= {(weighed["row"], int(weighed["vine"]))}
    found = {(row, vine) for row, kinds in treated_apart(plan).items() for vine in kinds.get("renew", [])}
    assert found == wanted


@pytest.mark.parametrize("language", languages())
def test_sheet_and_card_say_how_many_and_what_to_do(language: str) -> None:
    words, plan = word_lists()[language]["sheet"], plan_with()
    sheet, card = crew_sheet_html(plan, language=language), crew_card_html(plan, language=language)
    for page in (sheet, card):
        assert words["renew_how"] in page
    assert words["renew_some"].format(percent=12.0) in card
    assert "0.25 lb (0.11 kg)" in sheet
    assert words["apart_young"].split("{")[0] in sheet
    quiet = replace(plan, panels=plan.panels.assign(renew_share=0.0), samples=plan.samples.iloc[1:], advice=plan.advice[1:])
    assert sheet_content(quiet, language=language, made=MADE)["renew"] == ""


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs Debian's package poppler-utils")
def test_the_pdf_lists_them_under_the_row(tmp_path: Path) -> None:
    plan, file = plan_with(), tmp_path / "sheet.pdf"
    file.write_bytes(crew_sheet_pdf(plan, made=MADE))
    told = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True, text=True).stdout
    groups = sheet_content(plan, made=MADE)["rows"]
    assert [group["apart"] for group in groups if group["apart"]]
    flat = " ".join(told.split())
    assert all(group["apart"] in flat for group in groups)


@pytest.mark.parametrize("language", languages())
def test_young_blocks_are_told_everywhere(language: str) -> None:
    plan = sheet_plan(rows=10, vines=40)
    rule = load_rules().resolve("20+20", "Riesling", planted=2025, season=2026)
    status = plan.vines["status"].where(plan.vines["vine"] > 8, "young")
    young = replace(plan, rule=rule, vines=plan.vines.assign(status=status))
    told = [say(message, language, "us") for message in young_messages(young)]
    assert [message.key for message in young_messages(young)] == ["rules.young_vines", "plan.many_young"]
    console = Console(record=True, width=400, file=StringIO())
    print_summary(console, EstatePlan((young,), plan.crs, PlanOptions()), Path("out"), language=language, units="us")
    terminal = console.export_text()
    for sentence in told:
        assert sentence in terminal
        assert sentence in crew_sheet_html(young, language=language)
        assert sentence in crew_card_html(young, language=language)
    assert young_messages(plan) == ()
    assert render_block_map(young) != render_block_map(replace(young, rule=None))
