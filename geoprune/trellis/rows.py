"""Row lines of a block: as drawn, or laid out from its outline; broken rows; how many vines each holds."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import LineString, affinity
from shapely.ops import linemerge

from geoprune.errors import DataError, Problem
from geoprune.layers import Vineyard

#: A row may be short of a whole number of vines by this share of a vine: lines are drawn, and map grids stretch.
SLACK = 0.1
#: Where each side of a block lies, and how little of it a row's side may point to before it is none (design choice).
SIDES = {"N": (0.0, 1.0), "E": (1.0, 0.0), "S": (0.0, -1.0), "W": (-1.0, 0.0)}
LEAST_SHARE = 0.1
#: So many rows more or fewer than fit are set by their count; more is an error of spacing or outline (design choice).
ROWS_SET = 2


@dataclass(frozen=True)
class RowLines:
    """The rows of a block. A row with gaps is one line; its stretches say where trellis stands.

    rows : row, order, length_m (of trellis, gaps left out), vines, geometry (first vertex = end of vine 1)
    stretches : row_order, start_m, end_m (along the line), vines, first_vine, pitch_m (distance between vines)
    ends_stand : samples show that lines run from the first vine to the last, so that one vine more stands than fits
    """

    rows: gpd.GeoDataFrame
    stretches: pd.DataFrame
    ends_stand: bool = False


def lay_rows(vineyard: Vineyard, block: str) -> RowLines:
    """Lay out the rows of one block, numbered in order across it, and count the vines they hold.

    A row holds the whole vines that fit at the vine spacing (a tenth of a vine may lack). Where the vines layer lists
    one vine more than fits, that vine is believed and the row's vines stand a little closer. Where a sample names one
    more, lines were drawn from the first vine to the last: so it is in every row of the block without listed vines. Gaps
    of a vine spacing or more between the parts of a row hold no vines.

    Raises
    ------
    DataError
        When there is neither a rows layer nor a row bearing, or no row holds a vine.
    """
    entry = vineyard.blocks.iloc[np.flatnonzero(vineyard.blocks["block"] == block)[0]]
    spacing = float(entry["vine_spacing_m"])
    names, parts = _row_parts(vineyard, entry)
    chained = [_chain(lines, spacing) for lines in parts]
    lines = np.array([line for line, _ in chained], dtype=object)
    owner = np.repeat(np.arange(len(lines)), [len(spans) for _, spans in chained])
    start, end = np.array([span for _, spans in chained for span in spans]).T
    vines = np.floor((end - start) / spacing + SLACK).astype(np.int64)
    beyond, ends_stand = _vines_beyond(owner, vines, names, vineyard, block)
    vines += beyond
    if not vines.any():
        raise DataError([Problem("", "rows", f"block '{block}'", "no row is as long as a vine", "Check rows and spacing")])
    order = _order(np.array(names, dtype=object), lines, np.bincount(owner, vines, minlength=len(lines)))
    place = np.full(len(lines), -1)
    place[order] = np.arange(len(order))
    kept = np.flatnonzero((vines > 0) & (place[owner] >= 0))
    kept = kept[np.argsort(place[owner[kept]], kind="stable")]
    row, held, length = place[owner[kept]], vines[kept], (end - start)[kept]
    total = np.bincount(row, held, minlength=len(order)).astype(np.int64)
    before = np.cumsum(held) - held
    stretches = {"row_order": row, "start_m": start[kept], "end_m": end[kept], "vines": held}
    stretches["first_vine"] = before - (np.cumsum(total) - total)[row] + 1
    stretches["pitch_m"] = np.minimum(spacing, length / held)
    table = {"row": np.array(names, dtype=object)[order], "order": np.arange(len(order))}
    table |= {"length_m": np.bincount(row, length, minlength=len(order)), "vines": total}
    return RowLines(gpd.GeoDataFrame(table, geometry=lines[order], crs=vineyard.crs), pd.DataFrame(stretches), ends_stand)


def row_positions(rows: gpd.GeoDataFrame, named: Iterable[str]) -> NDArray[np.float64]:
    """Position in `rows` of each row named; NaN where there is no such row."""
    place = {name: position for position, name in enumerate(rows["row"])}
    return np.array([place.get(name, np.nan) for name in named], dtype=float)


def vine_places(lines: RowLines, rows: pd.Series, vines: pd.Series) -> NDArray[np.object_]:
    """Where vines named by row and number stand; None where there is no such vine."""
    stretches, counted = lines.stretches, lines.rows["vines"].to_numpy()
    order = row_positions(lines.rows, rows)
    number = vines.to_numpy(dtype=float)
    known = np.flatnonzero(~np.isnan(order) & (number >= 1))
    known = known[number[known] <= counted[order[known].astype(int)]]
    row, number = order[known].astype(int), number[known]
    begins = stretches["row_order"] + stretches["first_vine"] / (counted.max() + 2)
    stretch = stretches.iloc[np.searchsorted(begins, row + (number + 0.5) / (counted.max() + 2)) - 1]
    along = stretch["start_m"] + (number - stretch["first_vine"] + 0.5) * stretch["pitch_m"]
    places = np.full(len(rows), None, dtype=object)
    places[known] = shapely.line_interpolate_point(lines.rows.geometry.to_numpy()[row], along.to_numpy())
    return places


def _row_parts(vineyard: Vineyard, entry: pd.Series) -> tuple[list[str], list[list[LineString]]]:
    if vineyard.rows is not None:
        given = np.flatnonzero(vineyard.rows["block"] == entry["block"])
        if len(given):
            lines = vineyard.rows.geometry.values[given]
            parts = [[part for part in shapely.get_parts(line) if part.length > 0] for line in np.asarray(lines)]
            return vineyard.rows["row"].to_numpy()[given].tolist(), parts
    if pd.isna(entry["row_bearing_deg"]):
        what = "neither a rows layer nor row_bearing_deg"
        raise DataError([Problem("", "blocks", f"block '{entry['block']}'", what, "Give one of the two")])
    spacings = float(entry["row_spacing_m"]), float(entry["vine_spacing_m"])
    counted = entry.get("rows_counted", np.nan)
    parts = _parallel_lines(entry.geometry, float(entry["row_bearing_deg"]), *spacings, counted=counted)
    parts = _numbered_from(parts, entry)
    return [str(number + 1) for number in range(len(parts))], parts


def _numbered_from(parts: list[list[LineString]], entry: pd.Series) -> list[list[LineString]]:
    """Rows laid out, turned so that row 1 stands on the side that the block names, and vine 1 at the end it names."""
    angle = np.deg2rad(float(entry["row_bearing_deg"]))
    along, right = np.array([np.sin(angle), np.cos(angle)]), np.array([np.cos(angle), -np.sin(angle)])
    if _turned(entry, "first_row_side", -right):
        parts = parts[::-1]
    if _turned(entry, "vine_1_end", -along):
        parts = [[shapely.reverse(part) for part in row[::-1]] for row in parts]
    return parts


def _turned(entry: pd.Series, name: str, points_to: NDArray[np.float64]) -> bool:
    """Whether a side or end that a block names is the one opposite to that the rows were laid out from."""
    side = str(entry.get(name, "") or "")
    if side not in SIDES:
        return False
    share = float(np.dot(SIDES[side], points_to))
    if abs(share) < LEAST_SHARE:
        others = "N or S" if side in "EW" else "E or W"
        what = f"{name} is {side}, but rows at {float(entry['row_bearing_deg']):.0f} degrees have no such side"
        raise DataError([Problem("", "blocks", f"block '{entry['block']}'", what, f"Give {others}, or correct the bearing")])
    return share < 0


def _parallel_lines(
    outline: shapely.Geometry, bearing_deg: float, row_spacing_m: float, vine_spacing_m: float, *, counted: float = np.nan
) -> list[list[LineString]]:
    """Parallel lines at the bearing, cut at the outline.

    The first stands half a row spacing inside the outline's left edge. Where the rows were counted, and one or two more or
    fewer than so many fit, as many are laid out, as far from the left edge as from the right.
    """
    center = outline.centroid
    turned = affinity.rotate(outline, bearing_deg, origin=center)
    west, south, east, north = turned.bounds
    eastings = np.arange(west + row_spacing_m / 2, east, row_spacing_m)
    if np.isfinite(counted) and 0 < abs(counted - len(eastings)) <= ROWS_SET:
        eastings = (west + east) / 2 + row_spacing_m * (np.arange(int(counted)) - (int(counted) - 1) / 2)
    ends = np.stack([np.column_stack([eastings, np.full_like(eastings, n)]) for n in (south - 1, north + 1)], axis=1)
    cuts = shapely.intersection(turned, shapely.linestrings(ends)) if len(eastings) else []
    parts = []
    for cut in cuts:
        found = [p for p in shapely.get_parts(cut) if p.geom_type == "LineString" and p.length >= vine_spacing_m]
        found = [p if p.coords[0][1] < p.coords[-1][1] else shapely.reverse(p) for p in found]
        found = sorted(found, key=lambda p: p.coords[0][1])
        if found:
            parts.append([affinity.rotate(p, -bearing_deg, origin=center) for p in found])
    return parts


def _chain(parts: list[LineString], gap_m: float) -> tuple[LineString, list[tuple[float, float]]]:
    """Join the parts of a row end to end from its first vertex; where trellis stands along the joined line."""
    if not parts:
        return LineString(), [(0.0, 0.0)]
    if len(parts) == 1:
        return parts[0], [(0.0, parts[0].length)]
    left = [np.asarray(part.coords) for part in _merged(parts)]
    chain = [left.pop(0)]
    while left:
        tail = chain[-1][-1]
        reach = [min((np.hypot(*(c[end] - tail)), end) for end in (0, -1)) for c in left]
        nearest = int(np.argmin([distance for distance, _ in reach]))
        following = left.pop(nearest)
        chain.append(following if reach[nearest][1] == 0 else following[::-1])
    spans: list[tuple[float, float]] = []
    at = 0.0
    for k, piece in enumerate(chain):
        gap = float(np.hypot(*(piece[0] - chain[k - 1][-1]))) if k else np.inf
        length = LineString(piece).length
        at += gap if k else 0.0
        if gap < gap_m:
            spans[-1] = (spans[-1][0], at + length)
        else:
            spans.append((at, at + length))
        at += length
    return LineString(np.concatenate(chain)), spans


def _merged(parts: list[LineString]) -> list[LineString]:
    """Touching parts made one; the piece with the row's first vertex comes first and starts there."""
    start = shapely.Point(parts[0].coords[0])
    pieces = list(shapely.get_parts(linemerge(parts)))
    pieces.sort(key=lambda p: min(start.distance(shapely.Point(p.coords[0])), start.distance(shapely.Point(p.coords[-1]))))
    first = pieces[0]
    if start.distance(shapely.Point(first.coords[-1])) < start.distance(shapely.Point(first.coords[0])):
        pieces[0] = shapely.reverse(first)
    return pieces


def _vines_beyond(
    owner: NDArray[np.int64], vines: NDArray[np.int64], names: list[str], vineyard: Vineyard, block: str
) -> tuple[NDArray[np.int64], bool]:
    """Vines that each stretch holds beyond those that fit, and whether samples show that lines run from vine to vine.

    The vines layer is believed of its own row, in the last stretch. Where a sample names more than fits, every stretch
    of the rows without listed vines holds one more.
    """
    fits = np.bincount(owner, vines, minlength=len(names))
    listed = _highest(vineyard.vines, names, block)
    more = np.zeros(len(vines), dtype=np.int64)
    last = np.searchsorted(owner, np.arange(len(names)), side="right") - 1
    more[last[listed == fits + 1]] = 1
    named = np.where(listed > 0, 0, _highest(vineyard.samples, names, block))
    ends_stand = bool(((named > fits) & (named <= fits + np.bincount(owner, minlength=len(names)))).any())
    if ends_stand:
        more[(listed == 0)[owner] & (vines > 0)] = 1
    return more, ends_stand


def _highest(table: pd.DataFrame | None, names: list[str], block: str) -> NDArray[np.float64]:
    """The highest vine number that a layer names in each row; 0 where it names none."""
    if table is None or not len(table):
        return np.zeros(len(names))
    own = table.loc[(table["block"] == block) & table["vine"].notna(), ["row", "vine"]]
    return own.groupby("row")["vine"].max().reindex(names).fillna(0.0).to_numpy(dtype=float)


def _order(names: NDArray[np.object_], lines: NDArray[np.object_], vines: NDArray[Any]) -> NDArray[np.int64]:
    """Rows that hold vines, in their order across the block, lower names first."""
    kept = np.flatnonzero(vines > 0)
    kept = kept[_across(lines[kept])]
    return kept[::-1] if _natural(names[kept[0]]) > _natural(names[kept[-1]]) else kept


def _natural(name: str) -> list[tuple[int, str]]:
    """Sort key by which B2 comes before B10."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name) if part]


def _across(lines: NDArray[np.object_]) -> NDArray[np.int64]:
    """Order of rows across the block, whatever the order of the file or the direction of the lines."""
    middle = shapely.get_coordinates(shapely.line_interpolate_point(lines, 0.5, normalized=True))
    first, last = (shapely.get_coordinates(shapely.line_interpolate_point(lines, e, normalized=True)) for e in (0.0, 1.0))
    along = (last - first) @ np.array([1.0, 1.0j])
    angle = np.angle(np.sum(along**2)) / 2
    return np.argsort(middle @ np.array([np.sin(angle), -np.cos(angle)]), kind="stable")
