"""California and New Zealand in one file, through the whole program: every file and page comes out, in one CRS."""

import json
import sys
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "reading"))
from test_projections import AWAY, HOME, write

from geoprune.cli import main


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("far")
    places = {"Home": HOME, "California": (-119.7, 36.7), "New Zealand": AWAY["New Zealand"], "Fiji": (179.9995, -17.8)}
    path, weights = write(folder, places)
    pd.read_csv(weights).assign(pruning_weight_kg=lambda t: 0.6 + t["row"] / 50).to_csv(weights, index=False)
    command = ["prescribe", str(path), "--samples", str(weights), "--out", str(folder / "out"), "--quiet"]
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 0, done.output
    return folder / "out", places


def test_layers_of_all_blocks_are_in_one_crs_at_their_places(results):
    out, places = results
    blocks = gpd.read_file(out / "prescription.gpkg", layer="blocks")
    assert blocks.crs.to_epsg() == 4326
    assert json.loads((out / "summary.json").read_text())["crs"] == "EPSG:4326"
    vines = gpd.read_file(out / "prescription.gpkg", layer="vines")
    for name, (lon, lat) in places.items():
        first = vines[vines["block"] == name].geometry.iloc[0]
        assert (first.x - lon + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.002)
        assert first.y == pytest.approx(lat, abs=0.002)
        assert len(vines[vines["block"] == name]) == 37 * 55


def test_the_estate_page_is_there(results):
    assert "New Zealand" in (results[0] / "index.html").read_text(encoding="utf-8")
