"""The estate at a glance: every block, its numbers and links to its own pages, as one HTML file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from markupsafe import Markup
from numpy.typing import NDArray

from geoprune.brief import BlockBrief, Label, estate_alert
from geoprune.deliver.edition import Style
from geoprune.deliver.maps.ground import plain, status_codes
from geoprune.deliver.maps.packing import Bundle
from geoprune.deliver.maps.page import caution_keys, fill_frame, look_record, safe_links
from geoprune.deliver.maps.shell import build_page
from geoprune.deliver.maps.wording import estate_words, in_all_languages, page_words, speech_of
from geoprune.errors import Remark
from geoprune.plan import BlockPlan
from geoprune.words import Reader

SCRIPTS = ("unpack.js", "words.js", "paint.js", "ground.js", "shared.js", "estate.js")
#: Corners of zones closer than this to a straight side are left out of the estate map.
TOLERANCE_M = 0.4
#: Of more blocks than these the picture shows outlines and numbers, no zones: each block's own map has them. Outlines are
#: then given to a few metres, a point or less on the screen when all are seen.
MOST_DRAWN_ZONED, COARSE_M = 1000, 2.0
#: Of more blocks than these the plain list gives only the name, which leads to the map, and the numbers.
MOST_IN_FULL = 300
#: Blocks in the plain list at most; it says so.
MOST_IN_PLAIN = 1000
#: Blocks worked on several grids are drawn on this one, true to angle; lengths on it are too long by 1 / cos(latitude).
WORLD = "EPSG:3395"


def render_estate(
    briefs: Sequence[BlockBrief],
    *,
    links: Mapping[str, str | Mapping[str, str]],
    style: Style | None = None,
    remarks: Iterable[Remark] = (),
) -> str:
    """Return the estate's page: one HTML file with every block, which asks for nothing else.

    Parameters
    ----------
    briefs : sequence of BlockBrief
        Blocks in several projections are drawn on one grid.
    links : mapping
        Block name -> relative address of its map, or a mapping with any of `page.LINKS`.
    style : Style
    remarks : iterable of Remark
        What is to be said of the vineyard as a whole.

    Returns
    -------
    str
        HTML. The same plans give the same text.

    Raises
    ------
    ValueError
        If there is no block, or a link is not relative.
    """
    style = style or Style()
    if not briefs:
        raise ValueError("an estate without blocks has no map")
    stop, briefs, listed = estate_alert(briefs), _on_one_grid(briefs), tuple(remarks)
    outlines = [brief.plan.polygon for brief in briefs]
    bounds = shapely.total_bounds(np.array(outlines, dtype=object))
    corner = bounds if briefs[0].plan.vines.crs != WORLD else outlines[0].bounds
    bundle = Bundle(briefs[0].plan.vines.crs, (corner[0], corner[1]))
    lon, lat = bundle.lonlat([bounds[[0, 2]].mean()], [bounds[[1, 3]].mean()])[0]
    data: dict[str, Any] = {"look": look_record(), "cautions": caution_keys(), "latitude": float(lat)}
    data["background"] = style.background
    data |= speech_of(style.reader)
    data["said"] = in_all_languages(style.reader, lambda reader: estate_words(briefs, listed, reader, stop=stop))
    data["blocks"] = _block_records(briefs, {name: safe_links(given) for name, given in links.items()})
    data["zones"], data["labels"] = _zones(briefs, bundle)
    _pack_shapes([brief.plan for brief in briefs], outlines, bundle)
    before, after = _frame(data, style)
    return build_page(
        center=(round(float(lat), 7), round(float(lon), 7)),
        title=page_words()[style.reader.language]["estate_title"],
        language=style.reader.language,
        before=before,
        after=after,
        scripts=SCRIPTS,
        payload=bundle.payload(data),
        background=style.background,
    )


def _on_one_grid(briefs: Sequence[BlockBrief]) -> Sequence[BlockBrief]:
    """Blocks as they are where all are worked in one CRS, else with their shapes on a grid of the whole earth."""
    grids = [brief.plan.vines.crs for brief in briefs]
    if all(grid == grids[0] for grid in grids):
        return briefs
    moved = []
    for brief, grid in zip(briefs, grids, strict=True):
        plan = brief.plan
        outline = gpd.GeoSeries([plan.polygon], crs=grid).to_crs(WORLD).iloc[0]
        layers = {name: getattr(plan, name).set_crs(grid) for name in ("zones", "vines", "replant_areas")}
        shapes = {name: layer.to_crs(WORLD) for name, layer in layers.items()}
        moved.append(replace(brief, plan=replace(plan, polygon=outline, **shapes)))
    return moved


def _block_records(briefs: Sequence[BlockBrief], links: Mapping[str, dict[str, str]]) -> list[dict[str, Any]]:
    records, first_row = [], 0
    for brief in briefs:
        rows = _row_codes(brief.plan)
        records.append(
            {
                "name": brief.name,
                "headline": brief.headline,
                "zones": len(brief.zones),
                "vines": brief.vines,
                "area_ha": plain(brief.area_ha),
                "variety": brief.plan.settings.variety,
                "farm": brief.plan.settings.farm,
                **_sort_keys(brief),
                "vine_spacing_m": round(brief.plan.settings.vine_spacing_m, 2),
                "first_row": first_row,
                "rows": int(rows[-1]) + 1 if len(rows) else 0,
                "links": links.get(brief.name, {}),
            }
        )
        first_row += records[-1]["rows"]
    return records


def _sort_keys(brief: BlockBrief) -> dict[str, float | None]:
    """What the list of blocks may be put in order by: vine size, what zones save, vines to replace."""
    saving = brief.plan.benefit.zones.gains.saving_buds.value if brief.headline == "zone" else None
    gone = sum(area.missing + area.weak for area in brief.replant)
    return {"size_kg": plain(brief.plan.vine_size_kg), "worth": plain(saving), "replant": gone}


def _row_codes(plan: BlockPlan) -> NDArray[np.int64]:
    """Return the row of each vine as 0, 1, ... in the order of the table, which holds rows one after another."""
    names = plan.vines["row"].to_numpy()
    return np.cumsum(np.append(False, names[1:] != names[:-1])) if len(names) else np.zeros(0, dtype=np.int64)


def _zones(briefs: Sequence[BlockBrief], bundle: Bundle) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return all blocks' zones, and where each zone's number goes."""
    zones: list[dict[str, Any]] = []
    labels: list[tuple[int, int, Label]] = []
    for index, brief in enumerate(briefs):
        found = [label for label in brief.labels if label.part == 0 and len(briefs) <= MOST_DRAWN_ZONED]
        labels += [(index, len(zones) + label.zone, label) for label in found]
        zones += [
            {"block": index, "zone": zone.zone, "style": zone.style, "bands": zone.bands, "buds": zone.buds}
            | {"condition": zone.condition_key, "vine_size_kg": plain(zone.size_kg.value)}
            for zone in brief.zones
        ]
    lonlat = bundle.lonlat([label.easting for *_, label in labels], [label.northing for *_, label in labels])
    places = np.round(lonlat, 7).tolist()
    placed = zip(labels, places, strict=True)
    return zones, [{"block": block, "zone": zone, "lon": lon, "lat": lat} for (block, zone, _), (lon, lat) in placed]


def _pack_shapes(blocks: Sequence[BlockPlan], outlines: list[Any], bundle: Bundle) -> None:
    coarse = len(blocks) > MOST_DRAWN_ZONED
    bundle.add_polygons("block", outlines, tolerance_m=COARSE_M if coarse else TOLERANCE_M)
    zones: Any = [] if coarse else np.concatenate([block.zones.geometry.to_numpy() for block in blocks])
    bundle.add_polygons("zones", zones, tolerance_m=TOLERANCE_M)
    replant = np.concatenate([block.replant_areas.geometry.to_numpy() for block in blocks])
    bundle.add_polygons("replant", replant, tolerance_m=TOLERANCE_M)
    rows, start = [], 0
    for block in blocks:
        rows.append(_row_codes(block) + start)
        start = int(rows[-1][-1]) + 1 if len(rows[-1]) else start
    places = np.concatenate([shapely.get_coordinates(block.vines.geometry.to_numpy()) for block in blocks])
    bundle.add_rows("vines", np.concatenate(rows), places)
    gone = np.concatenate([np.isin(status_codes(block.vines), (2, 3)) for block in blocks])
    bundle.add("vine_status", gone, kind="u8")


def _frame(data: dict[str, Any], style: Style) -> tuple[str, str]:
    words = style.reader.words("map")
    headlines = Counter(block["headline"] for block in data["blocks"])
    verdict = words["estate_verdict"].format(zoned=headlines["zone"], one=headlines["one"])
    for less in ("given", "now"):
        if headlines[less]:
            verdict += " " + words[f"estate_verdict_{less}"].format_map(headlines)
    said = data["said"][style.reader.language][style.reader.units]
    full = len(data["blocks"]) <= MOST_IN_FULL
    count = style.reader.number(MOST_IN_PLAIN)
    first_only = [words["plain_first"].format(count=count)] if len(data["blocks"]) > MOST_IN_PLAIN else []
    plain_parts = {
        "stop": said["stop"],
        "verdict": verdict,
        "remarks": [*said["remarks"], *first_only],
        "heads": [words[key] for key in ("block", "buds_per_vine", *(("vines", "area", "pages") if full else ()))],
        "lines": [
            _plain_line(block, line, style.reader, full=full)
            for block, line in list(zip(data["blocks"], said["blocks"], strict=True))[:MOST_IN_PLAIN]
        ],
        "picture": Markup(""),
    }
    return fill_frame("estate", words, name=words["estate_title"], credit=style.credit, **plain_parts)


def _plain_line(block: dict[str, Any], said: dict[str, Any], reader: Reader, *, full: bool) -> list[Any]:
    words = reader.words("map")
    numbers = " · ".join(said["numbers"])
    if not full:
        href = block["links"].get("map")
        return [{block["name"]: href} if href else block["name"], numbers]
    links = {words[f"link_{kind}"]: href for kind, href in block["links"].items()}
    return [block["name"], numbers, reader.number(block["vines"]), reader.figure("area_ha", block["area_ha"]), links]
