"""Zones drawn by others, from a file: panels given back, or polygons."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pyogrio

from geoprune.errors import DataError, Problem

#: Layers of our own results that can be given back, first choice first.
OWN_LAYERS = ("panels", "zones")


def read_given_zones(path: Path, *, layer: str | None = None) -> gpd.GeoDataFrame:
    """Read a layer of zones.

    Parameters
    ----------
    path : Path
        Any vector file.
    layer : str, optional
        Its layer; by default the only one, else `panels`, else `zones`.

    Returns
    -------
    GeoDataFrame
        Column names in small letters, as the file has it otherwise.

    Raises
    ------
    DataError
        If the file cannot be opened, or it is not clear which layer is meant.
    """
    try:
        layers = [str(name) for name, kind in pyogrio.list_layers(path) if kind is not None]
        chosen = layer or (layers[0] if len(layers) == 1 else next((own for own in OWN_LAYERS if own in layers), None))
        if chosen not in layers:
            what = "it is not clear which layer holds the zones" if layer is None else f"there is no layer '{layer}'"
            raise DataError([Problem(path.name, "", "", what, f"Name one of its layers: {', '.join(layers)}")])
        table = gpd.read_file(path, layer=chosen)
    except pyogrio.errors.DataSourceError:
        what = "the zones cannot be opened"
        raise DataError([Problem(path.name, "", "", what, "Give a GeoPackage, GeoJSON or Shapefile")]) from None
    table.columns = [name if name == table.active_geometry_name else str(name).strip().lower() for name in table.columns]
    return table
