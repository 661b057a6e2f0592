"""Cells with units and degrees: read where all agree, left as they are where they do not."""

from __future__ import annotations

import invented_vineyard as iv
import pytest

from geoprune import DataError, read_vineyard
from geoprune.reading.cells import in_degrees, unit_behind, without_unit


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
