"""The whole job from files to files, and what happens to bad input. The demo estate is invented."""

import json
import shutil
import sqlite3
import subprocess
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from click.testing import CliRunner
from jsonschema import Draft202012Validator
from pyproj import Geod
from shapely import Point, Polygon

from geoprune.cli import main
from geoprune.deliver.writing.tables import column_words
from geoprune.plan import make_plan
from geoprune.reading import read_vineyard
from geoprune.signs import follow

DEMO = Path(__file__).parents[2] / "demo_blocks"
HOSTILE = "</script><img src=x onerror=alert(1)>{{7*7}}{% raw %}"


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    out = tmp_path_factory.mktemp("whole") / "results"
    run = CliRunner().invoke(
        main,
        ["prescribe", str(DEMO / "estate.gpkg"), "--samples", str(DEMO / "weights.csv"), "--out", str(out)],
    )
    assert run.exit_code == 0, run.output
    return out


def test_demo_verdicts(results):
    blocks = json.loads((results / "summary.json").read_text())["blocks"]
    verdicts = {name: block["verdict"] for name, block in blocks.items()}
    assert verdicts["Church Riesling"] == "one_number"
    assert verdicts["Creek Bend"] == "zone"
    assert {"buds_per_vine", "zones", "loo_rmse_kg", "mean_rmse_kg", "model"} <= set(blocks["Creek Bend"])


@pytest.mark.parametrize(
    ("layer", "columns"),
    [
        ("zones", "zone class vines area_ha vine_size_kg vine_size_se_kg vine_size_kg_m buds_per_vine"),
        ("panels", "row panel first_vine last_vine zone vine_size_kg vine_size_se_kg buds_per_vine"),
        ("vines", "row vine status zone vine_size_kg vine_size_se_kg buds_per_vine"),
        ("samples", "row vine loo_kg"),
        ("replant_areas", "vines_missing vines_weak row_length_m reason"),
    ],
)
def test_layers_have_their_columns(results, layer, columns):
    table = gpd.read_file(results / "prescription.gpkg", layer=layer)
    assert {"block", *columns.split()} <= set(table.columns)


def test_summary_follows_its_published_schema(results):
    schema = json.loads((Path(__file__).parents[2] / "docs" / "summary.schema.json").read_text("utf-8"))
    Draft202012Validator(schema).validate(json.loads((results / "summary.json").read_text("utf-8")))


def test_every_written_column_is_explained(results):
    explained = column_words()
    for layer in explained:
        if layer != "runs":
            columns = set(gpd.read_file(results / "prescription.gpkg", layer=layer).columns) - {"geometry"}
            assert columns <= set(explained[layer]), layer


def test_surface_and_next_vines_are_delivered(results):
    read = {}
    for name in ("vine_size", "vine_size_error"):
        with rasterio.open(results / "creek-bend" / f"{name}.tif") as raster:
            read[name] = raster.read(1, masked=True)
    size, error = read["vine_size"], read["vine_size_error"]
    panels = gpd.read_file(results / "prescription.gpkg", layer="panels").query("block == 'Creek Bend'")
    assert size.count() > 1000
    assert size.mean() == pytest.approx(panels["vine_size_kg"].mean(), rel=0.1)
    assert (error > 0).all()
    following = gpd.read_file(results / "prescription.gpkg", layer="next_vines")
    assert set(following["block"]) == {"Ridge Concord", "Church Riesling", "Creek Bend", "Two Barns"}
    assert (following["gain_buds"] >= 0).all()
    flags = gpd.read_file(results / "prescription.gpkg", layer="flags")
    blocks = json.loads((results / "summary.json").read_text())["blocks"]
    assert set(flags["block"]) == {name for name, block in blocks.items() if block["verdict"] == "zone"}
    assert len(gpd.read_file(results / "flags.gpx", layer="waypoints")) == len(flags)


def test_totals_agree_exactly(results):
    path = results / "prescription.gpkg"
    zones, panels, vines = (gpd.read_file(path, layer=n) for n in ("zones", "panels", "vines"))
    by_zone = zones.groupby("block")["buds_total"].sum()
    assert (by_zone == panels.groupby("block")["buds_total"].sum()).all()
    assert (by_zone == vines.groupby("block")["buds_per_vine"].sum()).all()


def test_geopackage_has_the_tables_of_the_standard(results):
    # OGC GeoPackage 1.3, requirement 2 (application id) and tables 1-5
    with sqlite3.connect(results / "prescription.gpkg") as database:
        assert database.execute("PRAGMA application_id").fetchone()[0] == int.from_bytes(b"GPKG", "big")
        tables = {row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    database.close()
    assert {"gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns", "layer_styles"} <= tables


def test_following_the_row_list_gives_the_zones_back():
    from geoprune.trellis import build_trellis

    vineyard = read_vineyard(DEMO / "estate.gpkg", samples=DEMO / "weights.csv")
    plans = {plan.name: plan for plan in make_plan(vineyard)}
    trellis = build_trellis(vineyard, "Creek Bend")
    plan = plans["Creek Bend"]
    assert (follow(plan.runs, trellis) == plan.panels["zone"].to_numpy()).all()
    area, _ = Geod(ellps="WGS84").geometry_area_perimeter(
        gpd.GeoSeries([plan.polygon], crs=vineyard.crs).to_crs(4326).force_2d().iloc[0]
    )
    assert plan.zones["area_ha"].sum() == pytest.approx(abs(area) / 10_000, rel=1e-5)


def square(**changed):
    entry = {
        "block": "A",
        "variety": "Concord",
        "rule": "30+10",
        "training": "Top-wire cordon",
        "row_spacing_ft": 9.0,
        "vine_spacing_ft": 8.0,
        "row_bearing_deg": 0.0,
    } | changed
    outline = Polygon([(620000, 4690000), (620100, 4690000), (620100, 4690100), (620000, 4690100)])
    return gpd.GeoDataFrame([{k: v for k, v in entry.items() if v is not None}], geometry=[outline], crs=32617)


def samples(n=24, **changed):
    rng = np.random.default_rng(3)
    table = pd.DataFrame({"row": rng.integers(1, 30, n), "vine": rng.integers(1, 35, n), "pruning_weight_lb": 2.0})
    table["pruning_weight_lb"] += rng.normal(0, 0.4, n).round(2)
    return table.assign(**changed)


def run(tmp_path, blocks, table, *options, **layers):
    for name, layer in {"blocks": blocks, **layers}.items():
        layer.to_file(tmp_path / "v.gpkg", layer=name, driver="GPKG")
    table.to_csv(tmp_path / "s.csv", index=False)
    files = [str(tmp_path / "v.gpkg"), "--samples", str(tmp_path / "s.csv"), "--out", str(tmp_path / "out")]
    return CliRunner().invoke(main, ["prescribe", *files, *options])


@pytest.mark.parametrize(
    ("blocks", "table", "words"),
    [
        (square(row_spacing_ft=None), samples(), "row_spacing_m, row_spacing_ft"),
        (square(vine_spacing_m=2.4), samples(), "two units"),
        (square(training="low cordn"), samples(), "low cordon"),
        (square(rule="30 and 10"), samples(), "unknown rule"),
        (square(), samples(row=99), "unknown row '99'"),
        (square(), samples(vine=400), "not 400"),
        (square(), samples(pruning_weight_lb=-1.0), "pruning_weight_lb is"),
        (square(), samples(pruning_weight_lb="heavy"), "heavy"),
        (square(), samples(pruning_weight_kg=1.0), "two units"),
        (square(), samples(3), "at least 5"),
        (square(), samples(0), "no samples"),
        (square(block=None), samples(), "column block is missing"),
    ],
)
def test_bad_input_gives_one_message_and_no_folder(tmp_path, blocks, table, words):
    result = run(tmp_path, blocks, table)
    assert result.exit_code == 1
    assert words in result.stderr
    assert not (tmp_path / "out").exists()
    assert not list(tmp_path.glob(".out-*"))


def test_a_file_that_is_not_what_its_ending_says(tmp_path):
    (tmp_path / "v.gpkg").write_text("hello")
    result = CliRunner().invoke(main, ["prescribe", str(tmp_path / "v.gpkg"), "--out", str(tmp_path / "out")])
    assert result.exit_code == 1
    assert "not what its ending" in result.stderr


def test_hostile_names_stay_text(tmp_path):
    result = run(tmp_path, square(block=HOSTILE), samples(note="=1+1"))
    assert result.exit_code == 0, result.output
    for page in (tmp_path / "out").rglob("*.html"):
        text = page.read_text()
        assert "<img src=x" not in text
        assert "49" not in text.split("<title>")[1].split("</title>")[0]
        assert "http://" not in text.replace("http://www.w3.org", "").split("<script>")[0]


def test_results_of_a_stranger_are_not_replaced(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letter.txt").write_text("mine")
    assert run(tmp_path, square(), samples(), "--force").exit_code == 1
    assert (tmp_path / "out" / "letter.txt").read_text() == "mine"


@pytest.mark.gdal
@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="needs Debian's package gdal-bin")
def test_ogrinfo_opens_the_geopackage(results):
    done = subprocess.run(["ogrinfo", "-so", results / "prescription.gpkg", "zones"], capture_output=True, text=True)
    assert done.returncode == 0
    assert "buds_per_vine" in done.stdout


@pytest.mark.browser
def test_map_opens_without_network_or_console_error(results, open_page):
    watched = open_page((results / "creek-bend" / "map.html").read_text(encoding="utf-8"), width=360, height=740)
    said = watched.page.locator("p.numeral b").all_text_contents()
    assert watched.messages == []
    assert len([r for r in watched.requests if not r.startswith(("data:", "blob:"))]) == 1
    zones = gpd.read_file(results / "prescription.gpkg", layer="zones").query("block == 'Creek Bend'")
    assert said == [str(buds) for buds in zones.sort_values("zone")["buds_per_vine"]]


def test_injury_over_the_stop_limit_gives_no_number(tmp_path):
    # Martinson 2014, Cornell: over 80 % injury no count is given
    checks = gpd.GeoDataFrame(
        {"block": ["A"], "buds_cut": [100], "primary_dead": [90]},
        geometry=[Point(620050, 4690050)],
        crs=32617,
    )
    result = run(tmp_path, square(), samples(), bud_checks=checks)
    assert result.exit_code == 0, result.output
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["blocks"]["A"]["buds_per_vine"] is None


def test_a_background_that_is_no_address_is_wrong_usage(tmp_path):
    arguments = [str(DEMO / "estate.gpkg"), "--out", str(tmp_path / "out"), "--background", "javascript:alert(1)"]
    assert CliRunner().invoke(main, ["prescribe", *arguments]).exit_code == 2
    assert not (tmp_path / "out").exists()
