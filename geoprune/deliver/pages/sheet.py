"""The crew's sheet as PDF and as a page, from the same content."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from geoprune import look
from geoprune.brief import BlockBrief
from geoprune.deliver.edition import PAPERS, Edition
from geoprune.deliver.pages.block_picture import draw_block
from geoprune.deliver.pages.content import sheet_content
from geoprune.deliver.pages.templates import page_templates
from geoprune.deliver.pages.text import css_string
from geoprune.deliver.pages.typesetting import typeset

pages = page_templates()
pages.filters["css_string"] = css_string
#: Size of the block's picture on a page, points.
SCREEN = (420.0, 320.0)
#: The same on the sheet: width beside the notes and above them, height that so many zones leave, height of the notes.
BESIDE, ACROSS, HIGH, NOTES = 330.0, 535.0, {1: 520.0, 2: 440.0, 3: 360.0, 4: 300.0}, 118.0


@lru_cache(maxsize=2)
def content_of(edition: Edition) -> dict[str, Any]:
    """Return the sheet's content; sheet and card, on paper and on a screen, share it."""
    return sheet_content(edition.brief, edition.reader, made=edition.style.made)


def crew_sheet_pdf(edition: Edition) -> bytes:
    """Return the crew's sheet as PDF: page one with numbers, picture and drawn vines, then the row list."""
    content, (width, height) = content_of(edition), picture_size(edition.brief)
    drawn = "" if content["stop"] else draw_block(edition.brief, edition.reader, width=width, height=height)
    paper = PAPERS[edition.style.paper]["sheet"]
    return typeset(
        "sheet.typ", {**content, "picture": drawn, "across": width == ACROSS, "paper": paper}, made=edition.style.made
    )


def crew_sheet_html(edition: Edition) -> str:
    """Return the crew's sheet as one self-contained page without scripts."""
    content = content_of(edition)
    drawn = "" if content["stop"] else draw_block(edition.brief, edition.reader, width=SCREEN[0], height=SCREEN[1])
    css = PAPERS[edition.style.paper]["css"]
    return pages.get_template("sheet.html").render(content, picture=drawn, look=look, paper_size=css)


def picture_size(brief: BlockBrief) -> tuple[float, float]:
    """Return the size of the picture on the sheet: above the notes where the block comes out larger so, else beside."""
    west, south, east, north = brief.plan.polygon.bounds
    high = HIGH[len(brief.zones)]
    sizes = ((BESIDE, high), (ACROSS, high - NOTES))
    scales = [min((w - 100) / (east - west), (h - 64) / (north - south)) for w, h in sizes]
    return sizes[int(scales[1] > scales[0])]
