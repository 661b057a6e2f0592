"""The files of a replanting proposal: whole, or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from geoprune import look
from geoprune.deliver.edition import PAPERS, Style
from geoprune.deliver.pages.templates import page_templates
from geoprune.deliver.pages.text import clean
from geoprune.deliver.pages.typesetting import typeset
from geoprune.deliver.replanting.wording import replant_content
from geoprune.deliver.writing.folder import replace_folder
from geoprune.deliver.writing.geopackage import write_layer
from geoprune.deliver.writing.output import write_summary
from geoprune.deliver.writing.spreadsheets import write_csv
from geoprune.deliver.writing.summary import summary_head, to_json
from geoprune.deliver.writing.waypoints import waypoints, write_gpx
from geoprune.errors import Message
from geoprune.replanting import PriceList, Proposal, price_lines

pages = page_templates("replanting")
#: The file to fill in; edited in its place and given again, it stays as it is.
PRICES = "prices.toml"
LAYERS = {
    "replant_areas": ("MultiPolygon", "Areas to replant, what comes back most first"),
    "replant_vines": ("Point", "Vines to plant, replace or layer"),
}


def write_replanting(
    proposals: Sequence[Proposal],
    prices: PriceList,
    remarks: Sequence[Message],
    out: Path,
    *,
    style: Style,
    force: bool = False,
    own_prices: bytes | None = None,
) -> Path:
    """Write a proposal into the folder `out`.

    replant.html, replant.pdf, replant.gpkg (layers replant_areas, replant_vines), replant.gpx, areas.csv, vines.csv,
    order.csv, prices.toml (to fill in; `own_prices`, where the prices came from that very file) and summary.json.

    Raises
    ------
    OutputError
        See `writing.folder.replace_folder`.
    """
    reader = style.reader
    content = replant_content(proposals, prices, remarks, reader, made=style.made)
    areas, vines = (_joined([getattr(one, name) for one in proposals]) for name in ("areas", "vines"))
    orders = pd.DataFrame([one.orders for one in proposals])

    def say(message: Message) -> str:
        return clean(reader.say(message))

    def fill(folder: Path) -> None:
        paper = PAPERS[style.paper]
        page = pages.get_template("page.html").render(content, look=look, paper_size=paper["css"])
        (folder / "replant.html").write_text(page, encoding="utf-8")
        (folder / "replant.pdf").write_bytes(typeset("replant.typ", {**content, "paper": paper["sheet"]}, made=style.made))
        for layer, table in (("replant_areas", areas[areas.geometry.notna()]), ("replant_vines", vines)):
            geometry, description = LAYERS[layer]
            finite = table.drop(columns="row_order", errors="ignore").replace([float("inf")], float("nan"))
            write_layer(finite, folder / "replant.gpkg", layer, geometry, description)
        write_gpx(waypoints(_stops(areas, vines), _words, say), folder / "replant.gpx")
        for name, table in (("areas", areas), ("vines", vines), ("order", orders)):
            write_csv(pd.DataFrame(table).drop(columns=["geometry", "row_order"], errors="ignore"), folder / f"{name}.csv")
        lines = price_lines(prices, [one.stand.block for one in proposals], reader.words("prices"))
        text = ("\n".join(lines) + "\n").encode("utf-8")
        (folder / PRICES).write_bytes(text if own_prices is None else own_prices)
        write_summary(_summary(proposals, style.made, say), folder)

    return replace_folder(Path(out), fill, force=force, carried=carried_prices(own_prices))


def carried_prices(own_prices: bytes | None) -> dict[str, str]:
    """Return the prices of an earlier proposal's folder as what is carried over (see `writing.folder.replace_folder`)."""
    return {} if own_prices is None else {PRICES: hashlib.sha256(own_prices).hexdigest()}


def _joined(tables: list[gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    """All blocks' lines; those of a block with none would change the kinds of columns."""
    full = [table for table in tables if len(table)] or tables[:1]
    return gpd.GeoDataFrame(pd.concat(full, ignore_index=True), geometry="geometry", crs=tables[0].crs)


def _stops(areas: gpd.GeoDataFrame, vines: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The first vine of each area, in the order given, then each vine on the way; what is left alone has none."""
    work = vines[vines["work"] != "leave"]
    if work.empty:
        return work
    first = work[work["area"] > 0].groupby(["block", "area"], sort=False).first().reset_index()
    first_columns = pd.DataFrame(areas)[["block", "area", "order", "option", "missing_or_dead", "weak", "diseased"]]
    first = first.merge(first_columns, on=["block", "area"]).sort_values(["block", "order"])
    stops = pd.concat([first, work[work["area"] == 0]], ignore_index=True)
    return gpd.GeoDataFrame(stops, geometry="geometry", crs=vines.crs)


def _words(line: Any, say: Any) -> tuple[str, str]:
    place = {"block": line.block, "row": line.row, "vine": int(line.vine)}
    if line.area:
        count = int(line.missing_or_dead + line.weak + line.diseased)
        fields = {
            "block": line.block,
            "area": int(line.area),
            "what": Message(f"replant.option_{line.option}"),
            "vines": count,
        }
        return f"{int(line.order)}: {line.row}/{int(line.vine)}", say(Message("replant.area_point", fields))
    return f"{line.row}/{int(line.vine)}", say(
        Message("replant.vine_point", {**place, "what": Message(f"replant.work_{line.work}")})
    )


def _summary(proposals: Sequence[Proposal], made: date, say: Any) -> dict[str, Any]:
    blocks = {clean(one.stand.block): _block(one, say) for one in proposals}
    return {**summary_head("replant", made), "blocks": blocks}


def _block(one: Proposal, say: Any) -> dict[str, Any]:
    areas = pd.DataFrame(one.areas).drop(columns=["geometry", "block"])
    return {
        "areas": to_json(areas.to_dict("records"), say),
        "order": to_json({name: value for name, value in one.orders.items() if name != "block"}, say),
        "smallest_trip_vines": one.smallest,
        "whole_block_npv": to_json(one.whole.npv, say),
        "whole_block_pays_more": one.whole_pays_more,
        "invented_figures": list(one.prices.invented),
        "figures": to_json(dict(one.prices.values), say),
        "join_counts": {count.kind: to_json(count.all, say) for count in one.clusterings},
        "sentences": [say(message) for message in one.messages],
    }
