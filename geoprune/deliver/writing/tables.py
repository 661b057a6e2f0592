"""The tables of a block, and those of several joined, with the columns that are promised and in their order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from geoprune.layers import outgoing
from geoprune.plan import BlockPlan

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


def column_words() -> dict[str, dict[str, list[str]]]:
    """Return layer -> column -> [kind, explanation], in file order."""
    return outgoing()


def block_tables(block: BlockPlan, crs: CRS) -> dict[str, pd.DataFrame]:
    """Return a block's table of each layer, with the promised columns.

    Parameters
    ----------
    block : BlockPlan
    crs : CRS
        Of all layers of the results.

    Returns
    -------
    dict
        Layer -> GeoDataFrame in `crs` (DataFrame for `runs`), fresh RangeIndex, `block` first. A layer in which nothing
        was found is there with its columns and no line.
    """
    return {layer: conform(layer_of(block, layer, crs).reset_index(drop=True), layer, crs) for layer in GEOMETRIES}


def join_tables(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Return the same layer of several blocks as one table, with a fresh index."""
    filled = [part for part in parts if len(part)] or list(parts[:1])
    return filled[0] if len(filled) == 1 else pd.concat(filled, ignore_index=True)


def with_further(table: pd.DataFrame, further: Mapping[str, pd.Series]) -> pd.DataFrame:
    """Return a layer with columns that only some blocks have: missing where a block has none.

    Parameters
    ----------
    table : DataFrame
    further : mapping
        Column -> an empty series of its kind, as `further_columns` finds them.
    """
    lacking = {name: kind.reindex(table.index) for name, kind in further.items() if name not in table}
    return table.assign(**lacking) if lacking else table


def further_columns(table: pd.DataFrame, layer: str) -> dict[str, pd.Series]:
    """Return the columns of a layer beyond those that are promised, without lines."""
    words = column_words()[layer]
    return {name: table[name].iloc[:0] for name in table.columns if name not in words and name != "geometry"}


def layer_of(block: BlockPlan, layer: str, crs: CRS) -> pd.DataFrame:
    """Return one block's table of a layer, with `block` in it and shapes in the CRS of all layers."""
    if layer == "blocks":
        return block_line(block, crs)
    table = getattr(block, layer)
    columns = plain_columns(table)
    columns["block"] = pd.Series(np.full(len(table), block.name, dtype=object), index=table.index, dtype=object)
    shapes = columns.pop("geometry", None)
    if GEOMETRIES[layer]:
        columns["geometry"] = pd.Series(in_crs(shapes, block.crs, crs), index=table.index, dtype=object)
    return pd.DataFrame(columns, index=table.index)


def plain_columns(table: pd.DataFrame) -> dict[str, pd.Series]:
    """Return a table's columns by name, the first of those with one name; several times faster than asking for each."""
    found: dict[str, pd.Series] = {}
    for name, values in pd.DataFrame(table).items():
        found.setdefault(str(name), values)
    return found


def in_crs(shapes: Any, own: CRS, crs: CRS) -> NDArray[np.object_]:
    """Return shapes brought from a block's CRS to that of all layers."""
    series = gpd.GeoSeries(np.asarray(shapes, dtype=object), crs=own)
    return (series if own == crs else series.to_crs(crs)).to_numpy()


def block_line(block: BlockPlan, crs: CRS) -> pd.DataFrame:
    """Return the one line that a block has in the `blocks` layer."""
    line = {
        "block": block.name,
        "farm": block.settings.farm or None,
        "variety": block.settings.variety,
        "rule": block.settings.rule,
        "training": block.settings.training,
        "verdict": block.verdict,
        "buds_per_vine": block.buds_per_vine,
        "vine_size_kg": block.vine_size_kg,
        "vine_size_se_kg": block.vine_size_se_kg,
        "geometry": in_crs([block.polygon], block.crs, crs)[0],
    }
    return pd.DataFrame([line])


def conform(table: pd.DataFrame, layer: str, crs: CRS) -> pd.DataFrame:
    """Give a table its promised columns, in order and kind; what it has beyond them follows."""
    words, given = column_words()[layer], plain_columns(table)
    missing = pd.Series(pd.NA, index=table.index, dtype="object")
    lacking = {kind: as_kind(missing, kind) for kind in {kind for name, (kind, _) in words.items() if name not in given}}
    columns = {name: as_kind(given[name], kind) if name in given else lacking[kind] for name, (kind, _) in words.items()}
    for name, values in given.items():
        if name not in words and name not in ("geometry", "panel_id", "counted"):
            columns[name] = values
    plain = pd.DataFrame(columns, index=table.index)
    if GEOMETRIES[layer] is None:
        return plain
    geometry = gpd.GeoSeries(given.get("geometry", []), crs=crs, index=table.index)
    return gpd.GeoDataFrame(plain, geometry=geometry)


def as_kind(values: pd.Series, kind: str) -> pd.Series:
    """Bring a column to its kind; what is missing stays missing."""
    if kind == "text":
        return values.astype("object").where(values.notna(), None)
    if kind == "float":
        return values if values.dtype == np.float64 else pd.to_numeric(values, errors="coerce").astype("float64")
    return values if values.dtype == DTYPES[kind] else values.astype(DTYPES[kind])


def prescription_table(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return one line per block and zone, with the block's variety, rule, training and verdict."""
    zones = pd.DataFrame(tables["zones"]).drop(columns="geometry")
    blocks = tables["blocks"].set_index("block")
    for place, name in enumerate(("variety", "rule", "training", "verdict"), start=1):
        zones.insert(place, name, zones["block"].map(blocks[name]))
    return zones
