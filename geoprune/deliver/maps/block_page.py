"""The map of one block as one HTML file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from geoprune.brief import BlockBrief, Label, RowBrief, zone_labels
from geoprune.deliver.edition import Edition
from geoprune.deliver.maps.ground import Ground, columns_of, lay_ground, number_column, panel_ends, plain, status_codes
from geoprune.deliver.maps.packing import Bundle, scale_bytes
from geoprune.deliver.maps.page import caution_keys, frame, look_record, safe_links
from geoprune.deliver.maps.shell import build_page
from geoprune.deliver.maps.wording import block_words, in_all_languages, page_words, speech_of
from geoprune.plan import BlockPlan

SCRIPTS = ("unpack.js", "words.js", "paint.js", "ground.js", "shared.js", "block_layers.js", "block.js", "block_words.js")
#: A surface with more cells is thinned before it goes into the page.
MOST_CELLS = 160_000
SAMPLE_COLUMNS = ("row", "vine", "vine_weight_kg", "used", "note", "loo_kg", "outlier")


def render_block_map(edition: Edition) -> str:
    """Return the map of one block: one HTML file that asks for nothing else.

    It opens in the reader's language and units and can be switched to any other that has a word list. The same edition
    gives the same text.

    Raises
    ------
    ValueError
        If a link is not relative.
    """
    brief, style = edition.brief, edition.style
    ground = lay_ground(brief.plan)
    west, south, *_ = ground.polygon.bounds
    bundle = Bundle(brief.plan.crs, (west, south))
    data = block_data(brief, ground, bundle) | speech_of(style.reader)
    data["said"] = in_all_languages(style.reader, lambda reader: block_words(brief, reader))
    data |= {"background": style.background, "links": safe_links(edition.links)}
    _pack_shapes(brief.plan, ground, bundle)
    before, after = frame(brief, data["said"][style.reader.language][style.reader.units], style, polygon=ground.polygon)
    return build_page(
        center=data["center"],
        title=f"{brief.name} – {page_words()[style.reader.language]['title']}",
        language=style.reader.language,
        before=before,
        after=after,
        scripts=SCRIPTS,
        payload=bundle.payload(data),
        background=style.background,
    )


def block_data(brief: BlockBrief, ground: Ground, bundle: Bundle) -> dict[str, Any]:
    """Return what the page draws of a block, ready for JSON; what it says is `wording.block_words`."""
    plan, middle = brief.plan, ground.polygon.centroid
    lon, lat = bundle.lonlat([middle.x], [middle.y])[0]
    return {
        "name": brief.name,
        "variety": plan.settings.variety,
        "rule": plan.settings.rule,
        "center": (round(float(lat), 7), round(float(lon), 7)),
        "latitude": float(lat),
        "look": look_record(),
        "headline": brief.headline,
        "cautions": caution_keys(numbered=brief.numbered),
        "taped": brief.taped,
        "surveyed": brief.surveyed,
        "zones": [{"zone": zone.zone, "style": zone.style, "bands": zone.bands, "buds": zone.buds} for zone in brief.zones],
        "labels": _labels(brief.labels, bundle),
        "rows": list(ground.row_names),
        "runs": {row.row: _runs(row) for row in brief.rows},
        "row_spacing_m": ground.row_spacing_m,
        "vine_spacing_m": ground.vine_spacing_m,
        "panel_m": ground.panel_m,
        "samples": columns_of(plan.samples.assign(row=plan.samples["row"].astype(str)), SAMPLE_COLUMNS),
        "flags": columns_of(plan.flags, ("row", "low_bands", "high_bands")),
        "next": columns_of(plan.next_vines, ("stop", "row", "vine")),
        "anyway": _anyway(plan, bundle),
        "grid": _pack_grid(plan, bundle),
    }


def _anyway(plan: BlockPlan, bundle: Bundle) -> list[dict[str, Any]]:
    """Numbers of the zones for who wants zones anyway, and where they are written."""
    if plan.alternative is None:
        return []
    labels = [label for label in zone_labels(plan.alternative) if label.part == 0]
    places = bundle.lonlat([label.easting for label in labels], [label.northing for label in labels])
    buds = plan.alternative["buds_per_vine"]
    return [
        {"buds": int(buds.iloc[label.zone]), "lon": round(float(lon), 7), "lat": round(float(lat), 7)}
        for label, (lon, lat) in zip(labels, places, strict=True)
    ]


def _runs(row: RowBrief) -> list[list[int | None]]:
    """First and last vine, zone, bands, buds and vines of a row's runs, from vine 1 up."""
    runs = row.runs if row.walked_up else row.runs[::-1]
    return [[run.first_vine, run.last_vine, run.zone, run.bands, run.buds, run.vines] for run in runs]


def _labels(labels: Sequence[Label], bundle: Bundle) -> list[dict[str, Any]]:
    lonlat = bundle.lonlat([label.easting for label in labels], [label.northing for label in labels])
    return [
        {"zone": at.zone, "part": at.part, "radius_m": round(at.radius_m, 1)}
        | {"lon": round(float(lon), 7), "lat": round(float(lat), 7)}
        for at, (lon, lat) in zip(labels, lonlat, strict=True)
    ]


def _pack_shapes(plan: BlockPlan, ground: Ground, bundle: Bundle) -> None:
    panels = ground.panels
    bundle.add_polygons("block", [ground.polygon])
    bundle.add_polygons("zones", plan.zones.geometry.to_numpy())
    other = [] if plan.alternative is None else plan.alternative.geometry.to_numpy()
    bundle.add_polygons("anyway", other)
    bundle.add_polygons("replant", plan.replant_areas.geometry.to_numpy())
    bundle.add("rows_ends", np.cumsum(shapely.get_num_coordinates(ground.row_lines)), kind="u32")
    bundle.add_places("rows", shapely.get_coordinates(ground.row_lines))
    bundle.add_places("panel_places", panel_ends(panels))
    bundle.add("panel_row", ground.panel_row, kind="u16")
    for column, name, kind in (
        ("panel", "number", "u16"),
        ("first_vine", "first", "u16"),
        ("last_vine", "last", "u16"),
        ("vines", "vines", "u16"),
        ("zone", "zone", "u8"),
        ("buds_per_vine", "buds", "u16"),
    ):
        bundle.add(f"panel_{name}", np.nan_to_num(number_column(panels, column)), kind=kind)
    bundle.add("panel_size", _hundredths_of_gram(panels, "vine_size_kg"), kind="u32")
    bundle.add("panel_error", _hundredths_of_gram(panels, "vine_size_se_kg"), kind="u32")
    bundle.add("panel_bull", _thousandths(panels, "bull_cane_share"), kind="u16")
    bundle.add("panel_injury", _thousandths(panels, "injury_share"), kind="u16")
    bundle.add("panel_far", np.nan_to_num(number_column(panels, "extrapolated")), kind="u8")
    bundle.add_rows("vines", ground.vine_row, shapely.get_coordinates(ground.vines.geometry.to_numpy()))
    bundle.add("vine_status", status_codes(ground.vines), kind="u8")
    for name, table in (("samples", plan.samples), ("flags", plan.flags), ("next", plan.next_vines)):
        bundle.add_places(name, shapely.get_coordinates(table.geometry.to_numpy()))


def _hundredths_of_gram(table: gpd.GeoDataFrame, name: str) -> NDArray[np.float64]:
    """Return kg as whole 1e-5 kg; 0 where missing (an exact zero becomes 1)."""
    values = number_column(table, name)
    return np.where(np.isfinite(values), np.maximum(np.rint(values * 1e5), 1), 0)


def _thousandths(table: gpd.GeoDataFrame, name: str) -> NDArray[np.float64]:
    """Return a share as 1 + thousandths; 0 where missing."""
    values = number_column(table, name)
    return np.where(np.isfinite(values), 1 + np.rint(values * 1000), 0)


def _pack_grid(plan: BlockPlan, bundle: Bundle) -> dict[str, Any] | None:
    """Add the surface's two bands as bytes; return its size, limits and three corners."""
    grid = plan.surface_grid
    if not grid or not np.isfinite(grid["vine_size_kg"]).any():
        return None
    size = np.asarray(grid["vine_size_kg"], dtype=float)
    step = int(np.ceil(np.sqrt(size.size / MOST_CELLS)))
    data: dict[str, Any] = {}
    for name, key in (("size", "vine_size_kg"), ("error", "vine_size_se_kg")):
        band = _fill_edges(np.asarray(grid[key], dtype=float)[::step, ::step])
        values, low, high = scale_bytes(band)
        bundle.add(f"grid_{name}", values, kind="u8")
        data[name] = [plain(low), plain(high)]
    height, width = band.shape
    a, b, c, d, e, f = tuple(grid["transform"])[:6]
    columns, rows = np.array([0, width, 0]) * step, np.array([0, 0, height]) * step
    corners = bundle.lonlat(a * columns + b * rows + c, d * columns + e * rows + f)
    return {**data, "width": width, "height": height, "corners": np.round(corners, 8).tolist()}


def _fill_edges(band: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give cells outside the block the value of the nearest cell inside: the page cuts at the block's edge."""
    missing = ~np.isfinite(band)
    if not missing.any() or missing.all():
        return band
    nearest = distance_transform_edt(missing, return_distances=False, return_indices=True)
    return band[tuple(nearest)]
