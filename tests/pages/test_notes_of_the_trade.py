"""Wood to keep is told on the crew's sheet, frost in the report, sick vines in the block's notes: each once."""

from __future__ import annotations

import pytest
from markupsafe import escape
from small_plans import brief_without_number, edition, small_brief, small_plan

from geoprune.brief import BlockBrief
from geoprune.deliver.pages import crew_sheet_html, report_html
from geoprune.deliver.pages.content import sheet_content
from geoprune.rules import frost_notes, wood_notes
from geoprune.words import Reader, languages


@pytest.fixture(scope="module")
def brief() -> BlockBrief:
    return small_brief()


@pytest.mark.parametrize("language", languages())
def test_the_wood_to_keep_is_reported_once_on_the_sheet(brief: BlockBrief, language: str) -> None:
    page, reader = crew_sheet_html(edition(brief, language=language)), Reader(language, "us")
    for note in wood_notes():
        assert page.count(str(escape(reader.say(note)))) == 1
    assert page.index(reader.say(wood_notes()[0])) < page.index(reader.words("sheet")["bud_head"])


@pytest.mark.parametrize("language", languages())
def test_frost_is_reported_once_in_the_report(brief: BlockBrief, language: str) -> None:
    page, reader = report_html(edition(brief, language=language)), Reader(language, "us")
    for note in frost_notes("Chambourcin", "French hybrids"):
        assert page.count(str(escape(reader.say(note)))) == 1


def test_where_nobody_prunes_neither_is_reported() -> None:
    stopped = brief_without_number()
    assert stopped.wood_notes == stopped.frost_notes == ()
    assert sheet_content(stopped, Reader("en", "us"), made=edition(stopped).style.made)["wood_notes"] == []
    assert Reader("en", "us").words("report")["frost_head"] not in report_html(edition(stopped))


@pytest.mark.parametrize("language", languages())
def test_what_is_done_at_sick_vines_is_reported_once_in_the_report(language: str) -> None:
    plan, reader = small_plan(), Reader(language, "us")
    assert (plan.vines["status"] == "diseased").any()
    (note,) = (note for note in plan.notes if note.key == "cautions.sick_vines")
    assert report_html(edition(plan, language=language)).count(str(escape(reader.say(note)))) == 1
