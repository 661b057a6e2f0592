"""Cells with units and degrees: read where all agree, left as they are where they do not."""

from __future__ import annotations

import re

import geopandas as gpd
import invented_vineyard as iv
import numpy as np
import pandas as pd
import pytest

from geoprune import DataError, read_vineyard
from geoprune.reading.blocks import two_lengths
from geoprune.reading.cells import in_degrees, unit_behind, without_unit
from geoprune.reading.columns import Columns, RawTable
from geoprune.reading.declared import Declared, as_declared
from geoprune.reading.faults import Faults


@pytest.mark.parametrize(
    ("texts", "plain", "unit"),
    [
        (["0,85 kg", "1,2kg", ""], ["0,85", "1,2", ""], "kg"),
        (["420 gr.", "380 g"], ["420", "380"], "g"),
        (["2.4 lbs", "3 pounds"], ["2.4", "3"], "lb"),
        (["0,85 kg", "850 g"], ["0,85 kg", "850 g"], ""),
        (["0,85 kg", "850"], ["0,85 kg", "850"], ""),
        (["12 apples"], ["12 apples"], ""),
        (["", ""], ["", ""], ""),
    ],
)
def test_a_unit_behind_every_number_is_taken_and_no_other(texts, plain, unit):
    assert without_unit(texts) == (plain, unit)


def test_the_unit_of_two_lengths_stands_behind_the_last():
    assert unit_behind(["2,50 x 1,20 m", "8 x 6 m"]) == "m"
    assert unit_behind(["2,50 x 1,20", "8 x 6 m"]) == ""


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        # 60 minutes to a degree, 60 seconds to a minute (SI brochure, 9th edition, table 8)
        ("33° 07' 12\" S", -33.12),
        ("33°07,2'S", -33.12),
        ("W 79 33 00", -79.55),
        ("-33° 30' 00.0\"", -33.5),
        ("49º54’04.30” N", 49.901194),
    ],
)
def test_degrees_minutes_and_seconds_are_degrees(text, degrees):
    assert float(in_degrees([text])[0]) == pytest.approx(degrees, abs=1e-6)


@pytest.mark.parametrize("texts", [["6° 46' 19\" O"], ["33° 07' 12\" S", "north gate"], ["-33.12"], [""]])
def test_what_is_unclear_or_plain_stays_as_it_is(texts):
    assert in_degrees(texts) == texts


def test_weights_with_their_unit_are_read_and_mixed_ones_reported(tmp_path):
    table = iv.samples()
    table["pruning_weight_kg"] = [f"{value:.3f} kg" for value in table["pruning_weight_kg"]]
    read = read_vineyard(*iv.write(tmp_path, table)[:1], samples=iv.write(tmp_path, table)[1])
    assert read.samples["pruning_weight_kg"].tolist() == pytest.approx(iv.samples()["pruning_weight_kg"].tolist(), abs=1e-3)
    table.loc[0, "pruning_weight_kg"] = "850 g"
    vineyard, weights = iv.write(tmp_path, table)
    with pytest.raises(DataError, match="pruning_weight_kg '850 g' is not a number"):
        read_vineyard(vineyard, samples=weights)


@pytest.mark.parametrize(
    ("unit", "text", "lengths"),
    [
        ("m", "2,50 x 1,20 m", ("2,50", "1,20")),
        ("ft", "11' x 7'", ("11", "7")),
        ("ft", "9 ft by 8 ft", ("9", "8")),
        ("m", "11' x 7'", None),  # the sign is of feet alone
    ],
)
def test_two_lengths_in_a_cell_may_have_their_unit_or_the_sign_of_feet(unit, text, lengths):
    found = re.match(two_lengths(unit), text, re.IGNORECASE)
    assert (found and found.groups()) == lengths
    assert unit_behind(["11' x 7'"]) == "ft"


#: Text as pandas keeps it: its own strings (what it reads of a GeoPackage since its version 3), and Python's objects.
KINDS_OF_TEXT = ["str", "string", object]


@pytest.mark.parametrize("kind", KINDS_OF_TEXT)
def test_units_and_degrees_in_cells_are_read_however_text_is_kept(kind):
    table = pd.DataFrame({"row_spacing_m": ["2,5 m", "3 m", None], "vine_spacing_m": ["1.2", "1.5", "2"]}, dtype=kind)
    raw = RawTable("a.gpkg", "blocks", table, np.arange(3), "feature")
    read = as_declared(raw, Declared(decimal_mark=","), Faults()).table
    assert read["row_spacing_m"].tolist()[:2] == ["2,5", "3"]
    places = RawTable("a.csv", "samples", pd.DataFrame({"lat": ["33° 07' 12\" S"]}, dtype=kind), np.arange(1), "line")
    assert as_declared(places, Declared(), Faults()).table["lat"].tolist() == pytest.approx([-33.12])


@pytest.mark.parametrize("kind", KINDS_OF_TEXT)
def test_a_mark_that_may_part_thousands_is_reported_however_text_is_kept(kind):
    table = pd.DataFrame({"pruning_weight_g": ["1.234", "850"]}, dtype=kind)
    faults = Faults()
    raw = RawTable("a.gpkg", "samples", table, np.arange(2), "feature", decimal_comma=True, decimal_mark=",")
    values = Columns(raw, faults).number("pruning_weight_g")
    assert np.isnan(values[0])
    assert values[1] == 850
    assert "decimal mark or one for thousands" in faults.problems[0].what


def test_spacings_with_their_unit_are_read_from_a_geopackage(tmp_path):
    blocks = iv.blocks().drop(columns=["row_spacing_m", "vine_spacing_m"], errors="ignore")
    blocks = blocks.assign(row_spacing_m="2,7 m", vine_spacing_m="1,8 m", row_bearing_deg=0.0)
    gpd.GeoDataFrame(blocks).to_file(tmp_path / "finca.gpkg", layer="blocks")
    read = read_vineyard(tmp_path / "finca.gpkg", decimal_mark=",", need_samples=False)
    assert (read.blocks["row_spacing_m"].iloc[0], read.blocks["vine_spacing_m"].iloc[0]) == (2.7, 1.8)
