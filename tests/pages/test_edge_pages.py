"""Sheets, cards and reports of ten vineyards at the edges: what they say is what an adviser would stand behind."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from functools import cache
from html import unescape
from itertools import product
from pathlib import Path

import pytest
import small_plans
from edge_vineyards import EDGES, edge_brief
from small_plans import edition

from geoprune.brief import brief_block
from geoprune.deliver.maps import render_block_map
from geoprune.deliver.pages import crew_card_html, crew_card_pdf, crew_sheet_html, crew_sheet_pdf, report_html
from geoprune.plan import make_plan
from geoprune.words import Reader, languages

poppler = pytest.mark.skipif(shutil.which("pdftohtml") is None, reason="needs poppler")
HTML = {"sheet": crew_sheet_html, "card": crew_card_html, "report": report_html}
PDF = {"sheet": crew_sheet_pdf, "card": crew_card_pdf}
NO_NUMBER = ("tiny", "young", "95 % dead")


@cache
def page(kind: str, name: str, language: str = "en") -> str:
    """Text of a page as it is read, drawings left out."""
    html = HTML[kind](edition(edge_brief(name), language=language))
    plain = re.sub(r"<(style|script|svg)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", plain)))


@poppler
@pytest.mark.parametrize("name", EDGES)
def test_whatever_the_crew_reads_is_10_points_or_larger(name: str, tmp_path: Path) -> None:
    small = []
    for kind, (paper, language) in product(PDF, (("letter", "en"), ("a4", "es"))):
        file = tmp_path / f"{kind}.pdf"
        file.write_bytes(PDF[kind](edition(edge_brief(name), language=language, paper=paper)))
        command = ["pdftohtml", "-xml", "-zoom", "1", "-i", "-stdout", str(file)]
        told = subprocess.run(command, capture_output=True, check=True).stdout.decode()
        sizes = {found[0]: int(found[1]) for found in re.findall(r'<fontspec id="(\d+)" size="(\d+)"', told)}
        for face, text in re.findall(r'<text[^>]* font="(\d+)">(.*?)</text>', told):
            plain = re.sub(r"<[^>]+>", "", text)
            if len(re.findall(r"[^\W\d]{2,}", plain)) >= 3 and sizes[face] < 10:  # sentences, not names in the picture
                small.append((kind, language, sizes[face], plain))
    assert small == []


@pytest.mark.parametrize("name", EDGES)
@pytest.mark.parametrize("language", languages())
def test_a_number_is_called_a_guide_only_where_there_is_one(name: str, language: str) -> None:
    guide = {"en": "number is a guide", "es": "número es una guía"}[language]
    for kind in HTML:
        assert (guide in page(kind, name, language).replace("A number", "number")) is (name not in NO_NUMBER), kind


@pytest.mark.parametrize("kind", HTML)
def test_young_vines_are_formed_and_never_renewed(kind: str) -> None:
    # Smith 2023, Ohio State University: pruning is for structure, not crop, under three years
    told = page(kind, "young")
    assert "keep the straightest strong cane" in told
    assert "Leave no wood for fruit" in told
    assert "To renew" not in told
    assert "Renew a vine" not in told
    assert not (edge_brief("young").plan.vines["treatment"] == "renew").any()


@pytest.mark.parametrize("kind", ["sheet", "card"])
def test_where_all_vines_are_renewed_rows_do_not_say_so_one_by_one(kind: str) -> None:
    told = page(kind, "tiny")
    assert told.count("To renew: leave two buds") == 1
    assert "above the graft" in told
    assert "Do not leave the number" not in told
    assert "fewer than 3 canes" not in told
    assert "Renew, no crop:" not in told


@pytest.mark.parametrize("kind", ["sheet", "card"])
@pytest.mark.parametrize("name", ["sick", "tiny", "young", "huge"])
def test_what_to_do_at_a_sick_vine_is_told_where_the_crew_meets_one(kind: str, name: str) -> None:
    assert any("sick" in row.apart for row in edge_brief(name).rows)
    told = page(kind, name)
    for part in ("prune them last", "clean the shears", "mark them"):
        assert told.count(part) == 1, part


@pytest.mark.parametrize("name", EDGES)
@pytest.mark.parametrize("language", languages())
def test_which_wood_to_keep_stands_on_sheet_and_card_where_a_number_does(name: str, language: str) -> None:
    reader = Reader(language, "us")
    for kind, note in product(("sheet", "card"), ("keep_wood", "not_bull_wood")):
        assert (reader.words("cautions")[note] in page(kind, name, language)) is (name not in NO_NUMBER), (kind, note)


@pytest.mark.parametrize("name", NO_NUMBER)
@pytest.mark.parametrize("language", languages())
def test_a_report_without_a_number_speaks_of_none(name: str, language: str) -> None:
    told, words = page("report", name, language), Reader(language, "us").words("report")
    for head in ("benefit_head", "histogram_head", "more_head"):
        assert words[head] not in told
    for word in {"en": ("buds too many", "Opportunity"), "es": ("yemas de lo que la cepa", "Índice de oportunidad")}[
        language
    ]:
        assert word not in told


@pytest.mark.parametrize("name", EDGES)
def test_one_number_is_not_told_as_zones(name: str) -> None:
    told = page("report", name)
    assert ("The zones account for" in told) is (len(edge_brief(name).zones) > 1)
    if len(edge_brief(name).zones) == 1:
        assert "With these zones" not in told


@pytest.mark.parametrize("name", EDGES)
def test_no_error_reads_as_nothing(name: str) -> None:
    assert not re.search(r"± 0\.0+ (lb|kg)", page("report", name))


@pytest.mark.parametrize("name", EDGES)
def test_a_sentence_is_not_told_twice_in_a_part_of_the_report(name: str) -> None:
    brief, reader = edge_brief(name), Reader("en", "us")
    for message in brief.plan.injury.messages if brief.plan.injury else ():
        # where there is no number none waits for buds to be cut
        wanted = 0 if message.key == "injury.none" and name in NO_NUMBER else 1
        assert page("report", name).count(reader.say(message)) == wanted


def test_two_canes_for_a_vine_of_usual_size_are_no_sign_of_rank_growth() -> None:
    # 0.5 kg/m at 1.8 m: within 0.5-1.0 kg/m of canopy (Kliewer & Dokoozlian 2005), not above 0.3-0.6 (from memory)
    (zone,) = edge_brief("vertical shoots").zones
    assert zone.condition_key == "unknown"
    told = page("report", "vertical shoots")
    assert "see in summer whether the shoots grow too strong" in told
    assert "nitrogen" not in told


def test_half_the_buds_dead_is_no_keeping_on() -> None:
    told = page("report", "half dead")
    assert "In balance" in told
    assert "Carry on as you are" not in told
    assert "does not make up for all the dead" in told


def test_given_zones_of_one_number_are_not_taped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(small_plans.SIZES_KG, 2, [0.9, 0.9])
    field = small_plans.Field(name="Alike", rows=10, vines=30, zones=2)
    plan = make_plan(small_plans.vineyard_of(field, samples=30), given_zones=small_plans._given(field))[0]
    assert plan.zones["buds_per_vine"].nunique() == 1
    assert len(plan.zones) == 2
    assert plan.flags.empty
    brief = brief_block(plan)
    assert not brief.taped
    told = crew_sheet_html(edition(brief))
    assert "One number for the whole block. No tape." in told
    assert "of tape" not in told
    assert plan.benefit.zones.worth.marks == 0
    assert brief.headline == "given"
    assert "have one and the same number: no post is taped" in report_html(edition(brief))


@pytest.mark.browser
@pytest.mark.parametrize("name", ["young", "half dead"])
def test_the_map_calls_a_number_a_guide_only_where_there_is_one(open_page: Callable, name: str) -> None:
    opened = open_page(render_block_map(edition(edge_brief(name)))).page
    assert ("number is a guide" in opened.locator("#cautions").inner_text()) is (name not in NO_NUMBER)
