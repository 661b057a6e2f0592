"""The files of a comparison of winters: whole, or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from geoprune import look
from geoprune.deliver.edition import PAPERS, Style
from geoprune.deliver.pages.templates import page_templates
from geoprune.deliver.seasons.wording import seasons_content
from geoprune.deliver.writing.folder import replace_folder
from geoprune.deliver.writing.geopackage import write_layer
from geoprune.deliver.writing.output import write_summary
from geoprune.deliver.writing.spreadsheets import write_csv
from geoprune.deliver.writing.summary import summary_head, to_json
from geoprune.errors import Message
from geoprune.seasons import Comparison
from geoprune.text import clean

pages = page_templates("seasons")
PANEL_COLUMNS = (
    *("block", "row", "panel", "first_vine", "last_vine", "zone", "vines", "season_earlier", "season_later"),
    *("size_earlier_kg", "size_later_kg", "size_later_se_kg", "change_kg", "change_se_kg", "change_low_kg"),
    *("change_high_kg", "shrank_chance", "weak_in_all", "crop_load_low", "crop_load", "crop_load_high", "load_of"),
)


def write_seasons(
    comparisons: Sequence[Comparison], remarks: Sequence[Message], out: Path, *, style: Style, force: bool = False
) -> Path:
    """Write a comparison into the folder `out`.

    seasons.html, seasons.gpkg (layer panel_change), panels.csv, zones.csv, rows.csv and summary.json.

    Raises
    ------
    OutputError
        See `writing.folder.replace_folder`.
    """
    content = seasons_content(comparisons, remarks, style.reader, made=style.made)
    panels = _panels(comparisons)
    zones, rows = (
        pd.concat([_years(found, table) for found, table in parts], ignore_index=True)
        for parts in ([(f, f.zones) for f in comparisons], [(f, f.rows) for f in comparisons])
    )

    def say(message: Message) -> str:
        return clean(style.reader.say(message))

    def fill(folder: Path) -> None:
        page = pages.get_template("page.html").render(content, look=look, paper_size=PAPERS[style.paper]["css"])
        (folder / "seasons.html").write_text(page, encoding="utf-8")
        described = "Change of vine size by panel, kg per vine; yield over prunings where yields are given"
        write_layer(panels, folder / "seasons.gpkg", "panel_change", "LineString", described)
        write_csv(pd.DataFrame(panels).drop(columns="geometry"), folder / "panels.csv")
        write_csv(zones, folder / "zones.csv")
        write_csv(rows, folder / "rows.csv")
        write_summary(_summary(comparisons, style.made, say), folder)

    return replace_folder(Path(out), fill, force=force)


def _panels(comparisons: Sequence[Comparison]) -> gpd.GeoDataFrame:
    crs = comparisons[0].panels.crs
    parts = [_years(found, found.panels)[[*PANEL_COLUMNS, "geometry"]].to_crs(crs) for found in comparisons]
    return gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), crs=crs)


def _years(found: Comparison, table: Any) -> Any:
    return table.assign(season_earlier=found.earlier, season_later=found.later)


def _summary(comparisons: Sequence[Comparison], made: date, say: Any) -> dict[str, Any]:
    return {
        **summary_head("seasons", made),
        "blocks": {clean(found.years.block): _block(found, say) for found in comparisons},
    }


def _block(found: Comparison, say: Any) -> dict[str, Any]:
    zones = found.zones.astype({"zone": object}).replace([np.inf], np.nan).drop(columns="block")
    return {
        "earlier": found.earlier,
        "later": found.later,
        "zones": to_json(zones.to_dict("records"), say),
        "rows": to_json(found.rows.replace([np.inf], np.nan).drop(columns="block").to_dict("records"), say),
        "lasting_share": to_json(found.lasting[0], say),
        "lasting_share_se": to_json(found.lasting[1], say),
        "error_cut_by_earlier_share": to_json(found.helped, say),
        "panels_keep_class_share": found.kept,
        "kappa": to_json(found.kappa, say),
        "panels_weak_in_all": int(found.panels["weak_in_all"].sum()),
        "sentences": [say(message) for message in found.messages],
        "thoughts": {str(zone): [say(message) for message in thoughts] for zone, thoughts in found.thoughts},
    }
