"""The command from file to file: lists that are complete, open elsewhere, and come back filled in."""

import json
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from shapely import box

from geoprune import read_vineyard
from geoprune.cli import main

sys.path.insert(0, str(Path(__file__).parents[1] / "weighin"))
from small_estate import write_estate

GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def estate(tmp_path_factory):
    return write_estate(tmp_path_factory.mktemp("estate"), blocks=("North", "<b>South</b>"))


def run(*words):
    return CliRunner().invoke(main, ["sample", *map(str, words)])


@pytest.fixture(scope="module")
def made(estate, tmp_path_factory):
    out = tmp_path_factory.mktemp("made") / "weighing"
    said = run(estate, "--out", out, "--stops", 20, "--together", "vine")
    assert said.exit_code == 0, said.output
    return out


def test_no_sample_is_needed_and_every_file_is_there(made):
    names = {p.relative_to(made).as_posix() for p in made.rglob("*") if p.is_file()}
    pages = ("weigh_list.html", "weigh_list.pdf", "field.html")
    lists = {f"{block}/{page}" for block in ("north", "b-south-b") for page in pages}
    tables = {f"weigh_list.{end}" for end in ("csv", "gpkg", "gpx", "kml", "json")}
    sheets = {f"{name}.{end}" for name in ("how_to_weigh", "buds_to_cut") for end in ("html", "pdf")}
    assert names == {"index.html", "summary.json", *lists, *tables, *sheets}
    assert (made / "north" / "weigh_list.pdf").read_bytes().startswith(b"%PDF")
    assert set(json.loads((made / "summary.json").read_text())["files"]) == names


def test_the_plan_leads_to_the_sheets_that_say_how(made):
    page = (made / "index.html").read_text(encoding="utf-8")
    for name in ("how_to_weigh", "buds_to_cut"):
        assert f'href="{name}.html"' in page
        assert f'href="{name}.pdf"' in page
        assert (made / f"{name}.pdf").read_bytes().startswith(b"%PDF")


def test_names_from_the_file_are_text_on_the_pages(made):
    for page in made.rglob("*.html"):
        assert "<b>South" not in page.read_text(encoding="utf-8")
    assert "&lt;b&gt;South&lt;/b&gt;" in (made / "index.html").read_text(encoding="utf-8")


def test_the_same_places_stand_in_every_file(made):
    layer = gpd.read_file(made / "weigh_list.gpkg", layer="weigh_list")
    field = json.loads((made / "weigh_list.json").read_text(encoding="utf-8"))
    root = ET.parse(made / "weigh_list.gpx").getroot()
    assert len(layer) == len(field) == len(root.findall(f"{GPX}wpt")) == 80
    lonlat = layer.to_crs(4326)
    for row, said, point in zip(lonlat.itertuples(), field, root.findall(f"{GPX}wpt"), strict=True):
        assert (row.block, row.row, row.vine, row.order) == (said["block"], said["row"], said["vine"], said["order"])
        assert said["lon"] == pytest.approx(row.geometry.x, abs=1e-6)
        assert float(point.get("lat")) == pytest.approx(row.geometry.y, abs=1e-6)
    assert {"block", "row", "vine", "order", "spare_of", "lon", "lat"} <= set(field[0])
    assert sum(entry["spare_of"] is None for entry in field) == 40


def test_the_filled_template_reads_straight_in(made, estate, tmp_path):
    table = pd.read_csv(made / "weigh_list.csv")
    assert table["pruning_weight_lb"].isna().all()
    assert len(table) == 40
    weights = np.round(np.random.default_rng(0).uniform(1, 4, 40), 1)
    table.assign(pruning_weight_lb=weights).to_csv(tmp_path / "filled.csv", index=False)
    read = read_vineyard(estate, samples=tmp_path / "filled.csv").samples
    assert read["vine_weight_kg"].to_numpy() == pytest.approx(weights * 0.45359237)
    layer = gpd.read_file(made / "weigh_list.gpkg")
    stops = layer[layer["spare_of"].isna()]
    assert read[["block", "row"]].to_numpy().tolist() == stops[["block", "row"]].to_numpy().tolist()
    assert not ((layer["row"] == "2") & (layer["vine"] == 3)).any()  # the missing vine


def test_spanish_metric_a4_and_force(estate, tmp_path):
    out = tmp_path / "w"
    words = (estate, "--out", out, "--stops", 12, "--lang", "es", "--units", "metric", "--paper", "a4", "--quiet")
    said = run(*words)
    assert said.exit_code == 0, said.output
    assert "Cepas para pesar" in (out / "north" / "weigh_list.html").read_text(encoding="utf-8")
    assert "Pesar la madera de poda" in (out / "how_to_weigh.html").read_text(encoding="utf-8")
    assert "12 puntos son pocos para un mapa" in said.output
    assert "pruning_weight_kg" in (out / "weigh_list.csv").read_text(encoding="utf-8")
    again = run(*words)
    assert again.exit_code == 1
    assert "ya existe" in again.output
    assert run(*words, "--force").exit_code == 0
    (out / "weigh_list.csv").write_text("filled in by hand")
    kept = run(*words, "--force")
    assert kept.exit_code == 1
    assert (out / "weigh_list.csv").read_text() == "filled in by hand"


def test_earlier_results_are_used_and_others_refused(estate, tmp_path):
    model = {"variance_kg2": 0.02, "nugget_share": 0.5, "range_m": 30.0}
    earlier = {"program": "geoprune", "blocks": {"North": {"vine_size_kg": 1.1, "model": model}}}
    (tmp_path / "summary.json").write_text(json.dumps(earlier))
    said = run(estate, "--out", tmp_path / "w", "--earlier", tmp_path / "summary.json", "--json", "--within", "5%")
    assert said.exit_code == 0, said.output
    summary = json.loads(said.stdout)
    assert "summary.json" in [source["name"] for source in summary["inputs"]]
    blocks = summary["blocks"]
    assert [blocks[name]["model"]["source"] for name in ("North", "<b>South</b>")] == ["earlier", "assumed"]
    assert blocks["North"]["stops_needed_at_random"] < blocks["<b>South</b>"]["stops_needed_at_random"]
    (tmp_path / "bad.json").write_text("[]")
    refused = run(estate, "--out", tmp_path / "v", "--earlier", tmp_path / "bad.json")
    assert refused.exit_code == 1
    assert "not a summary of earlier results" in refused.output
    assert not (tmp_path / "v").exists()


def test_zones_of_an_earlier_winter_get_their_share(estate, tmp_path):
    outline = gpd.read_file(estate, layer="blocks").iloc[[0]]
    west, south, east, north = outline.total_bounds
    middle = west + 2.7 * 6
    halves = [box(west, south, middle, north), box(middle, south, east, north)]
    zones = gpd.GeoDataFrame({"block": ["North"] * 2, "zone": [1, 2]}, geometry=halves, crs=outline.crs)
    zones.to_file(tmp_path / "zones.gpkg", driver="GPKG")
    out = tmp_path / "w"
    said = run(estate, "--out", out, "--zones-from", tmp_path / "zones.gpkg", "--stops", 14, "--together", "vine")
    assert said.exit_code == 0, said.output
    layer = gpd.read_file(out / "weigh_list.gpkg")
    stops = layer[layer["spare_of"].isna() & (layer["block"] == "North")]
    assert (stops["row"].astype(int) <= 6).sum() == 7


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        (["--vine-size-lb", "2", "--vine-size-kg", "1"], "once"),
        (["--stops", "1"], "1"),
        (["--within", "0"], "share"),
    ],
)
def test_wrong_usage(estate, tmp_path, words, shown):
    said = run(estate, "--out", tmp_path / "w", *words)
    assert said.exit_code == 2
    assert shown in said.output


def test_a_rule_that_is_not_known_is_one_message(estate, tmp_path):
    blocks = gpd.read_file(estate, layer="blocks").assign(rule="plenty")
    rows = gpd.read_file(estate, layer="rows")
    for name, layer in (("blocks", blocks), ("rows", rows)):
        layer.to_file(tmp_path / "e.gpkg", layer=name, driver="GPKG")
    said = run(tmp_path / "e.gpkg", "--out", tmp_path / "w")
    assert said.exit_code == 1
    assert "plenty" in said.output
    assert "Traceback" not in said.output
    assert not (tmp_path / "w").exists()
