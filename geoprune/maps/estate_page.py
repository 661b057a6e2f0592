"""The estate at a glance: every block, its numbers and links to its own pages, as one HTML file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import shapely
from markupsafe import Markup
from numpy.typing import NDArray

from geoprune.errors import Remark
from geoprune.maps.ground import plain, plain_count, records, status_codes, zone_labels
from geoprune.maps.packing import Bundle
from geoprune.maps.page import check_choices, fill_frame, look_told, plain_figure, safe_links
from geoprune.maps.shell import build_page
from geoprune.maps.telling import page_words, tell_estate

SCRIPTS = ("unpack.js", "words.js", "paint.js", "ground.js", "shared.js", "estate.js")
ZONE_COLUMNS = ("zone", "class", "buds_per_vine", "vine_size_kg", "diagnosis")
#: Corners of zones closer than this to a straight side are left out of the estate map.
TOLERANCE_M = 0.4


def render_estate(
    plan: Any,
    *,
    links: Mapping[str, str | Mapping[str, str]],
    language: str = "en",
    units: str = "us",
    background: str | None = None,
    credit: str = "",
    remarks: Iterable[Remark] = (),
) -> str:
    """Return the estate's page: one HTML file with every block, which asks for nothing else.

    Parameters
    ----------
    plan : Plan or iterable of BlockPlan
        The blocks' plans, all in one projected CRS.
    links : mapping
        Block name -> relative address of its map, or a mapping with any of `page.LINKS`.
    language, units, background, credit
        As in `render_block_map`.
    remarks : iterable of Remark
        What is to be said of the vineyard as a whole.

    Returns
    -------
    str
        HTML. The same plans give the same text.

    Raises
    ------
    ValueError
        If there is no block, a link is not relative, or a choice is unknown.
    """
    check_choices(language, units, background)
    blocks = tuple(plan.blocks if hasattr(plan, "blocks") else plan)
    if not blocks:
        raise ValueError("an estate without blocks has no map")
    outlines = [block.polygon for block in blocks]
    bounds = shapely.total_bounds(np.array(outlines, dtype=object))
    bundle = Bundle(blocks[0].vines.crs, (bounds[0], bounds[1]))
    lon, lat = bundle.lonlat([bounds[[0, 2]].mean()], [bounds[[1, 3]].mean()])[0]
    told: dict[str, Any] = {"words": page_words(), "look": look_told(), "latitude": float(lat)}
    told |= {"language": language, "units": units, "background": background}
    told["said"] = tell_estate(blocks, remarks)
    told["blocks"] = _block_records(blocks, {name: safe_links(given) for name, given in links.items()})
    told["zones"], told["labels"] = _zones(blocks, bundle)
    _pack_shapes(blocks, outlines, bundle)
    before, after = _frame(told, language=language, units=units, credit=credit)
    return build_page(
        center=(round(float(lat), 7), round(float(lon), 7)),
        title=page_words()[language]["estate_title"],
        language=language,
        before=before,
        after=after,
        scripts=SCRIPTS,
        payload=bundle.payload(told),
        background=background,
    )


def _block_records(blocks: Iterable[Any], links: Mapping[str, dict[str, str]]) -> list[dict[str, Any]]:
    told, first_row = [], 0
    for block in blocks:
        rows = _row_codes(block)
        told.append(
            {
                "name": block.name,
                "headline": block.headline,
                "stopped_zones": list(block.stopped_zones),
                "zones": len(block.zones),
                "buds": None if block.stopped else plain(block.buds_per_vine),
                "numbers": _numbers(block),
                "vines": int(block.zones["vines"].sum()),
                "area_ha": plain(float(block.zones["area_ha"].sum())),
                "vine_size_kg": plain(float(block.vine_size_kg)),
                "vine_spacing_m": round(block.settings.vine_spacing_m, 2),
                "first_row": first_row,
                "rows": int(rows[-1]) + 1 if len(rows) else 0,
                "links": links.get(block.name, {}),
            }
        )
        first_row += told[-1]["rows"]
    return told


def _numbers(block: Any) -> list[Any]:
    """Return the zones' numbers in their order; None, where there is none, stands once for them all."""
    numbers = [plain(buds) for buds in block.zones["buds_per_vine"]]
    return [buds for place, buds in enumerate(numbers) if buds is not None or None not in numbers[:place]]


def _row_codes(block: Any) -> NDArray[np.int64]:
    """Return the row of each vine as 0, 1, ... in the order of the table, which holds rows one after another."""
    names = block.vines["row"].to_numpy()
    return np.cumsum(np.append(False, names[1:] != names[:-1])) if len(names) else np.zeros(0, dtype=np.int64)


def _zones(blocks: tuple[Any, ...], bundle: Bundle) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return all blocks' zones, and where each zone's number goes."""
    zones: list[dict[str, Any]] = []
    labels: list[dict[str, Any]] = []
    for index, block in enumerate(blocks):
        for label in zone_labels(block.zones):
            if label["part"] == 0:
                labels.append({"block": index, **label, "zone": len(zones) + label["zone"]})
        zones += [{"block": index, **line} for line in records(block.zones, ZONE_COLUMNS)]
    lonlat = bundle.lonlat([label["easting"] for label in labels], [label["northing"] for label in labels])
    for label, (lon, lat) in zip(labels, np.round(lonlat, 7), strict=True):
        label |= {"lon": float(lon), "lat": float(lat)}
    kept = ("block", "zone", "lon", "lat")
    return zones, [{name: label[name] for name in kept} for label in labels]


def _pack_shapes(blocks: tuple[Any, ...], outlines: list[Any], bundle: Bundle) -> None:
    bundle.add_polygons("block", outlines, tolerance_m=TOLERANCE_M)
    zones = np.concatenate([block.zones.geometry.to_numpy() for block in blocks])
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


def _frame(told: dict[str, Any], *, language: str, units: str, credit: str) -> tuple[str, str]:
    words = page_words()[language]
    headlines = Counter(block["headline"] for block in told["blocks"])
    verdict = words["estate_verdict"].format(zoned=headlines["zone"], one=headlines["one"])
    for less in ("given", "now"):
        if headlines[less]:
            verdict += " " + words[f"estate_verdict_{less}"].format_map(headlines)
    said = told["said"][language][units]
    lines = [_plain_line(block, words, language, units) for block in told["blocks"]]
    heads = [words[key] for key in ("block", "buds_per_vine", "vines", "area", "pages")]
    name = words["estate_title"]
    plain_parts = {
        "stop": said["stop"],
        "verdict": verdict,
        "remarks": said["remarks"],
        "heads": heads,
        "lines": lines,
        "picture": Markup(""),
    }
    return fill_frame("estate", words, name=name, credit=credit, **plain_parts)


def _plain_line(block: dict[str, Any], words: dict[str, str], language: str, units: str) -> list[Any]:
    numbers = " · ".join(plain_count(number, words["stop_word"]) for number in block["numbers"])
    links = {words[f"link_{kind}"]: href for kind, href in block["links"].items()}
    return [block["name"], numbers, str(block["vines"]), plain_figure("area_ha", block["area_ha"], language, units), links]
