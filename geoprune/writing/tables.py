"""The tables of a plan, all blocks together, with the columns that are promised and in their order."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

import geopandas as gpd
import numpy as np
import pandas as pd

from geoprune.plan import BlockPlan, EstatePlan

#: Layer -> geometry type; None for a table without geometry.
GEOMETRIES: dict[str, str | None] = {
    "zones": "MultiPolygon",
    "panels": "LineString",
    "vines": "Point",
    "samples": "Point",
    "replant_areas": "MultiPolygon",
    "flags": "Point",
    "next_vines": "Point",
    "rows": "LineString",
    "blocks": "MultiPolygon",
    "runs": None,
}
DTYPES = {"int": "Int64", "float": "float64", "text": "object", "bool": "boolean"}


@cache
def column_words() -> dict[str, dict[str, list[str]]]:
    """Return layer -> column -> [kind, explanation], in file order."""
    return tomllib.loads(files("geoprune.writing").joinpath("columns.toml").read_text("utf-8"))


def plan_tables(plan: EstatePlan) -> dict[str, pd.DataFrame]:
    """Join each layer over the blocks and bring it to its promised columns.

    Parameters
    ----------
    plan : EstatePlan
        The plans of all blocks.

    Returns
    -------
    dict
        Layer -> GeoDataFrame in the plan's CRS (DataFrame for `runs`), fresh RangeIndex, `block` first. A
        layer in which nothing was found is there with its columns and no line.
    """
    return {layer: join_layer(plan, layer) for layer in GEOMETRIES}


def join_layer(plan: EstatePlan, layer: str) -> pd.DataFrame:
    """Join one layer over the blocks."""
    parts = [layer_of(block, layer) for block in plan.blocks]
    parts = [part for part in parts if len(part)]
    joined = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    return conform(joined, layer, plan)


def layer_of(block: BlockPlan, layer: str) -> pd.DataFrame:
    """Return one block's table of a layer, with `block` in it."""
    if layer == "blocks":
        return block_line(block)
    table = getattr(block, layer)
    table = table.loc[:, ~table.columns.duplicated()].assign(block=np.full(len(table), block.name, dtype=object))
    plain = pd.DataFrame(table.drop(columns="geometry", errors="ignore"))
    return plain.assign(geometry=table.geometry.to_numpy()) if GEOMETRIES[layer] else plain


def block_line(block: BlockPlan) -> pd.DataFrame:
    """Return the one line that a block has in the `blocks` layer."""
    line = {
        "block": block.name,
        "variety": block.settings.variety,
        "rule": block.settings.rule,
        "training": block.settings.training,
        "verdict": block.verdict,
        "buds_per_vine": block.buds_per_vine,
        "vine_size_kg": block.vine_size_kg,
        "vine_size_se_kg": block.vine_size_se_kg,
        "geometry": block.polygon,
    }
    return pd.DataFrame([line])


def conform(table: pd.DataFrame, layer: str, plan: EstatePlan) -> pd.DataFrame:
    """Give a table its promised columns, in order and kind; what it has beyond them follows."""
    words = column_words()[layer]
    columns = {}
    for name, (kind, _) in words.items():
        values = table[name] if name in table else pd.Series(pd.NA, index=table.index, dtype="object")
        columns[name] = as_kind(values, kind)
    for name in table.columns:
        if name not in words and name not in ("geometry", "panel_id", "counted"):
            columns[name] = table[name]
    plain = pd.DataFrame(columns, index=table.index)
    if GEOMETRIES[layer] is None:
        return plain
    geometry = gpd.GeoSeries(table.get("geometry", []), crs=plan.crs, index=table.index)
    return gpd.GeoDataFrame(plain, geometry=geometry, crs=plan.crs)


def as_kind(values: pd.Series, kind: str) -> pd.Series:
    """Bring a column to its kind; what is missing stays missing."""
    if kind == "text":
        return values.astype("object").where(values.notna(), None)
    if kind == "float":
        return pd.to_numeric(values, errors="coerce").astype("float64")
    return values.astype(DTYPES[kind])


def prescription_table(plan: EstatePlan) -> pd.DataFrame:
    """Return one line per block and zone, with the block's variety, rule, training and verdict."""
    zones = pd.DataFrame(join_layer(plan, "zones")).drop(columns="geometry")
    blocks = join_layer(plan, "blocks").set_index("block")
    for place, name in enumerate(("variety", "rule", "training", "verdict"), start=1):
        zones.insert(place, name, zones["block"].map(blocks[name]))
    return zones
