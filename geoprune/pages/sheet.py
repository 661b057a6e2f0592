"""The crew's sheet as PDF and as a page, from the same content."""

from __future__ import annotations

from datetime import date

from jinja2 import Environment, PackageLoader, StrictUndefined

from geoprune import look
from geoprune.pages.block_picture import draw_block
from geoprune.pages.content import sheet_content
from geoprune.pages.typesetting import PAPERS, check_paper, typeset
from geoprune.plan import BlockPlan

pages = Environment(loader=PackageLoader("geoprune", "pages"), autoescape=True, undefined=StrictUndefined)
#: Size of the block's picture on a page, points.
SCREEN = (420.0, 320.0)
#: The same on the sheet: width beside the notes and above them, height that so many zones leave, height of the notes.
BESIDE, ACROSS, HIGH, NOTES = 330.0, 535.0, {1: 520.0, 2: 440.0, 3: 360.0, 4: 300.0}, 118.0


def crew_sheet_pdf(
    plan: BlockPlan, *, units: str = "us", language: str = "en", paper: str = "letter", made: date | None = None
) -> bytes:
    """Return the crew's sheet as PDF: page one with numbers, picture and drawn vines, then the row list.

    Parameters
    ----------
    plan : BlockPlan
    units : {"us", "metric"}
    language : str
        Code of a word list.
    paper : {"letter", "a4"}
    made : date, optional
        The day on the sheet; today where not given.

    Raises
    ------
    ValueError
        If the paper is unknown.
    """
    check_paper(paper)
    day = made or date.today()
    told = sheet_content(plan, language=language, units=units, made=day)
    width, height = picture_size(plan)
    drawn = "" if told["stop"] else draw_block(plan, told["words"], width=width, height=height)
    return typeset(
        "sheet.typ", {**told, "picture": drawn, "across": width == ACROSS, "paper": PAPERS[paper]["sheet"]}, made=day
    )


def crew_sheet_html(
    plan: BlockPlan, *, units: str = "us", language: str = "en", paper: str = "letter", made: date | None = None
) -> str:
    """Return the crew's sheet as one self-contained page without scripts; parameters as of `crew_sheet_pdf`."""
    check_paper(paper)
    told = sheet_content(plan, language=language, units=units, made=made or date.today())
    drawn = "" if told["stop"] else draw_block(plan, told["words"], width=SCREEN[0], height=SCREEN[1])
    return pages.get_template("sheet.html").render(told, picture=drawn, look=look, paper_size=PAPERS[paper]["css"])


def picture_size(plan: BlockPlan) -> tuple[float, float]:
    """Return the size of the picture on the sheet: above the notes where the block comes out larger so, else beside."""
    west, south, east, north = plan.polygon.bounds
    high = HIGH[len(plan.zones)]
    sizes = ((BESIDE, high), (ACROSS, high - NOTES))
    scales = [min((w - 100) / (east - west), (h - 64) / (north - south)) for w, h in sizes]
    return sizes[int(scales[1] > scales[0])]
