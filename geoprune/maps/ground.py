"""What a map needs of a block's plan, as plain tables and numbers; what a plan does not carry is empty, never made up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.plan import BlockPlan

STATUS_CODES = {"bearing": 0, "young": 1, "missing": 2, "dead": 3, "diseased": 4}
#: A zone's part gets a label of its own when it holds at least this share of the zone.
LABEL_SHARE = 0.04
#: Off-centre by less than this share of the block's reach is "in the middle".
MIDDLE_SHARE = 0.12


@dataclass(frozen=True)
class Ground:
    """A block as the map draws it. Tables are in metres; rows of `vines` are grouped by row, in order.

    row_names : names as painted, in walking order; `panel_row`, `vine_row` point into it
    """

    polygon: shapely.Geometry
    row_names: tuple[str, ...]
    row_lines: NDArray[Any]
    panels: gpd.GeoDataFrame
    panel_row: NDArray[np.int64]
    vines: gpd.GeoDataFrame
    vine_row: NDArray[np.int64]
    row_spacing_m: float
    vine_spacing_m: float
    panel_m: float


def lay_ground(plan: BlockPlan) -> Ground:
    """Return the block's ground from its plan.

    Raises
    ------
    ValueError
        If a panel or vine stands in a row that the rows table does not have.
    """
    names = pd.Index(plan.rows["row"].astype(str))
    panel_row, vine_row = (names.get_indexer(table["row"].astype(str)) for table in (plan.panels, plan.vines))
    if (panel_row < 0).any() or (vine_row < 0).any():
        raise ValueError(f"block {plan.name!r}: panels or vines in a row that is not among its rows")
    walk = np.lexsort((plan.vines["vine"].to_numpy(), vine_row))
    vines, vine_row = plan.vines.iloc[walk], vine_row[walk]
    return Ground(
        polygon=plan.polygon,
        row_names=tuple(names),
        row_lines=shapely.simplify(plan.rows.geometry.to_numpy(), 0.1),
        panels=plan.panels,
        panel_row=panel_row,
        vines=vines,
        vine_row=vine_row,
        row_spacing_m=plan.settings.row_spacing_m,
        vine_spacing_m=plan.settings.vine_spacing_m,
        panel_m=float(np.median(plan.panels.geometry.length)) if len(plan.panels) else 0.0,
    )


def panel_ends(panels: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """Return (2 n, 2) easting and northing of each panel's first and last post."""
    lines = panels.geometry.to_numpy()
    ends = np.stack([shapely.get_point(lines, 0), shapely.get_point(lines, -1)], axis=1)
    return shapely.get_coordinates(ends.ravel())


def status_codes(vines: gpd.GeoDataFrame) -> NDArray[np.int64]:
    """Return each vine's status as a number; unknown words count as bearing."""
    return vines["status"].map(STATUS_CODES).fillna(0).to_numpy(dtype=np.int64)


def zone_labels(zones: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return where to write each zone's number: the place farthest from the edge of each of its larger parts.

    Returns
    -------
    list of dict
        zone (position in `zones`), part (0 = largest), easting, northing, radius_m; largest parts of all zones first.
    """
    found = []
    for index, geometry in enumerate(zones.geometry):
        parts = sorted(shapely.get_parts(geometry), key=shapely.area, reverse=True)
        least = LABEL_SHARE * sum(part.area for part in parts)
        for rank, part in enumerate(part for part in parts if part.area >= least or part is parts[0]):
            center, rim = shapely.get_coordinates(shapely.maximum_inscribed_circle(part, tolerance=1.0))[[0, -1]]
            place = {"easting": float(center[0]), "northing": float(center[1])}
            found.append({"zone": index, "part": rank, "radius_m": float(np.hypot(*(rim - center))), **place})
    return sorted(found, key=lambda label: (label["part"], -label["radius_m"]))


def zone_parts(zones: gpd.GeoDataFrame, polygon: shapely.Geometry) -> list[list[str]]:
    """Return where in the block each zone lies: "n", "ne", ... or "middle" for its large pieces, or "scattered".

    A piece is large when it holds a fifth of its zone; a zone whose large pieces hold less than half of it, or are
    more than two, is scattered. Of zones on the same side the farthest out is at its "e_end", the nearest to the middle
    "e_inner". "more" follows where other pieces are large enough for a number of their own.
    """
    west, south, east, north = polygon.bounds
    reach = max(east - west, north - south)
    told = [_pieces_told(geometry, polygon.centroid, reach) for geometry in zones.geometry]
    away = [float(geometry.centroid.distance(polygon.centroid)) for geometry in zones.geometry]
    for side in {parts[0] for parts in told if _one_side(parts)}:
        alike = sorted((i for i, parts in enumerate(told) if _one_side(parts) and parts[0] == side), key=away.__getitem__)
        if len(alike) > 1:
            told[alike[0]][0], told[alike[-1]][0] = f"{side}_inner", f"{side}_end"
    return told


def _one_side(parts: list[str]) -> bool:
    return len(parts[0]) < 3 and (len(parts) == 1 or len(parts[1]) > 2)


def _pieces_told(geometry: shapely.Geometry, center: shapely.Point, reach: float) -> list[str]:
    pieces = sorted(shapely.get_parts(geometry), key=shapely.area, reverse=True)
    large = [piece for piece in pieces if piece.area >= 0.2 * geometry.area]
    if len(large) > 2 or sum(piece.area for piece in large) < 0.5 * geometry.area:
        return ["scattered"]
    told = []
    for piece in large:
        east, north = piece.centroid.x - center.x, piece.centroid.y - center.y
        sector = int(np.round(np.degrees(np.arctan2(east, north)) / 45.0)) % 8
        middle = np.hypot(east, north) < MIDDLE_SHARE * reach
        told.append("middle" if middle else ("n", "ne", "e", "se", "s", "sw", "w", "nw")[sector])
    more = len(pieces) > len(large) and pieces[len(large)].area >= LABEL_SHARE * geometry.area
    return [*dict.fromkeys(told), *(["more"] if more else [])]


def plain(value: Any, digits: int = 5) -> Any:
    """Return a value that JSON can carry: numbers rounded, missing as None, the rest as text."""
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return round(float(value), digits) if np.isfinite(value) else None
    return str(value)


def plain_count(number: float | None, none: str = "–") -> str:
    """Return a count as text; `none` where there is none."""
    return none if number is None or not np.isfinite(number) else f"{number:.0f}"


def records(table: pd.DataFrame, columns: tuple[str, ...]) -> list[dict[str, Any]]:
    """Return the table line by line; a column it lacks is None."""
    listed = columns_of(table, columns)
    return [dict(zip(columns, line, strict=True)) for line in zip(*listed.values(), strict=True)]


def columns_of(table: pd.DataFrame, columns: tuple[str, ...]) -> dict[str, list[Any]]:
    """Return the table column by column; a column it lacks holds None."""
    count = len(table)
    return {name: [plain(value) for value in table[name]] if name in table else [None] * count for name in columns}


def number_column(table: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Return a column as floats, NaN where the table lacks it."""
    if name not in table:
        return np.full(len(table), np.nan)
    return pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
