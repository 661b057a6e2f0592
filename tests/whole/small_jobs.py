"""Small invented vineyards to run the whole job on, and the job as a user starts it."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from click.testing import CliRunner
from shapely import Point, Polygon

from geoprune.cli import main

DEMO = Path(__file__).parents[2] / "demo_blocks"
UTM = 32617


def square(side_m=60.0, **changed):
    """One block of straight rows; a column set to None is left out."""
    entry = {
        "block": "A",
        "variety": "Concord",
        "rule": "30+10",
        "training": "top-wire cordon",
        "row_spacing_ft": 9.0,
        "vine_spacing_ft": 8.0,
        "row_bearing_deg": 0.0,
    } | changed
    west, south = 620000.0, 4690000.0
    outline = Polygon([(west, south), (west + side_m, south), (west + side_m, south + side_m), (west, south + side_m)])
    return gpd.GeoDataFrame([{k: v for k, v in entry.items() if v is not None}], geometry=[outline], crs=UTM)


def samples(count=24, pounds=2.4, spread=0.4, **changed):
    """Weighed vines of the square block, by row and vine."""
    rng = np.random.default_rng(3)
    table = pd.DataFrame({"row": rng.integers(1, 20, count), "vine": rng.integers(1, 20, count)})
    table["pruning_weight_lb"] = pounds + rng.normal(0, spread, count).round(2) if spread else pounds
    return table.assign(**changed)


def checks(dead, cut=100, block="A"):
    """Bud checks at one place."""
    columns = {"block": [block], "buds_cut": [cut], "primary_dead": [dead]}
    return gpd.GeoDataFrame(columns, geometry=[Point(620030, 4690030)], crs=UTM)


def write_job(folder, blocks, table, **layers):
    """Write the vineyard and its samples; return both paths."""
    folder.mkdir(parents=True, exist_ok=True)
    vineyard, weights = folder / "v.gpkg", folder / "s.csv"
    for name, layer in {"blocks": blocks, **layers}.items():
        layer.to_file(vineyard, layer=name, driver="GPKG")
    table.to_csv(weights, index=False)
    return vineyard, weights


def run(folder, blocks, table, *options, **layers):
    """Run the whole job into `folder / "out"`."""
    vineyard, weights = write_job(folder, blocks, table, **layers)
    arguments = ["prescribe", str(vineyard), "--samples", str(weights), "--out", str(folder / "out")]
    return CliRunner().invoke(main, [*arguments, *(str(option) for option in options)])


def summary(folder):
    """Return summary.json of a run."""
    return json.loads((folder / "out" / "summary.json").read_text("utf-8"))
