"""The pocket card: one small page a block, as PDF and as a page, from the sheet's content."""

from __future__ import annotations

from typing import Any

from geoprune import look
from geoprune.deliver.edition import PAPERS, Edition
from geoprune.deliver.pages.block_picture import draw_block
from geoprune.deliver.pages.sheet import content_of, pages
from geoprune.deliver.pages.typesetting import typeset

#: Size of the block's picture, points.
PICTURE = (330.0, 250.0)


def crew_card_pdf(edition: Edition) -> bytes:
    """Return the pocket card as PDF: half a letter page, or A6 where the paper is A4."""
    return typeset("card.typ", _content(edition), made=edition.style.made)


def crew_card_html(edition: Edition) -> str:
    """Return the pocket card as one self-contained page without scripts."""
    return pages.get_template("card.html").render(_content(edition), look=look, paper_size="auto")


def _content(edition: Edition) -> dict[str, Any]:
    content = content_of(edition)
    drawn = "" if content["stop"] else draw_block(edition.brief, edition.reader, width=PICTURE[0], height=PICTURE[1])
    width, height = PAPERS[edition.style.paper]["card"]
    title = edition.reader.words("card")["title"]
    return {**content, "rows": [], "title": title, "picture": drawn, "width": width, "height": height}
