"""Every page of the results: one list says which there are, what they are called and what makes them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from geoprune.brief import BlockBrief
from geoprune.deliver.edition import Edition, Provenance, Style
from geoprune.deliver.field import field_page
from geoprune.deliver.maps import render_block_map, render_estate
from geoprune.deliver.pages import crew_card_html, crew_card_pdf, crew_sheet_html, crew_sheet_pdf, report_html
from geoprune.plan import EstatePlan


@dataclass(frozen=True)
class Deliverable:
    """A file of a block: its name in the block's folder, its label among the links (none: not linked), what makes it."""

    file: str
    label: str | None
    make: Callable[[Edition], str | bytes]


#: The files of a block, in the order of the links.
BLOCK_FILES = (
    Deliverable("map.html", "map", render_block_map),
    Deliverable("crew_sheet.html", "sheet", crew_sheet_html),
    Deliverable("crew_sheet.pdf", "pdf", crew_sheet_pdf),
    Deliverable("crew_card.html", "card", crew_card_html),
    Deliverable("crew_card.pdf", None, crew_card_pdf),
    Deliverable("field.html", "field", field_page),
    Deliverable("report.html", "report", report_html),
)


def links_of(folder: str = "") -> dict[str, str]:
    """Return the addresses of a block's pages by label, seen from the block's folder or from above it."""
    return {entry.label: f"{folder}/{entry.file}" if folder else entry.file for entry in BLOCK_FILES if entry.label}


def block_pages(brief: BlockBrief, style: Style, provenance: Provenance) -> Iterator[tuple[str, str | bytes]]:
    """Make a block's pages one after another: name in the block's folder, content."""
    beside = {label: address for label, address in links_of().items() if label != "map"}
    edition = Edition(brief, style, beside, provenance)
    for entry in BLOCK_FILES:
        yield entry.file, entry.make(edition)


def estate_page(briefs: tuple[BlockBrief, ...], folders: Mapping[str, str], estate: EstatePlan, style: Style) -> str:
    """Return the estate's page, which leads to every block's."""
    links = {name: links_of(folder) for name, folder in folders.items()}
    return render_estate(briefs, links=links, style=style, remarks=estate.remarks)
