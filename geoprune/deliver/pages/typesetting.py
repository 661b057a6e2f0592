"""From data and a template to PDF. The data go in as JSON, never as source; the faces lie inside the typesetter."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from functools import cache
from importlib.resources import files
from typing import Any

import typst


def typeset(template: str, data: Mapping[str, Any], *, made: date, room: str = "geoprune.deliver.pages") -> bytes:
    """Return a PDF with its faces embedded.

    Parameters
    ----------
    template : str
        File of a room, ending in `.typ`.
    data : mapping
        What the template reads; JSON.
    made : date
        Day written into the file, so that the same plan gives the same bytes.
    room : str
        Package that holds the template.
    """
    source = (files(room) / template).read_text(encoding="utf-8")
    stamp = int(datetime(made.year, made.month, made.day, tzinfo=UTC).timestamp())
    inputs = {"data": json.dumps(data)}
    # Tags for screen readers would make a long row list fifteen times as heavy; the HTML page is there for them.
    return bytes(typst.compile(source.encode(), font_paths=_faces(), sys_inputs=inputs, timestamp=stamp, pdf_tags=False))


@cache
def _faces() -> typst.Fonts:
    """The faces there are, sought once for all pages."""
    return typst.Fonts()
