"""`geoprune new`: templates that other programs open with their lists and ranges, and that plan once filled in."""

from __future__ import annotations

import json
import shutil
import subprocess
import tomllib
import zipfile

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner
from shapely import MultiPolygon, box

from geoprune.cli import main
from geoprune.layers import STATUSES
from geoprune.rules import load_trainings


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("new") / "finca"
    found = run("new", out, "--units", "metric", "--lang", "es", "--crs", "EPSG:32719")
    assert found.exit_code == 0, found.output
    assert "4 archivos escritos" in found.output
    assert "comience por como-se-llena.txt" in found.output
    return out


def test_every_layer_is_there_and_empty(folder):
    kinds = dict(pyogrio.list_layers(folder / "vineyard.gpkg"))
    for layer, kind in {"blocks": "MultiPolygon", "rows": "LineString", "vines": "Point", "samples": "Point"}.items():
        assert kinds[layer] == kind
        assert pyogrio.read_info(folder / "vineyard.gpkg", layer=layer)["features"] == 0
        assert pyogrio.read_info(folder / "vineyard.gpkg", layer=layer)["crs"] == "EPSG:32719"
    assert {"row_spacing_m", "training", "vine_1_end"} <= set(
        pyogrio.read_info(folder / "vineyard.gpkg", layer="blocks")["fields"]
    )


@pytest.mark.gdal
@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="GDAL's programs are not there")
def test_gdal_reads_the_lists_and_ranges(folder):
    # the GeoPackage schema extension (OGC 12-128r18, F.9) as GDAL, which is not of this project, understands it
    said = subprocess.run(
        ["ogrinfo", "-json", "-ro", str(folder / "vineyard.gpkg")], capture_output=True, text=True, check=False
    )
    if said.returncode == 0 and said.stdout.startswith("{"):
        domains = json.loads(said.stdout)["domains"]
        assert set(domains["blocks_training"]["codedValues"]) == set(load_trainings())
        assert set(domains["vines_status"]["codedValues"]) == set(STATUSES)
        assert "20+20" in domains["blocks_rule"]["codedValues"]
        assert (domains["blocks_row_spacing_m"]["minValue"], domains["blocks_row_spacing_m"]["maxValue"]) == (0.9, 6.0)
        return
    said = subprocess.run(  # GDAL before 3.7 has no JSON
        ["ogrinfo", "-ro", "-fielddomain", "blocks_training", str(folder / "vineyard.gpkg")],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert all(f"{name}:" in said for name in load_trainings())


def test_the_workbook_checks_its_cells_in_the_language(folder):
    with zipfile.ZipFile(folder / "weights.xlsx") as book:
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
        names = book.read("xl/workbook.xml").decode()
    assert 'name="samples"' in names
    assert 'name="cómo se llena"' in names
    assert sheet.count("<dataValidation ") == 10
    assert "<formula1>0.002</formula1><formula2>12.0</formula2>" in sheet
    assert 'promptTitle="pruning_weight_kg" prompt="peso de la poda"' in sheet


def test_the_settings_change_nothing_until_a_line_is_freed(folder):
    said = tomllib.loads((folder / "geoprune.toml").read_text("utf-8"))
    assert all(table == {} for table in said.values())


def test_what_is_drawn_and_weighed_in_the_templates_plans(folder, tmp_path):
    for file in folder.iterdir():
        shutil.copy(file, tmp_path / file.name)
    shape = MultiPolygon([box(510_000, 6_340_000, 510_060, 6_340_080)])
    drawn = {"block": "Uno", "variety": "Merlot", "rule": "vinifera", "training": "double guyot", "row_spacing_m": 2.5}
    drawn |= {"vine_spacing_m": 1.5, "rows_counted": 24}
    gpd.GeoDataFrame([drawn], geometry=[shape], crs=32719).to_file(tmp_path / "vineyard.gpkg", layer="blocks", mode="a")
    rng = np.random.default_rng(4)
    weights = pd.DataFrame({"row": rng.integers(1, 24, 24), "vine": rng.integers(1, 50, 24)})
    weights["pruning_weight_kg"] = 0.6 + rng.normal(0, 0.1, 24).round(2)
    weights.to_excel(tmp_path / "weights.xlsx", sheet_name="samples", index=False, engine="xlsxwriter")
    found = run("check", tmp_path / "vineyard.gpkg", "--samples", tmp_path / "weights.xlsx", "--lang", "es")
    assert found.exit_code == 0, found.output
    assert "[block.Uno]\nrow_bearing_deg" in (tmp_path / "geoprune.toml").read_text("utf-8")
    planned = run("prescribe", tmp_path / "vineyard.gpkg", "--samples", tmp_path / "weights.xlsx", "--out", tmp_path / "out")
    assert planned.exit_code == 0, planned.output


def test_a_folder_that_is_there_stays_as_it_is(folder):
    found = run("new", folder)
    assert found.exit_code == 1
    assert "exists already" in found.output


def test_an_unknown_crs_is_wrong_usage(tmp_path):
    assert run("new", tmp_path / "x", "--crs", "EPSG:0").exit_code == 2
