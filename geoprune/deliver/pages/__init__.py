"""Pages for people: the crew's sheets and cards, the agronomist's report."""

from geoprune.deliver.pages.card import crew_card_html, crew_card_pdf
from geoprune.deliver.pages.report import report_html
from geoprune.deliver.pages.sheet import crew_sheet_html, crew_sheet_pdf

__all__ = ["crew_card_html", "crew_card_pdf", "crew_sheet_html", "crew_sheet_pdf", "report_html"]
