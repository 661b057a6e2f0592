"""The sheets on how to weigh and how to cut buds: every step is told, in either language and in the reader's units."""

import re
from html import unescape

import pytest
from markupsafe import escape

from geoprune.deliver.edition import Style
from geoprune.deliver.weighing.pages import FIELD_SHEETS, field_sheet_html, field_sheet_pdf
from geoprune.words import Reader

READERS = [Reader(language, units) for language in ("en", "es") for units in ("us", "metric")]


@pytest.mark.parametrize("name", FIELD_SHEETS)
@pytest.mark.parametrize("reader", READERS, ids=lambda reader: f"{reader.language}-{reader.units}")
def test_every_step_is_reported_in_order_after_the_cautions(name, reader):
    sheet = FIELD_SHEETS[name]
    page = field_sheet_html(sheet, Style(reader=reader))
    said = [reader.say(line) for line in (sheet.title, sheet.why, *sheet.cautions, *sheet.steps, *sheet.columns)]
    body = page[page.index("<main>") :]
    places, start = [], 0
    for line in said:
        start = body.find(str(escape(line)), start)
        places.append(start)
    assert -1 not in places
    assert re.findall(r"<li>(.*?)</li>", body) == [str(escape(reader.say(step))) for step in sheet.steps]
    assert f'lang="{reader.language}"' in page
    assert "{" not in unescape(body)
    assert len(re.findall("<td></td>", body)) == sheet.lines * len(sheet.columns)


@pytest.mark.parametrize("name", FIELD_SHEETS)
def test_a_page_fetches_nothing_and_runs_nothing(name):
    page = field_sheet_html(FIELD_SHEETS[name], Style())
    assert re.findall(r"(?:src|href)=\"([^\"]*)\"", page) == ["index.html"]
    assert "<script" not in page
    assert "http:" not in page
    assert "https:" not in page


def test_thickness_is_reported_in_the_units_of_the_reader():
    pages = {
        units: field_sheet_html(FIELD_SHEETS["how_to_weigh"], Style(reader=Reader("en", units)))
        for units in ("us", "metric")
    }
    assert "0.25 in thick" in pages["us"]
    assert "6.3 mm thick" in pages["metric"]


def test_the_fewest_buds_and_the_hours_are_those_in_print():
    """Cornell (Martinson 2014): 6-8 buds on 6-10 canes, 24-48 h warm; Maryland (Fiola 2018): about 100 a block."""
    page = field_sheet_html(FIELD_SHEETS["buds_to_cut"], Style())
    for said in ("6 to 10 canes", "first 6 to 8 buds", "24 to 48 hours", "about 100 are better"):
        assert said in page


@pytest.mark.parametrize("name", FIELD_SHEETS)
@pytest.mark.parametrize("reader", READERS, ids=lambda reader: f"{reader.language}-{reader.units}")
@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_on_paper_it_is_one_leaf(name, reader, paper, tmp_path):
    pdf = field_sheet_pdf(FIELD_SHEETS[name], Style(reader=reader, paper=paper))
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2
