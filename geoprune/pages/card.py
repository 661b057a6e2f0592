"""The pocket card: one small page a block, as PDF and as a page, from the sheet's content."""

from __future__ import annotations

from datetime import date
from typing import Any

from geoprune import look
from geoprune.pages.block_picture import draw_block
from geoprune.pages.content import sheet_content
from geoprune.pages.sheet import pages
from geoprune.pages.typesetting import PAPERS, check_paper, typeset
from geoprune.plan import BlockPlan
from geoprune.words import word_lists

#: Size of the block's picture, points.
PICTURE = (330.0, 250.0)


def crew_card_pdf(
    plan: BlockPlan, *, units: str = "us", language: str = "en", paper: str = "letter", made: date | None = None
) -> bytes:
    """Return the pocket card as PDF: half a letter page, or A6 where the paper is A4.

    Raises
    ------
    ValueError
        If the paper is unknown.
    """
    day = made or date.today()
    return typeset("card.typ", _content(plan, units=units, language=language, paper=paper, made=day), made=day)


def crew_card_html(
    plan: BlockPlan, *, units: str = "us", language: str = "en", paper: str = "letter", made: date | None = None
) -> str:
    """Return the pocket card as one self-contained page without scripts; parameters as of `crew_card_pdf`."""
    told = _content(plan, units=units, language=language, paper=paper, made=made or date.today())
    return pages.get_template("card.html").render(told, look=look, paper_size="auto")


def _content(plan: BlockPlan, *, units: str, language: str, paper: str, made: date) -> dict[str, Any]:
    check_paper(paper)
    told = sheet_content(plan, language=language, units=units, made=made)
    drawn = "" if told["stop"] else draw_block(plan, told["words"], width=PICTURE[0], height=PICTURE[1])
    width, height = PAPERS[paper]["card"]
    title = word_lists()[language]["card"]["title"]
    return {**told, "rows": [], "title": title, "picture": drawn, "width": width, "height": height}
