"""From data and a template to PDF. The data go in as JSON, never as source; the faces lie inside the typesetter."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from importlib.resources import files
from typing import Any

import typst

#: Paper by name: the sheet as the typesetter and the browser call it, and the pocket card's
#: width and height in points (half a letter page; A6).
PAPERS: dict[str, dict[str, Any]] = {
    "letter": {"sheet": "us-letter", "css": "letter", "card": (396.0, 612.0)},
    "a4": {"sheet": "a4", "css": "A4", "card": (297.64, 419.53)},
}


def typeset(template: str, data: Mapping[str, Any], *, made: date) -> bytes:
    """Return a PDF with its faces embedded.

    Parameters
    ----------
    template : str
        File in this folder, ending in `.typ`.
    data : mapping
        What the template reads; JSON.
    made : date
        Day written into the file, so that the same plan gives the same bytes.
    """
    source = (files("geoprune.pages") / template).read_text(encoding="utf-8")
    stamp = int(datetime(made.year, made.month, made.day, tzinfo=UTC).timestamp())
    inputs = {"data": json.dumps(data)}
    # Tags for screen readers would make a long row list fifteen times as heavy; the HTML page is there for them.
    return bytes(typst.compile(source.encode(), sys_inputs=inputs, timestamp=stamp, pdf_tags=False))


def check_paper(paper: str) -> None:
    """Raise ValueError for a paper that is not known."""
    if paper not in PAPERS:
        raise ValueError(f"paper {paper!r}: {' or '.join(PAPERS)}")
