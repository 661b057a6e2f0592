"""The crop expected of each row as a picture: ranges under each other, and the crop that came beside its own."""

from __future__ import annotations

import numpy as np
import pandas as pd
from markupsafe import Markup

from geoprune import look
from geoprune.deliver.pages.drawing import box, disc, path, picture, word
from geoprune.seasons import COMING, EXPECTED
from geoprune.words import Reader

WIDTH, LEFT, RIGHT, STEP, TOP = 460.0, 60.0, 16.0, 16.0, 26.0


def row_chart(rows: pd.DataFrame, reader: Reader) -> Markup:
    """Return rows from top to bottom as SVG: what was expected of the crop that came (thin, broken), a box for that crop,
    and what is expected next (thick, with a disc at its mean). Shapes tell them apart in grey print too."""
    words = reader.words("seasons")
    high = max(float(np.nanmax(rows[[EXPECTED[2], COMING[2], "yield_kg"]].to_numpy(dtype=float))), 1e-9)
    across = (WIDTH - LEFT - RIGHT) / high
    height = TOP + STEP * len(rows) + 6.0
    parts = [
        word((LEFT, 12.0), "0", size=9.0),
        word((WIDTH - RIGHT, 12.0), reader.figure("yield_exact_kg", high, 0), size=9.0, anchor="end"),
    ]
    parts.append(path([(LEFT, 18.0), (WIDTH - RIGHT, 18.0)], stroke=look.RULE))
    for place, line in enumerate(rows.to_dict("records")):
        y = TOP + STEP * (place + 0.5)
        parts.append(word((LEFT - 8.0, y + 3.0), line["row"], size=8.5, anchor="end"))
        styles = (
            (EXPECTED, y - 3.0, {"stroke": look.INK_SOFT, "stroke_dasharray": "3 2"}),
            (COMING, y + 3.0, {"stroke_width": 2.6}),
        )
        for names, at, style in styles:
            low, mean, top = (LEFT + across * line[name] for name in names)
            if np.isfinite(mean):
                parts.append(path([(low, at), (top, at)], **style))
                parts.append(disc((mean, at), 3.0 if names is COMING else 1.8, fill=look.INK))
        if np.isfinite(line["yield_kg"]):
            parts.append(box((LEFT + across * line["yield_kg"] - 3.0, y - 6.0), (6.0, 6.0), fill="#ffffff", stroke=look.INK))
    return picture(parts, width=WIDTH, height=height, title=words["row_crops_head"])
