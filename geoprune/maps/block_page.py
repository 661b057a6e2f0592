"""The map of one block as one HTML file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from geoprune.maps.ground import (
    Ground,
    columns_of,
    lay_ground,
    number_column,
    panel_ends,
    plain,
    records,
    status_codes,
    zone_labels,
    zone_parts,
)
from geoprune.maps.packing import Bundle, scale_bytes
from geoprune.maps.page import check_choices, frame, look_told, safe_links
from geoprune.maps.shell import build_page
from geoprune.maps.telling import page_words, tell_plan
from geoprune.plan import BlockPlan

SCRIPTS = ("unpack.js", "words.js", "paint.js", "ground.js", "shared.js", "block.js", "block_words.js")
#: A surface with more cells is thinned before it goes into the page.
MOST_CELLS = 160_000
ZONE_COLUMNS = (
    *("zone", "class", "vines", "area_ha", "vine_size_kg", "vine_size_se_kg", "vine_size_kg_m"),
    *("buds_per_vine", "buds_total", "injury_share", "injury_low", "injury_high", "bull_cane_share"),
    *("bull_cane_low", "bull_cane_high", "diagnosis", "recipe"),
)
SAMPLE_COLUMNS = ("row", "vine", "vine_weight_kg", "used", "why_not", "note", "loo_kg", "loo_z", "outlier", "far_m")
REPLANT_COLUMNS = (*("area", "vines_missing", "vines_weak", "row_length_m", "reason", "area_ha", "first_row", "last_row"),)


def render_block_map(
    plan: BlockPlan,
    *,
    language: str = "en",
    units: str = "us",
    background: str | None = None,
    credit: str = "",
    links: Mapping[str, str] | None = None,
) -> str:
    """Return the map of one block: one HTML file that asks for nothing else.

    Parameters
    ----------
    plan : BlockPlan
        Columns that are missing or hold no value become layers that say so.
    language : str
        The language it opens in; the page can be switched to any other that has a word list.
    units : {"us", "metric"}
        The units it opens in; can be switched too.
    background : str, optional
        Tile address with {z}, {x}, {y} for a picture under the map. Off by default: with it the page uses the network.
    credit : str
        Who made the background; shown on the map.
    links : mapping, optional
        Relative addresses of the block's other pages, by `page.LINKS`.

    Returns
    -------
    str
        HTML. The same plan gives the same text.

    Raises
    ------
    ValueError
        If the language has no word list, the units are unknown, the background is not a tile address, or a link is not
        relative.
    """
    check_choices(language, units, background)
    ground = lay_ground(plan)
    west, south, *_ = ground.polygon.bounds
    bundle = Bundle(plan.vines.crs, (west, south))
    told = tell_block(plan, ground, bundle)
    told |= {"language": language, "units": units, "background": background, "links": safe_links(links or {})}
    _pack_shapes(plan, ground, bundle)
    parts = frame("block", told, plan.zones, language=language, units=units, credit=credit, polygon=ground.polygon)
    return build_page(
        center=told["center"],
        title=f"{plan.name} – {page_words()[language]['title']}",
        language=language,
        before=parts[0],
        after=parts[1],
        scripts=SCRIPTS,
        payload=bundle.payload(told),
        background=background,
    )


def tell_block(plan: BlockPlan, ground: Ground, bundle: Bundle) -> dict[str, Any]:
    """Return everything the page says about a block, ready for JSON."""
    middle = ground.polygon.centroid
    lon, lat = bundle.lonlat([middle.x], [middle.y])[0]
    return {
        "name": plan.name,
        "variety": plan.settings.variety,
        "rule": plan.settings.rule,
        "training": plan.settings.training,
        "center": (round(float(lat), 7), round(float(lon), 7)),
        "latitude": float(lat),
        "words": page_words(),
        "look": look_told(),
        "said": tell_plan(plan),
        "verdict": plan.verdict,
        "buds": None if plan.stopped_zones or plan.stopped else plain(plan.buds_per_vine),
        "headline": plan.headline,
        "loo_rmse_kg": plain(float(plan.loo_rmse_kg)),
        "mean_rmse_kg": plain(float(plan.mean_rmse_kg)),
        "merit": {name: _merit(plan.merit, f"{key}_misfit") for name, key in _MERITS.items()},
        "zones": _zone_records(plan, ground),
        "labels": _labels(plan, bundle),
        "rows": list(ground.row_names),
        "row_spacing_m": ground.row_spacing_m,
        "vine_spacing_m": ground.vine_spacing_m,
        "panel_m": ground.panel_m,
        "samples": columns_of(_told_samples(plan), SAMPLE_COLUMNS),
        "replant": _replant_records(plan, ground),
        "flags": columns_of(plan.flags, ("row", "bands")),
        "next": columns_of(plan.next_vines, ("stop", "row", "vine")),
        "grid": _pack_grid(plan, bundle),
    }


_MERITS = {"one": "one_number", "zones": "zones", "perfect": "perfect"}


def _merit(merit: Mapping[str, Any], key: str) -> float | None:
    """Return a figure of merit, which stands alone or with its interval."""
    value = merit.get(key)
    return plain(float(value["value"] if isinstance(value, dict) else value)) if value is not None else None


def _told_samples(plan: BlockPlan) -> gpd.GeoDataFrame:
    """The samples with `far_m`: how far from any row one stands that was left out for that; NaN for all others."""
    away = number_column(plan.samples, "row_distance_m")
    far = ~plan.samples["used"].to_numpy(bool) & (away > plan.settings.row_spacing_m / 2)
    return plan.samples.assign(row=plan.samples["row"].astype(str), far_m=np.where(far, away, np.nan))


def _zone_records(plan: BlockPlan, ground: Ground) -> list[dict[str, Any]]:
    told = records(plan.zones, ZONE_COLUMNS)
    zone_of_panel = plan.panels["zone"].to_numpy()
    for line, part in zip(told, zone_parts(plan.zones, ground.polygon), strict=True):
        inside = ground.panel_row[zone_of_panel == line["zone"]]
        ends = (inside.min(), inside.max()) if len(inside) else (0, 0)
        line |= {
            "part": part,
            "name": plan.zone_names.get(line["zone"]),
            "first_row": ground.row_names[ends[0]],
            "last_row": ground.row_names[ends[1]],
        }
        line["diagnosis"] = line["diagnosis"] or "unknown"
    return told


def _replant_records(plan: BlockPlan, ground: Ground) -> list[dict[str, Any]]:
    """Return the replant areas; where the table does not name the first and last row, those it touches."""
    told = records(plan.replant_areas, REPLANT_COLUMNS)
    for line, area in zip(told, plan.replant_areas.geometry, strict=True):
        touched = np.flatnonzero(shapely.intersects(ground.row_lines, area))
        if line["first_row"] is None and len(touched):
            line |= {"first_row": ground.row_names[touched[0]], "last_row": ground.row_names[touched[-1]]}
    return told


def _labels(plan: BlockPlan, bundle: Bundle) -> list[dict[str, Any]]:
    labels = zone_labels(plan.zones)
    lonlat = bundle.lonlat([label["easting"] for label in labels], [label["northing"] for label in labels])
    return [
        {"zone": at["zone"], "part": at["part"], "radius_m": round(at["radius_m"], 1)}
        | {"lon": round(float(lon), 7), "lat": round(float(lat), 7)}
        for at, (lon, lat) in zip(labels, lonlat, strict=True)
    ]


def _pack_shapes(plan: BlockPlan, ground: Ground, bundle: Bundle) -> None:
    panels = ground.panels
    bundle.add_polygons("block", [ground.polygon])
    bundle.add_polygons("zones", plan.zones.geometry.to_numpy())
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


def _hundredths_of_gram(table: Any, name: str) -> NDArray[np.float64]:
    """Return kg as whole 1e-5 kg; 0 where missing (an exact zero becomes 1)."""
    values = number_column(table, name)
    return np.where(np.isfinite(values), np.maximum(np.rint(values * 1e5), 1), 0)


def _thousandths(table: Any, name: str) -> NDArray[np.float64]:
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
    told: dict[str, Any] = {}
    for name, key in (("size", "vine_size_kg"), ("error", "vine_size_se_kg")):
        band = _fill_edges(np.asarray(grid[key], dtype=float)[::step, ::step])
        values, low, high = scale_bytes(band)
        bundle.add(f"grid_{name}", values, kind="u8")
        told[name] = [plain(low), plain(high)]
    height, width = band.shape
    a, b, c, d, e, f = tuple(grid["transform"])[:6]
    columns, rows = np.array([0, width, 0]) * step, np.array([0, 0, height]) * step
    corners = bundle.lonlat(a * columns + b * rows + c, d * columns + e * rows + f)
    return {**told, "width": width, "height": height, "corners": np.round(corners, 8).tolist()}


def _fill_edges(band: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give cells outside the block the value of the nearest cell inside: the page cuts at the block's edge."""
    missing = ~np.isfinite(band)
    if not missing.any() or missing.all():
        return band
    nearest = distance_transform_edt(missing, return_distances=False, return_indices=True)
    return band[tuple(nearest)]
