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

#: What a vine is, as the script draws it; "renew" is a bearing vine that is treated so.
STATUS_CODES = {"bearing": 0, "young": 1, "missing": 2, "dead": 3, "diseased": 4, "renew": 5}


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
    """Return what each vine is as a number (`STATUS_CODES`); unknown words count as bearing."""
    shown = vines["status"].where(vines["treatment"] != "renew", "renew")
    return shown.map(STATUS_CODES).fillna(0).to_numpy(dtype=np.int64)


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


def columns_of(table: pd.DataFrame, columns: tuple[str, ...]) -> dict[str, list[Any]]:
    """Return the table column by column; a column it lacks holds None."""
    count = len(table)
    return {name: [plain(value) for value in table[name]] if name in table else [None] * count for name in columns}


def number_column(table: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Return a column as floats, NaN where the table lacks it."""
    if name not in table:
        return np.full(len(table), np.nan)
    return pd.to_numeric(table[name], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
