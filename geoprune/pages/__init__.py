"""Pages for people, by their path in the results: maps, the estate's page and the crew's sheets."""

from collections.abc import Mapping, Sequence
from typing import Any

from geoprune.maps import render_block_map, render_estate
from geoprune.pages.sheet import crew_sheet_html, crew_sheet_pdf
from geoprune.plan import BlockPlan

__all__ = ["all_pages", "crew_sheet_html", "crew_sheet_pdf"]


def all_pages(
    plans: Sequence[BlockPlan],
    folders: Mapping[str, str],
    *,
    units: str = "us",
    language: str = "en",
    background: str | None = None,
    credit: str = "",
) -> dict[str, str | bytes]:
    """Return every page by its path inside the results."""
    shown: dict[str, Any] = {"language": language, "units": units, "background": background, "credit": credit}
    links = {
        name: {"map": f"{folder}/map.html", "sheet": f"{folder}/crew_sheet.html", "pdf": f"{folder}/crew_sheet.pdf"}
        for name, folder in folders.items()
    }
    pages: dict[str, str | bytes] = {"index.html": render_estate(plans, links=links, **shown)}
    for plan in plans:
        folder = folders[plan.name]
        pages[f"{folder}/map.html"] = render_block_map(plan, **shown)
        pages[f"{folder}/crew_sheet.html"] = crew_sheet_html(plan, units=units)
        pages[f"{folder}/crew_sheet.pdf"] = crew_sheet_pdf(plan, units=units)
    return pages
