"""What the writing room needs of a plan, whatever extra a plan carries or leaves out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from shapely import MultiPolygon, Polygon

ZONED = ("zones", "panels", "vines", "runs", "flags")
TABLES = (*ZONED, "rows", "samples", "replant_areas", "next_vines")


@dataclass(frozen=True)
class ToldBlock:
    """One block as it is written: its tables (absent ones empty) and the plan behind them."""

    name: str
    variety: str
    rule: str
    training: str
    outline: MultiPolygon
    tables: Mapping[str, pd.DataFrame]
    surface_grid: Mapping[str, Any] | None
    plan: Any


@dataclass(frozen=True)
class ToldPlan:
    """All blocks, the CRS of their tables, and where they came from."""

    blocks: tuple[ToldBlock, ...]
    crs: CRS
    options: Any = None
    sources: tuple[Any, ...] = ()
    remarks: tuple[Any, ...] = ()


def tell_plan(plan: Any) -> ToldPlan:
    """Gather what is written from a plan.

    Parameters
    ----------
    plan : object or iterable
        An object with `blocks` (and `crs`, `options`, `sources`, `remarks`), or the block plans alone.

    Returns
    -------
    ToldPlan
        The same, told in one shape.

    Raises
    ------
    ValueError
        If there is no block.
    """
    if isinstance(plan, ToldPlan):
        return plan
    blocks = tuple(tell_block(block) for block in getattr(plan, "blocks", plan))
    if not blocks:
        raise ValueError("a plan without a block cannot be written")
    crs = getattr(plan, "crs", None) or blocks[0].tables["zones"].crs
    return ToldPlan(
        blocks=blocks,
        crs=CRS.from_user_input(crs),
        options=getattr(plan, "options", None),
        sources=tuple(getattr(plan, "sources", ())),
        remarks=tuple(getattr(plan, "remarks", ())),
    )


def tell_block(block: Any) -> ToldBlock:
    """Gather one block."""
    settings = getattr(block, "settings", block)
    outline = block.polygon
    rule = getattr(settings, "rule", "")
    return ToldBlock(
        name=block.name,
        variety=str(getattr(settings, "variety", "")),
        rule=rule if isinstance(rule, str) else str(getattr(rule, "name", rule)),
        training=str(getattr(settings, "training", "")),
        outline=MultiPolygon([outline]) if isinstance(outline, Polygon) else outline,
        tables={name: find_table(block, name) for name in TABLES},
        surface_grid=getattr(block, "surface_grid", None),
        plan=block,
    )


def find_table(block: Any, name: str) -> pd.DataFrame:
    """Return a table of a block, `block` in it; empty when the plan has none."""
    table = getattr(block, name, None)
    if table is None:
        return gpd.GeoDataFrame({"block": []}, geometry=[], crs=block.zones.crs)
    table = table.loc[:, ~table.columns.duplicated()]
    return table.assign(block=np.full(len(table), block.name, dtype=object))


def texts(messages: Any) -> Iterable[Any]:
    """Return messages as a list, whether one or several were given."""
    if messages is None:
        return ()
    return (messages,) if isinstance(messages, str) else tuple(messages)
