"""Zones drawn by others, from a file: panels given back, or polygons."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import force_2d

from geoprune.layers import Vineyard
from geoprune.reading.columns import RawTable, clean_names, headers_of, matched, name_text
from geoprune.reading.declared import Declared, as_declared
from geoprune.reading.faults import Faults
from geoprune.reading.parts import rows_as_drawn
from geoprune.reading.places import without_place
from geoprune.reading.vector_files import open_layers, usable_crs
from geoprune.text import few, one_line

#: Layers of our own results that can be given back, first choice first.
OWN_LAYERS = ("panels", "zones")


def open_zones(path: Path, faults: Faults, layer: str | None = None) -> RawTable | None:
    """Open a layer of zones as it is, under clean column names; None when it cannot be, and a problem is noted.

    Parameters
    ----------
    path : Path
        GeoPackage, GeoJSON, zipped Shapefile or KML.
    faults : Faults
    layer : str, optional
        Its layer; by default the only one, else `panels`, else `zones`.
    """
    found = _opened(path, faults, layer)
    return None if found is None else found[0]


def _opened(path: Path, faults: Faults, layer: str | None) -> tuple[RawTable, str] | None:
    """A layer of zones, and what it is called in its file."""

    def choose(names: list[str]) -> list[str]:
        chosen = layer or (names[0] if len(names) == 1 else next((own for own in OWN_LAYERS if own in names), None))
        if chosen in names:
            return [chosen]
        what = "it is not clear which layer holds the zones" if layer is None else f"there is no layer '{layer}'"
        faults.add(what, f"Name one of its layers: {few(names)}")
        return []

    opened = open_layers(path, faults, choose=choose)
    if not opened:
        return None
    ((name, (table, cut)),) = opened.items()
    if not isinstance(table, gpd.GeoDataFrame):
        table = gpd.GeoDataFrame(table.assign(geometry=None), geometry="geometry")
    given = pd.DataFrame(table.drop(columns=table.geometry.name)).reset_index(drop=True)
    plain = clean_names(given, faults.at(path.name, name), short_names=cut)
    plain["geometry"] = force_2d(table.geometry.to_numpy())
    numbers = np.arange(1, len(plain) + 1)
    raw = RawTable(path.name, "zones", plain, numbers, "feature", usable_crs(table.crs), headers=headers_of(given))
    return raw, name


def read_given_zones(
    path: Path,
    vineyard: Vineyard,
    *,
    layer: str | None = None,
    column: str | None = None,
    declared: Declared | None = None,
) -> gpd.GeoDataFrame:
    """Read a layer of zones.

    Parameters
    ----------
    path : Path
        GeoPackage, GeoJSON, zipped Shapefile or KML.
    vineyard : Vineyard
        Whose names of blocks and rows the layer's are matched with.
    layer : str, optional
        Its layer; by default the only one, else `panels`, else `zones`.
    column : str, optional
        The column of the zones' names, which must then be there.
    declared : Declared, optional
        Which columns and words of the layer mean what.

    Returns
    -------
    GeoDataFrame
        Column names cleaned, blocks and rows named as in the vineyard, as the file has it otherwise.

    Raises
    ------
    DataError
        If the file cannot be opened, it is not clear which layer is meant, the layer is empty or has no such column, two
        columns have one name, a place is none on the earth, or no line is of a block that there is.
    """
    faults = Faults(path.name)
    opened = _opened(path, faults, layer)
    faults.problems.stop()
    assert opened is not None
    raw, name = opened
    read = as_declared(raw, declared or Declared(), faults)
    return _named(read, vineyard, faults.at(path.name, name), column=column)


def _named(raw: RawTable, vineyard: Vineyard, faults: Faults, *, column: str | None) -> gpd.GeoDataFrame:
    """The layer with its blocks and rows as the vineyard writes them."""
    plain = raw.table.drop(columns="geometry")
    if not len(plain):
        faults.add("the layer is empty", "Draw at least one zone, or leave the file out")
    if column is not None and column not in plain:
        faults.add(f"there is no column '{column}' with names of zones", f"Name one of its columns: {few(map(str, plain))}")
    shapes = raw.table["geometry"].to_numpy()
    broken = np.flatnonzero(without_place(shapes))
    found = [(f"feature {i + 1}", "a coordinate is no number or nowhere on the earth") for i in broken]
    faults.add_each(found, "Draw it again")
    for name in plain.columns:
        if not pd.api.types.is_numeric_dtype(
            plain[name]
        ):  # names of zones go into pages and tables: one line, nothing hidden
            plain[name] = plain[name].map(lambda value: (one_line(value) or None) if isinstance(value, str) else value)
    if "block" in plain and len(vineyard.blocks):
        names = vineyard.blocks["block"].tolist()
        given = plain["block"].map(name_text)
        plain["block"] = matched(given, names).where(lambda found: found != "", given)
        if len(plain) and not plain["block"].isin(names).any():
            faults.add(f"no zone is of a known block (found: {few(sorted(set(given)))})", f"Name blocks as {few(names)}")
    if {"row", "panel"} <= set(plain):
        if "block" not in plain and len(vineyard.blocks) == 1:
            plain["block"] = vineyard.blocks["block"].iloc[0]
        plain["row"] = plain["row"].map(name_text)
        plain = rows_as_drawn(plain, vineyard.rows) if "block" in plain else plain
    faults.problems.stop()
    return gpd.GeoDataFrame(plain, geometry=shapes, crs=raw.crs)
