"""A small invented vineyard as tables, to be written, changed and broken by the reading tests."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import LineString, Point, Polygon

WEST, SOUTH, SIDE_M = 620_000.0, 4_690_000.0, 100.0
ROW_M, VINE_M = 2.7, 1.8
CRS = "EPSG:32617"


def blocks(**changed) -> gpd.GeoDataFrame:
    entry = {
        "block": "A",
        "variety": "Concord",
        "rule": "30+10",
        "training": "top-wire cordon",
        "row_spacing_m": ROW_M,
        "vine_spacing_m": VINE_M,
        "planted": 2001,
        "vines_per_panel": 4,
    } | changed
    entry = {name: value for name, value in entry.items() if value is not None}
    return gpd.GeoDataFrame([entry], geometry=[square()], crs=CRS)


def square(west=WEST, south=SOUTH, side=SIDE_M) -> Polygon:
    return Polygon([(west, south), (west + side, south), (west + side, south + side), (west, south + side)])


def rows(count=20, **changed) -> gpd.GeoDataFrame:
    table = pd.DataFrame({"block": "A", "row": [str(n + 1) for n in range(count)]}).assign(**changed)
    lines = [LineString([(east, SOUTH + 2), (east, SOUTH + 98)]) for east in WEST + 5 + ROW_M * np.arange(count)]
    return gpd.GeoDataFrame(table, geometry=lines, crs=CRS)


def vine_point(row: int, vine: int) -> Point:
    return Point(WEST + 5 + ROW_M * (row - 1), SOUTH + 2 + VINE_M * (vine - 0.5))


def samples(count=24, **changed) -> pd.DataFrame:
    number = np.arange(count)
    table = pd.DataFrame({"row": 1 + number % 20, "vine": 1 + (7 * number) % 50})
    table["pruning_weight_kg"] = (1.0 + 0.3 * np.sin(number)).round(3)
    return table.assign(**changed)


def located(crs=4326, count=24, **changed) -> gpd.GeoDataFrame:
    """The samples as points at their vines."""
    table = samples(count)
    points = [vine_point(row, vine) for row, vine in zip(table["row"], table["vine"], strict=True)]
    return gpd.GeoDataFrame(table[["pruning_weight_kg"]], geometry=points, crs=CRS).to_crs(crs).assign(**changed)


def lonlat(count=24, **changed) -> pd.DataFrame:
    """The samples by lon and lat."""
    points = located(count=count)
    table = pd.DataFrame(
        {"pruning_weight_kg": points["pruning_weight_kg"], "lon": points.geometry.x, "lat": points.geometry.y}
    )
    return table.assign(**changed)


def write(folder: Path, table: pd.DataFrame | str | bytes | None = None, *, crs=None, **layers) -> tuple[Path, Path]:
    """Write the vineyard file (layers blocks and rows unless given; None leaves one out) and the samples CSV."""
    vineyard, weights = folder / "vineyard.gpkg", folder / "weights.csv"
    for name, layer in ({"blocks": blocks(), "rows": rows()} | layers).items():
        if layer is not None:
            (layer.to_crs(crs) if crs else layer).to_file(vineyard, layer=name, driver="GPKG")
    table = samples() if table is None else table
    if isinstance(table, pd.DataFrame):
        table.to_csv(weights, index=False)
    else:
        weights.write_bytes(table.encode() if isinstance(table, str) else table)
    return vineyard, weights
