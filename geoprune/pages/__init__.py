"""Pages for people, by their path in the results: maps, the estate's page, the crew's sheets and cards, reports."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from geoprune.errors import Remark
from geoprune.maps import render_block_map, render_estate
from geoprune.pages.card import crew_card_html, crew_card_pdf
from geoprune.pages.report import Provenance, report_html
from geoprune.pages.sheet import crew_sheet_html, crew_sheet_pdf
from geoprune.plan import BlockPlan

__all__ = ["Provenance", "all_pages", "crew_card_html", "crew_card_pdf", "crew_sheet_html", "crew_sheet_pdf", "report_html"]

#: A block's files by what they are (`maps.page.LINKS`).
FILES = {
    "map": "map.html",
    "sheet": "crew_sheet.html",
    "pdf": "crew_sheet.pdf",
    "card": "crew_card.html",
    "card_pdf": "crew_card.pdf",
    "report": "report.html",
}


def all_pages(
    plans: Sequence[BlockPlan],
    folders: Mapping[str, str],
    *,
    units: str = "us",
    language: str = "en",
    paper: str = "letter",
    background: str | None = None,
    credit: str = "",
    made: date | None = None,
    provenance: Provenance | None = None,
    remarks: Iterable[Remark] = (),
) -> dict[str, str | bytes]:
    """Return every page by its path inside the results.

    Parameters
    ----------
    plans : sequence of BlockPlan
    folders : mapping
        Block name -> its folder in the results.
    units, language, background, credit
        As in `maps.render_block_map`; sheets and reports are in that one language.
    paper : {"letter", "a4"}
        Paper of the sheets; the pocket card is half a letter page or A6.
    made : date, optional
        The day on the pages; today where not given.
    provenance : Provenance, optional
        Files read and choices made, for the reports.
    remarks : iterable of Remark
        What is to be said of the vineyard as a whole, for the estate's page.

    Raises
    ------
    ValueError
        If a choice is unknown.
    """
    day = made or date.today()
    links = {name: {kind: f"{folder}/{file}" for kind, file in FILES.items()} for name, folder in folders.items()}
    pages: dict[str, str | bytes] = {
        "index.html": render_estate(
            plans, links=links, language=language, units=units, background=background, credit=credit, remarks=remarks
        )
    }
    beside = {kind: file for kind, file in FILES.items() if kind != "map"}
    for plan in plans:
        folder = folders[plan.name]
        pages[f"{folder}/{FILES['map']}"] = render_block_map(
            plan, language=language, units=units, background=background, credit=credit, links=beside
        )
        for kind, draw in (
            ("sheet", crew_sheet_html),
            ("pdf", crew_sheet_pdf),
            ("card", crew_card_html),
            ("card_pdf", crew_card_pdf),
        ):
            pages[f"{folder}/{FILES[kind]}"] = draw(plan, units=units, language=language, paper=paper, made=day)
        pages[f"{folder}/{FILES['report']}"] = report_html(
            plan, units=units, language=language, paper=paper, made=day, provenance=provenance
        )
    return pages
