"""Winters beside each other, worded for one reader."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from geoprune.deliver.pages.text import clean, shorten
from geoprune.deliver.seasons.balance import balance_map
from geoprune.deliver.seasons.row_chart import row_chart
from geoprune.errors import Message
from geoprune.rules import caution_notes
from geoprune.seasons import COMING, EXPECTED, Comparison, direction, load_class
from geoprune.words import Reader

#: Panels listed on the page; all stand in the table.
MOST_PANELS = 12


def seasons_content(
    comparisons: Sequence[Comparison], remarks: Sequence[Message], reader: Reader, *, made: date
) -> dict[str, Any]:
    """Return all that the page says, as text."""
    words = reader.words("seasons")
    return {
        "language": reader.language,
        "words": dict(words),
        "made": reader.date(made),
        "remarks": [_say(remark, reader) for remark in remarks],
        "blocks": [_block(found, reader) for found in comparisons],
        "panel_heads": [words[f"head_{name}"] for name in ("row", "panels", "zone", "change")],
        "row_heads": [
            *(words[f"head_{name}"] for name in ("row", "vines")),
            words["head_size"],
            *(words[f"head_{name}"] for name in ("yield", "load", "lies")),
        ],
        "crop_heads": [words[f"head_{name}"] for name in ("row", "expected", "came", "coming")],
        "weak_heads": [words[f"head_{name}"] for name in ("row", "panels")],
        "cautions": [clean(reader.say(note)) for note in caution_notes()],
    }


def zone_heads(found: Comparison, reader: Reader) -> list[str]:
    """Return the heads of `zone_cells`."""
    words = reader.words("seasons")
    years = [words["head_earlier"].format(year=found.earlier), words["head_later"].format(year=found.later)]
    return [words["head_zone"], words["head_vines"], *years, words["head_change"], words["head_load"]]


def zone_cells(found: Comparison, reader: Reader) -> list[list[str]]:
    """Return zones and the whole block, cell by cell."""
    cells = []
    for line in found.zones.to_dict("records"):
        name = reader.words("seasons")["whole"] if pd.isna(line["zone"]) else str(int(line["zone"]))
        sizes = [reader.figure("size_exact_kg", line[f"size_{when}_kg"]) for when in ("earlier", "later")]
        cells.append([name, reader.number(line["vines"]), *sizes, change_cell(line, reader), load_cell(line, reader)])
    return cells


def load_cell(line: Any, reader: Reader) -> str:
    """Return yield over prunings with its range."""
    load = reader.number(line["crop_load"], 1)
    if not np.isfinite(line["crop_load"]):
        return load
    ends = (reader.number(line[f"crop_load_{end}"], 1) for end in ("low", "high"))
    return f"{load} ({' – '.join(ends)})"


def row_cells(found: Comparison, reader: Reader) -> list[list[str]]:
    """Return the rows whose yield is given, cell by cell: yield, yield over prunings, where that lies."""
    words, cells = reader.words("seasons"), []
    for line in found.rows[np.isfinite(found.rows["crop_load"])].to_dict("records"):
        size = reader.figure("size_exact_kg", line["size_later_kg"])
        name = words[f"load_short_{load_class(line)}"] if found.years.judged else "–"
        yields = reader.figure("yield_exact_kg", line["yield_kg"], 0)
        cells.append(
            [shorten(str(line["row"]), 32), reader.number(line["vines"]), size, yields, load_cell(line, reader), name]
        )
    return cells


def crop_cells(found: Comparison, reader: Reader) -> list[list[str]]:
    """Return rows of which a crop is expected, cell by cell: what was expected of the crop that came, that, what comes."""
    cells = []
    for line in found.rows.to_dict("records"):
        if np.isfinite([line[EXPECTED[1]], line[COMING[1]]]).any():
            expected, coming = (_crop_cell(line, names, reader) for names in (EXPECTED, COMING))
            came = reader.figure("yield_exact_kg", line["yield_kg"], 0) if np.isfinite(line["yield_kg"]) else "–"
            cells.append([shorten(str(line["row"]), 32), expected, came, coming])
    return cells


def _crop_cell(line: Any, names: Sequence[str], reader: Reader) -> str:
    if not np.isfinite(line[names[1]]):
        return "–"
    low, mean, high = (reader.figure("yield_exact_kg", line[name], 0) for name in names)
    return f"{mean} ({low} – {high})"


def change_cell(line: Any, reader: Reader) -> str:
    """Return a change with its range."""
    divisor, _, sign = reader.unit("size_exact_kg")
    low, middle, high = (reader.number(line[f"change{end}_kg"] / divisor, 2) for end in ("_low", "", "_high"))
    return f"{middle} ({low} – {high}) {sign}"


def _block(found: Comparison, reader: Reader) -> dict[str, Any]:
    panels = found.panels
    sure = panels[[direction(line) != "unsure" for line in panels.to_dict("records")]]
    strength = (sure["change_kg"] / sure["change_se_kg"]).abs()
    sure = sure.loc[strength.sort_values(ascending=False).index[:MOST_PANELS]]
    words = reader.words("seasons")
    zone = words["head_zone"]
    return {
        "name": shorten(found.years.block),
        "messages": [_say(message, reader) for message in found.messages],
        "zone_heads": zone_heads(found, reader),
        "zones": zone_cells(found, reader),
        "thoughts": [(f"{zone} {number}", [_say(m, reader) for m in thoughts]) for number, thoughts in found.thoughts],
        "sure": [
            [shorten(str(line["row"]), 32), _vines(line), str(int(line["zone"])), change_cell(line, reader)]
            for line in sure.to_dict("records")
        ],
        "weak": weak_cells(panels),
        "rows": row_cells(found, reader),
        "crops": crop_cells(found, reader),
        "crop_chart": row_chart(found.rows, reader) if found.years.expected or found.years.coming else "",
        "balance": balance_map(found, reader) if found.years.judged and (panels["load_of"] != "").any() else "",
        "not_judged": "" if found.years.judged or not (panels["load_of"] != "").any() else words["balance_not_judged"],
    }


def weak_cells(panels: pd.DataFrame) -> list[list[str]]:
    """Return rows with the vines of panels that are small every winter; panels beside each other are given as one."""
    by_row: dict[str, list[list[int]]] = {}
    for line in panels[panels["weak_in_all"]].sort_values("first_vine", kind="stable").to_dict("records"):
        runs = by_row.setdefault(str(line["row"]), [])
        if runs and runs[-1][1] + 1 == int(line["first_vine"]):
            runs[-1][1] = int(line["last_vine"])
        else:
            runs.append([int(line["first_vine"]), int(line["last_vine"])])
    rows = [str(row) for row in dict.fromkeys(panels["row"]) if str(row) in by_row]
    return [[shorten(row, 32), ", ".join(f"{first}–{last}" for first, last in by_row[row])] for row in rows]


def _vines(line: Any) -> str:
    return f"{int(line['first_vine'])}–{int(line['last_vine'])}"


def _say(message: Message, reader: Reader) -> str:
    return clean(reader.say(message))
