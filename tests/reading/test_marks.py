"""Weights that people write into the names and descriptions of marked points. All input is invented."""

from __future__ import annotations

import zipfile

import invented_vineyard as iv
import numpy as np
import pandas as pd
import pytest

from geoprune import DataError, read_vineyard
from geoprune.reading import Faults
from geoprune.reading.headers import unit_of, words_of
from geoprune.reading.marks import weights_of_marks


@pytest.mark.parametrize(
    ("text", "column", "value"),
    [
        ("640 g", "pruning_weight_g", "640"),
        ("R3 V12 1,2kg", "pruning_weight_kg", "1,2"),
        ("012 2.1 lb", "pruning_weight_lb", "2.1"),
        ("hilera 4 planta 7: 950 gramos", "pruning_weight_g", "950"),
        ("vine 12 34oz shade", "pruning_weight_oz", "34"),
    ],
)
def test_a_weight_with_its_unit_is_found(text, column, value):
    found = weights_of_marks(pd.DataFrame({"name": [text], "desc": [None]}), Faults())
    assert found[column].tolist() == [value]


@pytest.mark.parametrize("text", ["vine 12", "640", "gate 3", "3 gates", "1.2.3 kgs5", "g", ""])
def test_a_text_without_a_weight_and_its_unit_is_none(text):
    table = pd.DataFrame({"name": [text]})
    assert list(weights_of_marks(table, Faults()).columns) == ["name"]


def test_the_description_is_read_where_the_name_tells_nothing_and_units_may_differ():
    table = pd.DataFrame({"name": ["1", "2 lb", "gate"], "description": ["500 g", "9 kg", "left open"]})
    faults = Faults()
    found = weights_of_marks(table, faults)
    np.testing.assert_allclose(found["pruning_weight_kg"], [0.5, 2 * 0.45359237])
    assert [(r.message.key, r.message.fields) for r in faults.remarks] == [("reading.marks_without_weight", {"count": 1})]


def test_a_column_of_weights_stays_as_it_is():
    table = pd.DataFrame({"name": ["5 kg"], "pruning_weight_kg": [1.0]})
    assert weights_of_marks(table, Faults()) is table


def gpx(folder, texts):
    points = iv.located()
    marks = "".join(
        f'<wpt lat="{p.y:.7f}" lon="{p.x:.7f}"><name>{n}</name><desc>{text}</desc></wpt>'
        for n, (p, text) in enumerate(zip(points.geometry, texts, strict=True))
    )
    path = folder / "marks.gpx"
    path.write_text(f'<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">{marks}</gpx>', "utf-8")
    return path


def test_a_receivers_waypoints_are_the_same_weights_as_a_table(tmp_path):
    kg = iv.samples()["pruning_weight_kg"]
    vineyard, weights = iv.write(tmp_path, iv.lonlat())
    said = read_vineyard(vineyard, samples=gpx(tmp_path, [f"{1000 * w:.0f} g" for w in kg])).samples
    np.testing.assert_allclose(said["vine_weight_kg"], read_vineyard(vineyard, samples=weights).samples["vine_weight_kg"])


def test_waypoints_without_any_weight_are_reported(tmp_path):
    vineyard, _ = iv.write(tmp_path)
    with pytest.raises(DataError, match="column pruning_weight is missing"):
        read_vineyard(vineyard, samples=gpx(tmp_path, ["shade"] * 24))


def test_kmz_marks_are_read_too(tmp_path):
    points = iv.located()
    marks = "".join(
        f"<Placemark><name>{w:.2f} kg</name><Point><coordinates>{p.x:.7f},{p.y:.7f}</coordinates></Point></Placemark>"
        for p, w in zip(points.geometry, points["pruning_weight_kg"], strict=True)
    )
    text = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder><name>samples</name>{marks}</Folder></Document></kml>'
    with zipfile.ZipFile(tmp_path / "marks.kmz", "w") as archive:
        archive.writestr("doc.kml", text)
    read = read_vineyard(iv.write(tmp_path)[0], samples=tmp_path / "marks.kmz").samples
    np.testing.assert_allclose(read["vine_weight_kg"], points["pruning_weight_kg"], atol=0.006)


@pytest.mark.parametrize(
    ("header", "unit", "words"),
    [
        ("Peso de poda (g)", "g", ("peso", "poda")),
        ("Row width, ft", "ft", ("row", "width")),
        ("Gewicht [kg]", "kg", ("gewicht",)),
        ("kilos de poda", "kg", ("kilos", "poda")),
        ("pruning_weight_lb", "lb", ("pruning", "weight")),
        ("Peso (fresco)", "", ("peso",)),
        ("m", "", ("m",)),
        ("N° de hilera", "", ("hilera",)),
        ("Länge (cm)", "cm", ("lange",)),
    ],
)
def test_units_and_words_of_headers(header, unit, words):
    assert unit_of(header) == unit
    assert words_of(header) == words
