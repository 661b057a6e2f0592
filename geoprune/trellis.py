"""Rows, vines and panels of a block, and the place of each sample among them. Pure geometry."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import LineString, affinity
from shapely.ops import linemerge

from geoprune.errors import DataError, Problem
from geoprune.layers import COUNTED, Vineyard

PANEL_M = 7.3  # 24 ft, common practice, no source


@dataclass(frozen=True)
class Trellis:
    """A block laid out as people walk it. All tables have a RangeIndex.

    rows : row, order, length_m, vines, geometry (first vertex = end of vine 1)
    panels : row, row_order, panel, first_vine, last_vine, vines, counted, geometry (post to post)
    vines : row, row_order, vine, status, counted, panel_id, along_m, geometry; one per planting position
    """

    rows: gpd.GeoDataFrame
    panels: gpd.GeoDataFrame
    vines: gpd.GeoDataFrame
    row_spacing_m: float
    vine_spacing_m: float


def _lay_out_rows(polygon: shapely.Geometry, bearing_deg: float, spacing_m: float) -> gpd.GeoDataFrame:
    """Rows of a block without a rows layer: parallel lines at the bearing, clipped to the outline."""
    center = polygon.centroid
    turned = affinity.rotate(polygon, bearing_deg, origin=center)
    west, south, east, north = turned.bounds
    lines: list[LineString] = []
    names: list[str] = []
    for easting in np.arange(west + spacing_m / 2, east, spacing_m):
        cut = turned.intersection(LineString([(easting, south - 1), (easting, north + 1)]))
        parts = [p for p in shapely.get_parts(cut) if p.geom_type == "LineString" and p.length > spacing_m]
        if parts:
            longest = max(parts, key=lambda p: p.length)
            lines.append(affinity.rotate(longest, -bearing_deg, origin=center))
            names.append(str(len(names) + 1))
    return gpd.GeoDataFrame({"row": names}, geometry=lines)


def _one_line(geometry: shapely.Geometry) -> LineString:
    """A row as one line; the parts of a broken row are joined end to end in their given order."""
    merged = linemerge(geometry) if geometry.geom_type == "MultiLineString" else geometry
    if merged.geom_type == "LineString":
        return merged
    return LineString(np.concatenate([np.asarray(part.coords) for part in geometry.geoms]))


def build_trellis(vineyard: Vineyard, block: str) -> Trellis:
    """Lay out one block: vines along each row at the vine spacing (the first at half a spacing), panels of whole vines.

    Raises
    ------
    DataError
        When there is neither a rows layer nor a row bearing, or no row holds a vine.
    """
    entry = vineyard.blocks[vineyard.blocks["block"] == block].iloc[0]
    spacing = float(entry["vine_spacing_m"])
    given = None if vineyard.rows is None else vineyard.rows[vineyard.rows["block"] == block]
    if given is not None and len(given):
        rows = gpd.GeoDataFrame({"row": given["row"].to_numpy()}, geometry=[_one_line(g) for g in given.geometry])
    elif pd.isna(entry["row_bearing_deg"]):
        what = "neither a rows layer nor row_bearing_deg"
        raise DataError([Problem("", "blocks", f"block '{block}'", what, "Give one of the two")])
    else:
        rows = _lay_out_rows(entry.geometry, float(entry["row_bearing_deg"]), float(entry["row_spacing_m"]))
    rows["length_m"] = rows.length
    rows["vines"] = np.floor(rows["length_m"] / spacing + 1e-6).astype(int)
    rows = rows[rows["vines"] > 0]
    if not len(rows):
        raise DataError([Problem("", "rows", f"block '{block}'", "no row is as long as a vine", "Check the rows")])
    rows = rows.iloc[_across(rows)].reset_index(drop=True)
    rows["order"] = np.arange(len(rows))
    per_panel = entry["vines_per_panel"]
    per_panel = max(1, round(PANEL_M / spacing)) if pd.isna(per_panel) else int(per_panel)
    vines = _stand_vines(rows, spacing, per_panel)
    if vineyard.vines is not None:
        told = vineyard.vines[vineyard.vines["block"] == block]
        status = pd.Series(told["status"].to_numpy(), [told["row"].to_numpy(), told["vine"].astype(int).to_numpy()])
        keys = pd.MultiIndex.from_arrays([vines["row"], vines["vine"]])
        vines["status"] = np.where(keys.isin(status.index), status.reindex(keys).to_numpy(), "bearing")
    vines["counted"] = vines["status"].isin(COUNTED)
    panels = _panels(rows, vines, spacing)
    return Trellis(
        rows.set_crs(vineyard.crs),
        panels.set_crs(vineyard.crs),
        vines.set_crs(vineyard.crs),
        float(entry["row_spacing_m"]),
        spacing,
    )


def middle_points(lines: gpd.GeoDataFrame) -> np.ndarray:
    """Easting and northing (m, 2) halfway along each line."""
    return shapely.get_coordinates(shapely.line_interpolate_point(lines.geometry.values, 0.5, normalized=True))


def _across(rows: gpd.GeoDataFrame) -> np.ndarray:
    """Order of rows across the block, whatever the order of the file or the direction of the lines."""
    coordinates = middle_points(rows)
    ends = shapely.get_coordinates(shapely.line_interpolate_point(rows.geometry.values, [[0.0], [1.0]], normalized=True))
    direction = (ends[len(rows) :] - ends[: len(rows)]).T
    angle = np.angle(np.sum((direction[0] + 1j * direction[1]) ** 2)) / 2
    return np.argsort(coordinates @ np.array([np.sin(angle), -np.cos(angle)]), kind="stable")


def _stand_vines(rows: gpd.GeoDataFrame, spacing: float, per_panel: int) -> gpd.GeoDataFrame:
    count = rows["vines"].to_numpy()
    owner = np.repeat(np.arange(len(rows)), count)
    vine = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    along = (vine + 0.5) * spacing
    points = shapely.line_interpolate_point(rows.geometry.values[owner], along)
    panel = vine // per_panel
    _, panel_id = np.unique(owner * 100_000 + panel, return_inverse=True)
    return gpd.GeoDataFrame(
        {
            "row": rows["row"].to_numpy()[owner],
            "row_order": owner,
            "vine": vine + 1,
            "status": "bearing",
            "panel": panel + 1,
            "panel_id": panel_id,
            "along_m": along,
        },
        geometry=points,
    )


def _panels(rows: gpd.GeoDataFrame, vines: gpd.GeoDataFrame, spacing: float) -> gpd.GeoDataFrame:
    table = (
        vines.groupby("panel_id")
        .agg(
            row=("row", "first"),
            row_order=("row_order", "first"),
            panel=("panel", "first"),
            first_vine=("vine", "min"),
            last_vine=("vine", "max"),
            vines=("vine", "size"),
            counted=("counted", "sum"),
        )
        .reset_index(drop=True)
    )
    lines = [
        shapely.ops.substring(rows.geometry.iloc[order], (first - 1) * spacing, last * spacing)
        for order, first, last in zip(table["row_order"], table["first_vine"], table["last_vine"], strict=True)
    ]
    return gpd.GeoDataFrame(table, geometry=lines)


def place_samples(samples: gpd.GeoDataFrame, trellis: Trellis, *, file: str = "") -> gpd.GeoDataFrame:
    """Place each sample of one block at its vine: adds vine_id, offset_m, used, why_not; geometry = where placed.

    Row + vine is exact. A coordinate goes to the nearest vine; farther than half a row spacing it is left out.

    Raises
    ------
    DataError
        Listing every sample on an unknown row or beyond a row's end.
    """
    placed = samples.reset_index(drop=True).copy()
    index = pd.Series(np.arange(len(trellis.vines)), [trellis.vines["row"], trellis.vines["vine"]])
    last = trellis.rows.set_index("row")["vines"]
    problems, vine_id = [], np.full(len(placed), -1)
    offset, why = np.zeros(len(placed)), np.full(len(placed), "", dtype=object)
    tree = trellis.vines.sindex
    for i, sample in enumerate(placed.itertuples()):
        where = f"row {sample.source_row}"
        if sample.row and not pd.isna(sample.vine):
            if sample.row not in last.index:
                problems.append(Problem(file, "samples", where, f"unknown row '{sample.row}'", "Use a row's painted name"))
            elif not 1 <= sample.vine <= last[sample.row]:
                what = f"row '{sample.row}' has {last[sample.row]} vines, not {sample.vine:g}"
                problems.append(Problem(file, "samples", where, what, "Correct the vine number"))
            else:
                vine_id[i] = index[(sample.row, int(sample.vine))]
        else:
            vine_id[i] = tree.nearest(sample.geometry, return_all=False)[1][0]
            offset[i] = sample.geometry.distance(trellis.vines.geometry.iloc[vine_id[i]])
            line = trellis.rows.distance(sample.geometry).min()
            if line > trellis.row_spacing_m / 2:
                why[i] = f"{line:.1f} m from the nearest row"
    if problems:
        raise DataError(problems)
    counted = trellis.vines["counted"].to_numpy()[vine_id]
    why = np.where((why == "") & ~counted, "stands on a vine that is not bearing", why)
    placed["vine_id"], placed["offset_m"], placed["why_not"] = vine_id, offset, why
    placed["used"] = placed["why_not"] == ""
    placed["row"] = trellis.vines["row"].to_numpy()[vine_id]
    placed["vine"] = trellis.vines["vine"].to_numpy()[vine_id]
    placed["geometry"] = trellis.vines.geometry.to_numpy()[vine_id]
    return placed


def panel_footprints(trellis: Trellis, polygon: shapely.Geometry) -> gpd.GeoSeries:
    """Share the block's outline among its panels: the ground nearest to each panel's vines (Voronoi), clipped."""
    points = trellis.vines.geometry
    cells = points.voronoi_polygons(extend_to=polygon)
    owner = cells.sindex.query(points, predicate="intersects")
    first = pd.Series(owner[1], owner[0]).groupby(level=0).first().reindex(np.arange(len(points)))
    table = gpd.GeoDataFrame(
        {"panel_id": trellis.vines["panel_id"]},
        geometry=cells.to_numpy()[first.to_numpy(int)],
        crs=points.crs,
    )
    merged = table.dissolve("panel_id").reindex(np.arange(len(trellis.panels)))
    return gpd.GeoSeries(merged.geometry.intersection(polygon), crs=points.crs)
