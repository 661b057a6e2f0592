"""The weighing plan as files: layer, waypoints, the table to fill in, JSON; one folder, whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from geoprune.clock import now
from geoprune.deliver.edition import Style, versions
from geoprune.deliver.folders import block_folders
from geoprune.deliver.writing.folder import replace_folder
from geoprune.deliver.writing.geopackage import write_layer
from geoprune.deliver.writing.output import as_output_error, write_page, write_summary
from geoprune.deliver.writing.spreadsheets import write_csv
from geoprune.deliver.writing.summary import crs_name, remark_records, to_json
from geoprune.deliver.writing.waypoints import waypoints, write_gpx, write_kml
from geoprune.errors import Message, Remark
from geoprune.layers import Source
from geoprune.sampling import SampleOptions, WeighList
from geoprune.text import clean

Say = Callable[[Message], str]
LAYER, DESCRIPTION = "weigh_list", "Vines to weigh in walking order, and a spare for each"


def write_weigh_lists(
    lists: Sequence[WeighList],
    out: Path,
    *,
    options: SampleOptions,
    pages: Mapping[str, str | bytes],
    sources: Sequence[Source] = (),
    remarks: Sequence[Remark] = (),
    style: Style,
    made: datetime | None = None,
    force: bool = False,
) -> Path:
    """Write a weighing plan into the folder `out`: whole, or not at all.

    Parameters
    ----------
    lists : sequence of WeighList
    out : Path
        Refused when it exists, unless `force` and all in it is as geoprune wrote it.
    options, sources, remarks
        For summary.json.
    pages : mapping
        Further files: path inside `out` -> text or bytes.
    style : Style
        Who reads, and in which unit weights are filled in.
    made : datetime, optional

    Raises
    ------
    OutputError
        See `writing.folder.replace_folder`.
    """

    def say(message: Message) -> str:
        return clean(style.reader.say(message))

    table = joined(lists)

    def fill(folder: Path) -> None:
        with as_output_error(folder, out):
            write_layer(table, folder / "weigh_list.gpkg", LAYER, "Point", DESCRIPTION)
            write_csv(template(table, units=style.reader.units), folder / "weigh_list.csv")
            write_points(table, folder, say)
        field = json.dumps(field_list(table), indent=1, ensure_ascii=False, allow_nan=False)
        (folder / "weigh_list.json").write_text(field + "\n", encoding="utf-8")
        for name, content in pages.items():
            write_page(folder / name, content)
        write_summary(summary(lists, options, sources, remarks, say, made), folder)

    return replace_folder(Path(out), fill, force=force)


def joined(lists: Sequence[WeighList]) -> gpd.GeoDataFrame:
    """The tables of all blocks, `block` first."""
    crs = lists[0].table.crs  # blocks far apart may lie on grids of their own
    parts = [
        weigh_list.table.to_crs(crs).assign(block=np.full(len(weigh_list.table), weigh_list.name, dtype=object))
        for weigh_list in lists
    ]
    table = pd.concat(parts, ignore_index=True)
    return gpd.GeoDataFrame(table[["block", *lists[0].table.columns]], crs=crs)


def template(table: pd.DataFrame, *, units: str) -> pd.DataFrame:
    """The table to fill in, one line a place in walking order; with the weights it is a table of samples."""
    stops = table[table["spare_of"].isna()]
    spare = table[table["spare_of"].notna()].set_index(["block", "order"])
    keys = pd.MultiIndex.from_frame(stops[["block", "order"]])
    filled = stops[["block", "row", "vine", "vines_weighed"]].reset_index(drop=True)
    filled[f"pruning_weight_{'lb' if units == 'us' else 'kg'}"] = ""
    filled["date"], filled["note"] = "", ""
    filled["order"] = stops["order"].to_numpy()
    filled["spare_row"] = spare["row"].reindex(keys).to_numpy()
    filled["spare_vine"] = pd.array(spare["vine"].reindex(keys).to_numpy(), dtype="Int64")
    return filled


def field_list(table: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """The list for a phone: block, row, vine, order, spare_of, lon, lat and how many vines are weighed together."""
    points = table.geometry.to_crs("EPSG:4326")
    lines = []
    for line, point in zip(table.itertuples(), points, strict=True):
        lines.append(
            {
                "block": clean(line.block),
                "row": clean(line.row),
                "vine": int(line.vine),
                "order": int(line.order),
                "spare_of": None if pd.isna(line.spare_of) else int(line.spare_of),
                "vines_weighed": int(line.vines_weighed),
                "first_vine": int(line.first_vine),
                "last_vine": int(line.last_vine),
                "lon": round(point.x, 7),
                "lat": round(point.y, 7),
            }
        )
    return lines


def point_words(line: Any, say: Say) -> tuple[str, str]:
    """Return the name and the sentence of a place or a spare."""
    place = {"block": line.block, "row": line.row, "vine": int(line.vine)}
    name = f"{line.row}/{int(line.vine)}"
    if not pd.isna(line.spare_of):
        return f"({int(line.order)}) {name}", say(Message("sampling.point_spare", place | {"order": int(line.order)}))
    if line.vines_weighed > 1:
        ends = {"first": int(line.first_vine), "last": int(line.last_vine)}
        return f"{int(line.order)}: {name}", say(Message("sampling.point_panel", place | ends))
    return f"{int(line.order)}: {name}", say(Message("sampling.point", place))


def write_points(table: gpd.GeoDataFrame, folder: Path, say: Say) -> None:
    """Write places and spares as waypoints, in walking order."""
    places = waypoints(table, point_words, say)
    write_gpx(places, folder / "weigh_list.gpx")
    write_kml(places, folder / "weigh_list.kml")


def summary(
    lists: Sequence[WeighList],
    options: SampleOptions,
    sources: Sequence[Source],
    remarks: Sequence[Remark],
    say: Say,
    made: datetime | None,
) -> dict[str, Any]:
    """Gather the figures of a weighing plan into plain JSON values."""
    folders = block_folders(weigh_list.name for weigh_list in lists)
    return {
        "program": "geoprune",
        "summary_version": 1,
        "kind": "weighing plan",
        "made": (made or now()).isoformat(timespec="seconds"),
        "versions": versions(),
        "crs": crs_name(lists[0].table.crs),
        "options": to_json(options, say),
        "inputs": to_json(list(sources), say),
        "remarks": remark_records(remarks, say),
        "blocks": {clean(weigh_list.name): _block(weigh_list, folders[weigh_list.name], say) for weigh_list in lists},
    }


def _block(weigh_list: WeighList, folder: str, say: Say) -> dict[str, Any]:
    return {
        "folder": folder,
        "together": weigh_list.together,
        "stops_needed_at_random": weigh_list.needed,
        "model": to_json(weigh_list.model, say),
        "list": to_json(weigh_list.effort, say),
        "curve": to_json(weigh_list.worth.curve, say),
        "knee_stops": weigh_list.worth.knee,
        "without_map_buds": weigh_list.worth.without_map_buds,
        "walk_m": weigh_list.walk.length_m,
        "remarks": [say(remark) for remark in weigh_list.remarks],
    }
