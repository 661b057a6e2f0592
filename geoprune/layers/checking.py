"""A vineyard made by hand, held against the columns that a plan needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from geoprune.errors import DataError, Problem
from geoprune.layers.columns import Column, columns_of
from geoprune.layers.vineyard import STATUSES, Vineyard

#: Columns that are read and then stand for something else: two spacings in one cell, and places.
READ_ONLY = frozenset({"row_by_vine", "lon", "lat", "easting", "northing"})
#: What each layer of a vineyard needs beyond the columns that must be read.
KEYS: dict[str, tuple[str, ...]] = {
    "blocks": (),
    "rows": ("block",),
    "vines": ("block",),
    "samples": ("block",),
    "bud_checks": ("block",),
}


def check_vineyard(vineyard: Vineyard) -> Vineyard:
    """Hold a vineyard made by hand against what a plan needs, and fill in what may be left out.

    Parameters
    ----------
    vineyard : Vineyard
        Tables as `Vineyard` describes them, all in `vineyard.crs`; optional columns may lack.

    Returns
    -------
    Vineyard
        The same tables, index kept, with every column: NaN or "" where nothing was given, every vine bearing that has no
        status, one vine to each weight.

    Raises
    ------
    DataError
        With every fault: no projected CRS in metres or a table in another one, a needed column that lacks, numbers that are
        no numbers, a block without a name or named twice, a block that no layer of blocks has.
    """
    if vineyard.parts:
        return replace(vineyard, parts=tuple(check_vineyard(part) for part in vineyard.parts))
    problems = _crs_problems(vineyard)
    tables: dict[str, Any] = {}
    for layer in KEYS:
        table = getattr(vineyard, layer)
        tables[layer] = None if table is None else _filled(table, layer, problems)
    problems += _name_problems(tables)
    if problems:
        raise DataError(problems)
    return replace(vineyard, **tables)


def _crs_problems(vineyard: Vineyard) -> list[Problem]:
    crs = vineyard.crs
    if crs is None or not crs.is_projected or crs.axis_info[0].unit_name != "metre":
        return [Problem("", "", "", "the vineyard has no projected CRS in metres", "Bring the tables to one, such as UTM")]
    there = {layer: getattr(vineyard, layer) for layer in KEYS}
    other = [layer for layer, table in there.items() if table is not None and table.crs != crs]
    return [Problem("", layer, "", "the table is in another CRS than the vineyard", "Use `to_crs`") for layer in other]


def _filled(table: gpd.GeoDataFrame, layer: str, problems: list[Problem]) -> gpd.GeoDataFrame:
    """A table with every column of its layer; what lacks or is of another kind is noted."""
    table = table.copy()
    if layer == "samples":
        _weigh(table)
    for entry in columns_of(layer):
        if entry.name in READ_ONLY:
            continue
        name = entry.si_name
        if name not in table:
            if entry.must or name in KEYS[layer]:
                problems.append(Problem("", layer, "", f"column {name} is missing", f"Add a column {name}"))
            table[name] = _nothing(entry)
        elif entry.kind == "text":
            table[name] = table[name].map(_text).astype(object)
        elif not _all_numbers(table[name]):
            problems.append(Problem("", layer, "", f"column {name} holds what is no number", "Give plain numbers"))
    for name, values in _COUNTED_HERE.get(layer, {}).items():
        if name not in table:
            table[name] = values(table)
    return table


def _weigh(table: gpd.GeoDataFrame) -> None:
    """Weight of all vines weighed together, and of one of them, from whichever of the two there is."""
    if "vines_weighed" not in table:
        table["vines_weighed"] = 1
    if "vine_weight_kg" not in table and "pruning_weight_kg" in table and _all_numbers(table["pruning_weight_kg"]):
        table["vine_weight_kg"] = table["pruning_weight_kg"] / table["vines_weighed"]
    elif "pruning_weight_kg" not in table and "vine_weight_kg" in table and _all_numbers(table["vine_weight_kg"]):
        table["pruning_weight_kg"] = table["vine_weight_kg"] * table["vines_weighed"]


def _nothing(entry: Column) -> object:
    if entry.one_of == STATUSES:
        return "bearing"
    return "" if entry.kind == "text" else np.nan


def _text(value: object) -> str:
    return "" if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)) else str(value)


def _all_numbers(values: pd.Series) -> bool:
    return pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values)


def _row_numbers(table: pd.DataFrame) -> pd.Series:
    return pd.Series(np.arange(1, len(table) + 1), table.index)


def _row_places(table: pd.DataFrame) -> pd.Series:
    return pd.Series([f"line {number}" for number in range(1, len(table) + 1)], table.index, dtype=object)


_COUNTED_HERE: dict[str, dict[str, Callable[[pd.DataFrame], pd.Series]]] = {
    "blocks": {"training_as_given": lambda table: table["training"]},
    "vines": {"source_place": _row_places},
    "samples": {"source_row": _row_numbers, "source_place": _row_places},
    "bud_checks": {"source_row": _row_numbers},
}


def _name_problems(tables: dict[str, gpd.GeoDataFrame | None]) -> list[Problem]:
    """Blocks without a name or named twice, and blocks that other layers name and that are not there."""
    blocks = tables["blocks"]
    if blocks is None or "block" not in blocks:
        return []
    problems = []
    if (blocks["block"] == "").any():
        problems.append(Problem("", "blocks", "", "a block has no name", "Fill in block"))
    for name in blocks["block"][blocks["block"].duplicated()].unique():
        problems.append(Problem("", "blocks", "", f"block '{name}' stands twice", "Give each block its own name"))
    for layer, table in tables.items():
        for name in [] if table is None else sorted(set(table["block"]) - set(blocks["block"])):
            problems.append(Problem("", layer, "", f"unknown block '{name}'", "Use a name of the blocks layer"))
    return problems
