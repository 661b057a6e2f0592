"""Files beside a vineyard go through the same door as its weights: asked about, declared, read. All input is invented."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
from growers import italian_layers
from shapely import box

from geoprune.jobs.check import check_files
from geoprune.jobs.check_report import check_sections
from geoprune.reading import choices_of, read_given_zones, read_harvest, read_scores, read_vineyard
from geoprune.reading.declared import Declared
from geoprune.settings.reading import settings_from
from geoprune.words import say


@pytest.fixture(scope="module")
def podere(tmp_path_factory):
    folder = tmp_path_factory.mktemp("podere")
    vineyard, samples = italian_layers(folder)
    outline = gpd.read_file(vineyard, layer="Appezzamenti")
    west, south, east, north = outline.total_bounds
    shapes = [box(west, south, west + 30, north), box(west + 30, south, east, north)]
    names = {"Vigore": ["basso", "alto"], "Campo": ["Vigna Nuova"] * 2}
    gpd.GeoDataFrame(names, geometry=shapes, crs=outline.crs).to_file(folder / "zone.geojson", driver="GeoJSON")
    middle = outline.to_crs(4326).geometry.iloc[0].centroid
    place = {"Longitudine": f"{middle.x:.6f}".replace(".", ","), "Latitudine": f"{middle.y:.6f}".replace(".", ",")}
    tables = {
        "raccolto": {"Appezzamento": ["VIGNA NUOVA"], "Produzione (kg)": ["4.500,5"], "Anno": [2026]},
        "punti": {"Filare": [1, 2, 3], "Vite": [3, 4, 5], "Punteggio": ["2,5", "3", "1"]},
        "gemme": {name: [cell] * 2 for name, cell in place.items()} | {"Gemme tagliate": [30, 40], "Gemme morte": [3, 4]},
    }
    for name, table in tables.items():
        pd.DataFrame(table).to_csv(folder / f"{name}.csv", sep=";", index=False)
    named = {"harvest": "raccolto.csv", "scores": "punti.csv", "bud_checks": "gemme.csv", "zones_from": "zone.geojson"}
    beside = {setting: folder / file for setting, file in named.items()}
    return vineyard, samples, beside, check_files(vineyard, samples, beside=beside)


def without(settings, layer):
    """Settings that say nothing of the columns of a layer."""
    return {**settings, "columns": {name: own for name, own in settings["columns"].items() if name != layer}}


def test_every_file_beside_a_vineyard_is_asked_about_and_nothing_of_it_stays_open(podere):
    *_, checked = podere
    assert checked.ready, (checked.problems, checked.open)
    columns = checked.sets["columns"]
    assert columns["harvest"] == {"block": "Appezzamento", "season": "Anno", "yield_kg": "Produzione (kg)"}
    assert columns["scores"] == {"row": "Filare", "vine": "Vite", "score": "Punteggio"}
    assert columns["zones"] == {"zone": "Vigore", "block": "Campo"}  # the block by what stands in the column alone
    assert {"lon", "lat", "buds_cut", "primary_dead"} == set(columns["bud_checks"])
    said = [say(line, "es", "metric") for _, lines in check_sections(checked) for line in lines]
    assert {"cosechas: 1", "plantas con puntaje: 3", "zonas dadas: 2", "controles de yemas: 2"} <= {s.strip() for s in said}


def test_what_was_settled_serves_every_file_beside_the_vineyard(podere):
    vineyard, samples, beside, checked = podere
    given = choices_of(checked.sets)
    read = read_vineyard(vineyard, samples=samples, bud_checks=beside["bud_checks"], **given)
    assert read.bud_checks["buds_cut"].tolist() == [30, 40]
    assert read.blocks.geometry.iloc[0].contains(read.bud_checks.geometry.iloc[0])
    declared = Declared(given["columns"], given.get("values", {}), decimal_mark=given["decimal_mark"])
    assert read_harvest(beside["harvest"], read, declared=declared)["yield_kg"].tolist() == [4500.5]
    assert read_scores(beside["scores"], read, declared=declared)["score"].tolist() == [2.5, 3.0, 1.0]
    assert read_given_zones(beside["zones_from"], read, declared=declared)["zone"].tolist() == ["basso", "alto"]


def test_a_second_check_asks_nothing_and_finds_the_files_that_the_settings_name(podere):
    vineyard, _, beside, checked = podere
    files = {setting: path.name for setting, path in beside.items()} | {"samples": "potatura.csv"}
    settings = {**checked.sets, "files": {**checked.sets["files"], **files}}
    assert settings_from(settings, vineyard.parent / "geoprune.toml").columns["zones"]["zone"] == "Vigore"
    again = check_files(vineyard, settings=settings)
    assert again.ready
    assert again.asked == ()
    assert set(again.counts) >= {"harvest", "scores", "zones", "bud_checks"}


def test_what_is_wrong_beside_the_vineyard_is_told_by_the_check(podere, tmp_path):
    vineyard, samples, _, checked = podere
    (tmp_path / "raccolto.csv").write_text("block;yield_kg\nVigna Vecchia;4500\n", "utf-8")
    (tmp_path / "height.csv").write_text("x\n", "utf-8")
    files = {"harvest": tmp_path / "raccolto.csv", "covariates": {"height": tmp_path / "height.csv"}}
    found = check_files(vineyard, samples, beside=files, settings=without(checked.sets, "harvest"))
    said = [(problem.file, problem.what) for problem in found.problems]
    assert any(file == "raccolto.csv" and "unknown block 'Vigna Vecchia'" in what for file, what in said)
    assert any(file == "height.csv" for file, _ in said)
    assert not found.ready


def test_bud_checks_are_read_from_a_file_of_points(podere, tmp_path):
    vineyard, samples, _, checked = podere
    middle = gpd.read_file(vineyard, layer="Appezzamenti").geometry.centroid
    marks = gpd.GeoDataFrame({"Yemas cortadas": [50], "Muertas": [5]}, geometry=middle.values, crs=middle.crs)
    marks.to_file(tmp_path / "yemas.geojson", driver="GeoJSON")
    files, settings = {"bud_checks": tmp_path / "yemas.geojson"}, without(checked.sets, "bud_checks")
    found = check_files(vineyard, samples, beside=files, settings=settings)
    assert found.ready, (found.problems, found.open)
    assert found.vineyard.bud_checks["primary_dead"].tolist() == [5]
