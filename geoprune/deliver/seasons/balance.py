"""Yield over prunings as a picture: each panel by where its row's, zone's or block's value surely lies."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely
from markupsafe import Markup

from geoprune import look
from geoprune.deliver.pages.drawing import path, picture, word
from geoprune.seasons import Comparison, load_class
from geoprune.words import Reader

WIDTH, HEIGHT, MARGIN, LEGEND = 460.0, 340.0, 26.0, 76.0
#: Rows are named so far apart, points.
NAME_STEP = 11.0
#: Strokes tell the classes apart without colour: thin for little crop, thick for much, broken where nothing is sure.
STYLES: Mapping[str, Mapping[str, Any]] = {
    "below": {"stroke": look.SIZE_RAMP[2], "stroke_width": 1.2},
    "within": {"stroke": look.SIZE_RAMP[3], "stroke_width": 2.6},
    "above": {"stroke": look.INK, "stroke_width": 4.4},
    "unsure": {"stroke": look.INK_SOFT, "stroke_width": 1.6, "stroke_dasharray": "3 3"},
    "": {"stroke": look.RULE, "stroke_width": 0.8, "stroke_dasharray": "1 3"},
}


def balance_map(found: Comparison, reader: Reader) -> Markup:
    """Return the block from above as SVG, north up: panels by yield over prunings, rows named at one end."""
    panels, words = found.panels, reader.words("seasons")
    west, south, east, north = panels.total_bounds
    inner = (WIDTH - 2 * MARGIN, HEIGHT - 2 * MARGIN)
    scale = min(inner[0] / max(east - west, 1.0), inner[1] / max(north - south, 1.0))
    height = 2 * MARGIN + (north - south) * scale
    left = MARGIN + (inner[0] - (east - west) * scale) / 2

    def paper(points: np.ndarray) -> np.ndarray:
        return np.column_stack([left + (points[:, 0] - west) * scale, MARGIN + (north - points[:, 1]) * scale])

    classes = [load_class(line) for line in panels.to_dict("records")]
    lines = [paper(shapely.get_coordinates(line)) for line in panels.geometry]
    parts = [path(line, **STYLES[name]) for line, name in zip(lines, classes, strict=True)]
    last = np.array([np.inf, np.inf])
    for _, at in panels.groupby("row", sort=False).indices.items():
        end = lines[at[0]][0]
        inside = lines[at[0]][-1] - end
        place = end - 9.0 * inside / max(float(np.hypot(*inside)), 1e-9)
        if np.hypot(*(place - last)) >= NAME_STEP:
            parts.append(word((float(place[0]), float(place[1]) + 3.0), panels["row"].iloc[at[0]], size=8.5))
            last = place
    for k, name in enumerate(name for name in STYLES if name in classes):
        y = height + 10.0 + 15.0 * k
        parts.append(path([(MARGIN, y), (MARGIN + 34.0, y)], **STYLES[name]))
        parts.append(word((MARGIN + 42.0, y + 3.5), words[f"load_class_{name or 'unknown'}"], size=10.5, anchor="start"))
    return picture(parts, width=WIDTH, height=height + LEGEND, title=words["balance_head"])
