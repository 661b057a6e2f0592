"""Pages for people: the block's map, the estate's page, the crew's sheet. No user text passes a template unescaped."""

from geoprune.pages.map import map_page
from geoprune.pages.sheet import crew_sheet_html, crew_sheet_pdf, estate_page

__all__ = ["crew_sheet_html", "crew_sheet_pdf", "estate_page", "map_page"]
