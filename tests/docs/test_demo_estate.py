"""The demo estate: invented, made anew by its script, read without a problem, and judged against its known truth."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from geopandas.testing import assert_geodataframe_equal

import geoprune
from geoprune.layers import COUNTED
from geoprune.trellis import build_trellis

DEMO = Path(__file__).parents[2] / "demo_blocks"
LAYERS = ("blocks", "rows", "vines", "bud_checks")


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    done = subprocess.run([sys.executable, DEMO / "make_demo.py", folder], capture_output=True, text=True, timeout=200)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="module")
def vineyard():
    return geoprune.read_vineyard(DEMO / "estate.gpkg", samples=DEMO / "weights.csv")


@pytest.fixture(scope="module")
def plans(vineyard):
    return {plan.name: plan for plan in geoprune.make_plan(vineyard)}


@pytest.fixture(scope="module")
def truth() -> pd.DataFrame:
    return pd.read_csv(DEMO / "truth.csv.gz", dtype={"row": str})


@pytest.mark.parametrize("layer", LAYERS)
def test_the_script_makes_the_same_estate_again(made, layer):
    files = [gpd.read_file(folder / "estate.gpkg", layer=layer) for folder in (made, DEMO)]
    assert_geodataframe_equal(*files, check_less_precise=True)


@pytest.mark.parametrize("name", ["weights.csv", "harvest.csv", "elevation.tif", "truth.csv.gz"])
def test_the_script_makes_the_same_tables_again(made, name):
    assert (made / name).read_bytes() == (DEMO / name).read_bytes()


def test_what_each_block_tries_out(vineyard, plans):
    rows, samples, vines = vineyard.rows, vineyard.samples, vineyard.vines
    assert "Two Barns" not in set(rows["block"])
    assert (samples.loc[samples["block"] == "Two Barns", "vines_weighed"] == 3).mean() > 0.7
    assert samples.loc[samples["block"] == "Two Barns", "season"].nunique() == 2
    bend = samples[samples["block"] == "Creek Bend"]
    assert (bend["row"] == "").all()
    assert bend["bull_canes"].sum() > 20
    curved = rows[rows["block"] == "Creek Bend"]
    ends = curved.geometry.apply(lambda line: np.hypot(*(np.subtract(line.coords[-1], line.coords[0]))))
    assert (curved.length / ends > 1.01).all()
    assert (vines.loc[vines["block"] == "Creek Bend", "status"].isin(["missing", "dead"])).sum() > 60
    assert len(plans["Creek Bend"].replant_areas) >= 2
    assert vineyard.bud_checks["block"].value_counts()["Creek Bend"] >= 10


def test_the_readme_names_every_block_and_file():
    text = (DEMO / "README.md").read_text(encoding="utf-8")
    assert "invented" in text
    assert all(f"| {name} |" in text for name in gpd.read_file(DEMO / "estate.gpkg", layer="blocks")["block"])
    assert all(f"`{file.name}`" in text for file in DEMO.iterdir() if file.suffix in (".gpkg", ".csv", ".tif", ".gz"))


def test_verdicts(plans):
    assert plans["Ridge Concord"].verdict == "zone"
    assert plans["Church Riesling"].verdict == "one_number"
    assert plans["Creek Bend"].verdict == "zone"


def panel_errors(vineyard, plan, truth) -> tuple[float, float]:
    """Error (RMS, kg) of the map's panel means and of the block mean, against the true mean of each panel's vines."""
    vines = build_trellis(vineyard, plan.name).vines.merge(
        truth.loc[truth["block"] == plan.name, ["row", "vine", "expected_kg"]], on=["row", "vine"]
    )
    vines = vines[vines["status"].isin(COUNTED)]
    true = vines.groupby("panel_id")["expected_kg"].mean()
    said = plan.panels["vine_size_kg"].to_numpy()[true.index]
    return float(np.sqrt(np.mean((said - true) ** 2))), float(np.sqrt(np.mean((plan.vine_size_kg - true) ** 2)))


@pytest.mark.parametrize(("block", "share"), [("Ridge Concord", 0.85), ("Creek Bend", 0.85), ("Church Riesling", 1.0)])
def test_panel_means_are_nearer_to_the_truth_than_the_block_mean(vineyard, plans, truth, block, share):
    by_map, by_mean = panel_errors(vineyard, plans[block], truth)
    print(f"{block}: panel means off by {by_map:.3f} kg by the map, {by_mean:.3f} kg by the block mean")
    assert by_map <= share * by_mean + 0.03


def test_ground_height_is_there_for_every_vine(truth):
    import rasterio

    places = gpd.GeoSeries(gpd.points_from_xy(truth["easting"], truth["northing"]), crs=32618)
    with rasterio.open(DEMO / "elevation.tif") as raster:
        assert raster.crs.to_epsg() == 32618
        height = np.array([value[0] for value in raster.sample(zip(places.x, places.y, strict=True))])
    assert np.isfinite(height).all()
    ridge = truth["block"].to_numpy() == "Ridge Concord"
    assert np.corrcoef(height[ridge], truth.loc[ridge, "expected_kg"])[0, 1] < -0.3
    church = truth["block"].to_numpy() == "Church Riesling"
    assert truth.loc[church, "expected_kg"].std() == pytest.approx(0.0, abs=1e-9)
