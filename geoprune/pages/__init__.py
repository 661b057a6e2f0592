"""Pages for people: the block's map, the estate's page, the crew's sheet. User text passes no template unescaped."""

from collections.abc import Mapping, Sequence

from geoprune.pages.map import map_page
from geoprune.pages.sheet import crew_sheet_html, crew_sheet_pdf, estate_page
from geoprune.plan import BlockPlan

__all__ = ["all_pages", "crew_sheet_html", "crew_sheet_pdf", "estate_page", "map_page"]


def all_pages(plans: Sequence[BlockPlan], folders: Mapping[str, str], *, units: str = "us") -> dict[str, str | bytes]:
    """Return every page by its path inside the results."""
    pages: dict[str, str | bytes] = {"index.html": estate_page(plans, folders, units=units)}
    for plan in plans:
        folder = folders[plan.name]
        pages[f"{folder}/map.html"] = map_page(plan, units=units)
        pages[f"{folder}/crew_sheet.html"] = crew_sheet_html(plan, units=units)
        pages[f"{folder}/crew_sheet.pdf"] = crew_sheet_pdf(plan, units=units)
    return pages
