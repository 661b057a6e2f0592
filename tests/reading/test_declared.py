"""Files with columns, words and marks of their own, read as they were declared. All input is invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import invented_vineyard as iv
import numpy as np
import pandas as pd
import pytest

from geoprune import DataError, build_trellis, place_samples, read_vineyard
from geoprune.layers import Column, check_vineyard, columns_of, incoming, outgoing
from geoprune.layers.columns import short_names
from geoprune.words import word_lists

SPANISH = {
    "columns": {
        "blocks": {
            "block": "Parcela",
            "variety": "Cultivar",
            "row_by_vine_m": "Marco",
            "training": "Conducción",
            "rule": "Regla",
        },
        "samples": {"pruning_weight_g": "Peso de poda (g)", "row": "Hilera", "vine": "Cepa"},
    },
    "values": {"training": {"espaldera alta": "top-wire cordon"}, "rule": {"otherwise": "20+20"}},
    "decimal_mark": ",",
}


def spanish(folder):
    table = gpd.GeoDataFrame(
        {
            "Parcela": ["A"],
            "Cultivar": ["Malbec"],
            "Marco": ["2,7 x 1,8"],
            "Conducción": ["Espaldera alta"],
            "Regla": [None],
        },
        geometry=iv.blocks().geometry,
        crs=iv.CRS,
    ).to_crs(4326)
    given = iv.samples()
    weights = pd.DataFrame(
        {"Hilera": given["row"], "Cepa": given["vine"], "Peso de poda (g)": (1000 * given["pruning_weight_kg"]).round(1)}
    )
    weights["Peso de poda (g)"] = weights["Peso de poda (g)"].map(lambda grams: f"{grams:.1f}".replace(".", ","))
    table.to_file(folder / "finca.geojson", driver="GeoJSON")
    weights.to_csv(folder / "pesos.csv", sep=";", index=False)
    return folder / "finca.geojson", folder / "pesos.csv"


def test_a_spanish_file_is_read_as_declared(tmp_path):
    path, weights = spanish(tmp_path)
    read = read_vineyard(path, samples=weights, **SPANISH, block_values={"a": {"row_bearing_deg": 0.0}})
    block = read.blocks.iloc[0]
    assert (block["variety"], block["rule"], block["training"]) == ("Malbec", "20+20", "top-wire cordon")
    assert block["training_as_given"] == "Espaldera alta"
    assert (block["row_spacing_m"], block["vine_spacing_m"]) == (2.7, 1.8)
    np.testing.assert_allclose(read.samples["vine_weight_kg"], iv.samples()["pruning_weight_kg"], atol=1e-4)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"columns": {"blocks": {"block": "Lote"}}}, "there is no column 'Lote' for block. Correct [columns.blocks]"),
        ({"columns": {"blocks": {"blok": "Parcela"}}}, "the settings name a column blok, which is not read"),
        ({"columns": {"samples": {"pruning_weight_kg": "Peso"}}}, "there is no column 'Peso' for pruning_weight_kg"),
        ({"block_values": {"Z": {"row_bearing_deg": 0.0}}}, "there is no block 'Z', which the settings name"),
        ({"decimal_mark": "."}, "row_by_vine_m '2,7 x 1,8'"),
    ],
)
def test_a_declaration_that_does_not_fit_the_file_is_reported(tmp_path, changed, words):
    path, weights = spanish(tmp_path)
    said = SPANISH | changed
    if "columns" in changed:
        said["columns"] = SPANISH["columns"] | {
            layer: SPANISH["columns"][layer] | names for layer, names in changed["columns"].items()
        }
    with pytest.raises(DataError) as caught:
        read_vineyard(path, samples=weights, **said)
    assert words in str(caught.value) or "row_spacing_m '2,7' is not a number" in str(caught.value)


@pytest.mark.parametrize("cell", ["2.7 x 1.8", "2,7x1,8", "2.7m × 1.8m", "2,70 por 1,80", "2.7/1.8", "2.7 * 1.8 m"])
def test_both_spacings_in_one_cell(tmp_path, cell):
    path, weights = iv.write(tmp_path, blocks=iv.blocks(row_spacing_m=None, vine_spacing_m=None, row_by_vine_m=cell))
    block = read_vineyard(path, samples=weights).blocks.iloc[0]
    assert (block["row_spacing_m"], block["vine_spacing_m"]) == (2.7, 1.8)


@pytest.mark.parametrize("cell", ["2.7", "wide", "2.7 x", "x 1.8", "2.7 x 1.8 x 3"])
def test_a_cell_that_is_not_two_lengths(tmp_path, cell):
    path, weights = iv.write(tmp_path, blocks=iv.blocks(row_spacing_m=None, vine_spacing_m=None, row_by_vine_m=cell))
    with pytest.raises(DataError, match=r"is not two lengths\. Write row spacing x vine spacing"):
        read_vineyard(path, samples=weights)


def test_a_declared_comma_settles_what_is_unclear_and_a_point_of_thousands_is_not_guessed(tmp_path):
    table = iv.samples().rename(columns={"pruning_weight_kg": "pruning_weight_g"})
    table["pruning_weight_g"] = "1,234"
    path, weights = iv.write(tmp_path, table.assign(pruning_weight_g="812,125"))
    table.assign(pruning_weight_g="812,125").to_csv(weights, sep=";", index=False)
    with pytest.raises(DataError, match="may have a decimal mark or one for thousands"):
        read_vineyard(path, samples=weights)
    assert read_vineyard(path, samples=weights, decimal_mark=",").samples["vine_weight_kg"].tolist() == [0.812125] * 24
    table.assign(pruning_weight_g="1.234").to_csv(weights, sep=";", index=False)
    with pytest.raises(DataError, match="may have a decimal mark or one for thousands"):
        read_vineyard(path, samples=weights, decimal_mark=",")


def test_a_sheet_and_several_lines_of_names(tmp_path):
    path, _ = iv.write(tmp_path)
    given = iv.samples()
    cells = [["Poda 2026", "", ""], ["Hilera", "Cepa", "Peso"], ["", "", "(kg)"], *given.to_numpy().tolist()]
    with pd.ExcelWriter(tmp_path / "w.xlsx", engine="xlsxwriter") as book:
        pd.DataFrame([["nothing here"]]).to_excel(book, sheet_name="notas", index=False)
        pd.DataFrame(cells).to_excel(book, sheet_name="pesos", index=False, header=False)
    said = {"samples": {"row": "Hilera", "vine": "Cepa", "pruning_weight_kg": "Peso (kg)"}}
    read = read_vineyard(path, samples=tmp_path / "w.xlsx", columns=said, sheet="Pesos", header_row=[2, 3])
    np.testing.assert_allclose(read.samples["vine_weight_kg"], given["pruning_weight_kg"])
    assert read.samples["source_place"].iloc[0] == "line 4"
    with pytest.raises(DataError, match=r"there is no sheet 'kilos'\. Correct sheet in the settings .notas, pesos."):
        read_vineyard(path, samples=tmp_path / "w.xlsx", sheet="kilos")


# Columns as data


def test_a_vineyard_made_by_hand_gets_the_columns_it_may_lack(tmp_path):
    read = read_vineyard(*iv.write(tmp_path)[:1], samples=iv.write(tmp_path)[1])
    needed = ["block", "variety", "rule", "training", "row_spacing_m", "vine_spacing_m", "geometry"]
    made = replace(
        read,
        blocks=read.blocks[needed],
        samples=read.samples[["block", "row", "vine", "vine_weight_kg", "geometry"]].set_index(np.arange(24) + 7),
    )
    checked = check_vineyard(made)
    assert set(read.blocks) <= set(checked.blocks)
    assert set(read.samples) <= set(checked.samples)
    assert checked.samples.index.tolist() == list(range(7, 31))
    assert checked.samples["pruning_weight_kg"].tolist() == read.samples["vine_weight_kg"].tolist()
    assert set(made.blocks) == set(needed)


def test_a_vineyard_made_by_hand_is_reported_everything_it_lacks(tmp_path):
    read = read_vineyard(*iv.write(tmp_path)[:1], samples=iv.write(tmp_path)[1])
    wrong = replace(
        read,
        blocks=read.blocks.drop(columns=["row_spacing_m"]).assign(vine_spacing_m="wide"),
        samples=read.samples.drop(columns=["vine_weight_kg", "pruning_weight_kg"]).assign(block="B"),
        rows=read.rows.to_crs(4326),
    )
    with pytest.raises(DataError) as caught:
        check_vineyard(wrong)
    said = str(caught.value)
    for words in (
        "row_spacing_m is missing",
        "holds what is no number",
        "pruning_weight_kg is missing",
        "unknown block 'B'",
    ):
        assert words in said
    assert "layer rows: the table is in another CRS" in said
    with pytest.raises(DataError, match="no projected CRS in metres"):
        check_vineyard(replace(read, crs=read.rows.to_crs(4326).crs))


def test_a_shapefiles_ten_letters_mean_one_column_each():
    known = [name for layer in incoming() for entry in columns_of(layer) for name in entry.names]
    assert not set(short_names()) & {name for name in known if len(name) < 10}
    assert short_names()["row_sp_ft"] == "row_spacing_ft"
    assert short_names()["secondary_"] == "secondary_dead"
    assert max(map(len, short_names())) <= 10


def test_every_column_read_is_explained_in_every_language():
    entries = [entry for layer in incoming() for entry in columns_of(layer)]
    assert all(isinstance(entry, Column) for entry in entries)
    for code, rooms in word_lists().items():
        lacking = [f"{e.layer}_{e.name}" for e in entries if not rooms["layers"].get(f"{e.layer}_{e.name}")]
        assert not lacking, code


def test_the_place_given_is_kept_beside_the_vine_it_was_taken_for(tmp_path):
    path, weights = iv.write(tmp_path, iv.lonlat())
    read = read_vineyard(path, samples=weights)
    placed = place_samples(read.samples, build_trellis(read, "A"))
    np.testing.assert_allclose(placed["given_easting"], read.samples.geometry.x)
    assert np.hypot(placed["given_easting"] - placed.geometry.x, placed["given_northing"] - placed.geometry.y).max() < 0.1
    assert {"given_easting", "given_northing"} <= set(outgoing()["samples"])


def test_every_column_read_stands_in_the_conventions():
    page = (Path(__file__).parents[2] / "docs" / "conventions.md").read_text("utf-8")
    for layer in incoming():
        for entry in columns_of(layer):
            assert f"`{entry.name}" in page or layer in ("harvest", "scores"), entry.name
