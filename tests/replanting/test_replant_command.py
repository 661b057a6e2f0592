"""From a vineyard or results to a proposal: areas, vines, orders, files; wrong prices are told together."""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from click.testing import CliRunner, Result
from stands import CLUMP, stand

from geoprune.cli.replant import replant
from geoprune.errors import DataError
from geoprune.jobs.replant import plan_replanting
from geoprune.replanting import PriceList, Prices, propose, read_prices
from geoprune.words import languages

HOSTILE = "=1+1<script>alert(1)</script>{{7*7}}"
#: Invented figures at which planting pays, with no layering.
RICH = {"full_kg_per_vine": 8.0, "interest_percent": 3.0, "layering": 0.0}


def test_a_clump_is_one_area_and_single_gaps_are_done_on_the_way():
    found = propose(stand([*CLUMP, (1, 2), (11, 28)]), Prices())
    said = found.areas.set_index("area")
    assert sorted(said.index) == [0, 1]
    assert (said.loc[1, "missing_or_dead"], said.loc[0, "missing_or_dead"]) == (12, 2)
    assert (said.loc[1, "first_row"], said.loc[1, "last_row"], said.loc[1, "row_length_m"]) == ("4", "6", 24.0)
    assert said.loc[1, "geometry"].area == pytest.approx(3 * 8 * 3.03, rel=0.02)  # three rows, 8 m, a row spacing wide
    assert len(found.vines) == 14
    assert found.clusterings[0].all.together


def test_along_the_row_one_sound_vine_is_stepped_over_and_two_are_not():
    def groups(numbers):
        found = propose(stand([(5, v) for v in numbers]), PriceList({"visit_hours": 0.0, "full_kg_per_vine": 8.0}).of("A"))
        return sorted(found.areas["missing_or_dead"])

    assert groups([3, 5, 7]) == [3]
    assert groups([3, 4, 7, 8]) == [2, 2]


def test_layers_need_a_sound_neighbour_each():
    found = propose(stand(CLUMP), Prices())
    assert len(found.choices[0].layered) == 6  # in each row the first and the last of four gaps have one
    assert "layer" not in propose(stand(CLUMP), PriceList({"layering": 0.0}).of("A")).choices[0].tasks
    ringed = stand(CLUMP, weak=[(r, v) for r in (4, 5, 6) for v in (9, 14)])
    assert all(row not in "456" for row in ringed.vines.iloc[propose(ringed, Prices()).choices[0].layered]["row"])


def test_each_way_wins_at_some_prices():
    def best(**values) -> str:
        dear = PriceList({**RICH, "layering": 1.0, **values}).of("A")
        clump = stand(CLUMP, weak=[(r, v) for r in (4, 5, 6) for v in (9, 14)])
        return next(choice.best for choice in propose(clump, dear).choices if choice.area.number == 1)

    assert best(crop_t=250.0) == "leave"  # a crop that brings no more than its harvest costs
    assert best(plant_section_hours=0.0, plant_gap_hours=3.0, trellis_renewed=0.0) == "section"
    assert best(plant_section_hours=3.0) == "single"  # the neighbours are weak: nothing to layer from
    assert propose(stand(CLUMP), PriceList({"plant": 12.0}).of("A")).choices[0].best == "layer"


def test_what_is_ordered_adds_up():
    found = propose(stand(CLUMP), PriceList({**RICH, "overage_percent": 10.0, "plant_section_hours": 3.0}).of("A"))
    order = found.orders
    assert (order["plants"], order["spare"], order["to_order"], order["stakes"], order["posts"]) == (12, 2, 14, 12, 0)
    section = propose(stand(CLUMP), PriceList({**RICH, "plant_gap_hours": 3.0, "trellis_renewed": 0.5}).of("A"))
    assert section.choices[0].best == "section"
    assert (section.orders["posts"], section.orders["wire_m"]) == (2, 0.5 * 3 * 24.0)  # 3 panels and 24 m, half renewed


def test_kinds_that_do_not_pay_one_by_one_are_left_standing():
    prices = PriceList({**RICH, "sick_crop": 1.0, "plant_section_hours": 3.0}).of("A")
    found = propose(stand(CLUMP, sick=[(7, 11), (7, 12)]), prices)
    assert "replant.left_sick" in {message.key for message in found.messages}
    assert found.choices[0].task.sick == 0
    assert set(found.vines.loc[found.vines["status"] == "diseased", "work"]) == {"leave"}


def test_limits_stand_apart_by_cause_and_nothing_is_diagnosed():
    sick = [(r, v) for r in range(1, 13) for v in range(1, 11)]  # 120 of 360: a third
    keys = [message.key for message in propose(stand(sick=sick), Prices()).messages]
    assert keys.count("crop.losses_replace") == 2  # leafroll above 25 %, red blotch above 30 %: each its own line
    gone = propose(stand(gone=sick), Prices()).messages
    assert [message.fields["limit_percent"] for message in gone if message.key.startswith("crop.losses")] == [3, 8, 20]


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("vineyard") / "estate.gpkg"
    for number, name in enumerate(("Ridge", HOSTILE)):
        east = 500_000 + 100 * number
        lines = [shapely.LineString([(east + 3 * k, 4_700_000), (east + 3 * k, 4_700_060)]) for k in range(12)]
        entry = {"block": name, "variety": "Concord", "rule": "30+10", "training": "top-wire cordon", "row_spacing_m": 3.0}
        entry |= {"vine_spacing_m": 2.0, "vines_per_panel": 4, "rootstock": "SO4"}
        outline = shapely.box(east - 2, 4_699_999, east + 35, 4_700_061)
        mode = "w" if not number else "a"
        gpd.GeoDataFrame([entry], geometry=[outline], crs=32617).to_file(path, layer="blocks", mode=mode)
        rows = {"block": name, "row": [str(k + 1) for k in range(12)]}
        gpd.GeoDataFrame(rows, geometry=lines, crs=32617).to_file(path, layer="rows", mode=mode)
        said = pd.DataFrame(CLUMP, columns=["row", "vine"]).astype({"row": str}).assign(block=name, status="missing")
        places = [shapely.Point(east, 4_700_000)] * len(said)
        gpd.GeoDataFrame(said, geometry=places, crs=32617).to_file(path, layer="vines", mode=mode)
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(replant, [str(argument) for argument in arguments])


def test_files_of_a_proposal(vineyard: Path, tmp_path: Path):
    done = run(vineyard, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "INVENTED PRICES" in done.output
    names = "areas.csv order.csv prices.toml replant.gpkg replant.gpx replant.html replant.pdf summary.json vines.csv"
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == names.split()
    assert len(gpd.read_file(tmp_path / "out" / "replant.gpkg", layer="replant_areas")) == 2
    assert len(gpd.read_file(tmp_path / "out" / "replant.gpkg", layer="replant_vines")) >= 24
    points = ET.parse(tmp_path / "out" / "replant.gpx").getroot()
    assert len(points) == 2
    assert pd.read_csv(tmp_path / "out" / "order.csv")["rootstock"].tolist() == ["SO4", "SO4"]
    said = json.loads((tmp_path / "out" / "summary.json").read_text("utf-8"))
    assert said["blocks"]["Ridge"]["join_counts"]["gone"]["marked"] == 12
    page = (tmp_path / "out" / "replant.html").read_text("utf-8")
    assert "<script" not in page
    assert "invent" in page.lower()
    for path in (tmp_path / "out").glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as handle:
            assert not [cell for line in csv.reader(handle) for cell in line if cell.startswith(("=", "+", "@"))]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs Debian's package poppler-utils")
def test_paper_has_every_figure_behind_the_sums_and_each_way_its_range(vineyard: Path, tmp_path: Path):
    done = run(vineyard, "--out", tmp_path / "out", "--lang", "en")
    assert done.exit_code == 0, done.output
    paper = tmp_path / "out" / "replant.pdf"
    said = subprocess.run(["pdftotext", "-layout", str(paper), "-"], capture_output=True, check=True, text=True).stdout
    assert all(name in said for name in tomllib.loads((tmp_path / "out" / "prices.toml").read_text("utf-8")))
    options = said[said.index("What each option comes to") : said.index("Vines by row")]
    assert re.search(r"[\d,]+ \(\W*[\d,]+ – \W*[\d,]+\)", options), options


def test_the_prices_that_are_written_can_be_read_and_are_then_given(vineyard: Path, tmp_path: Path):
    assert run(vineyard, "--out", tmp_path / "out").exit_code == 0
    written = tmp_path / "out" / "prices.toml"
    assert HOSTILE in tomllib.loads(written.read_text("utf-8"))["block"]
    again = run(vineyard, "--out", tmp_path / "again", "--prices", written)
    assert again.exit_code == 0, again.output
    assert "INVENTED PRICES" not in again.output
    first, second = (pd.read_csv(tmp_path / name / "areas.csv") for name in ("out", "again"))
    pd.testing.assert_frame_equal(first, second)


@pytest.mark.parametrize("language", languages())
def test_every_language_tells_all(vineyard: Path, tmp_path: Path, language: str):
    done = run(vineyard, "--out", tmp_path / "out", "--lang", language, "--units", "metric", "--paper", "a4", "--json")
    assert done.exit_code == 0, done.output
    assert set(json.loads(done.stdout)["blocks"]) == {"Ridge", HOSTILE}


def test_wrong_prices_are_reported_together_and_nothing_is_written(vineyard: Path, tmp_path: Path):
    prices = tmp_path / "p.toml"
    prices.write_text('plnat = 5\npost = [3, 2, 1]\nyears = 2.5\nweak_crop = 4\n[block."Ridge"]\nplant = "five"\n', "utf-8")
    done = run(vineyard, "--out", tmp_path / "out", "--prices", prices)
    assert done.exit_code == 1
    for name in ("plnat", "post", "years", "weak_crop", "plant"):
        assert name in done.output
    assert not (tmp_path / "out").exists()
    prices.write_text("[block.Nowhere]\nplant = 5\n", "utf-8")
    with pytest.raises(DataError, match="Nowhere"):
        plan_replanting(vineyard, prices=prices)


def test_a_block_has_prices_of_its_own(tmp_path: Path):
    prices = tmp_path / "p.toml"
    prices.write_text('plant = 4\n[block."Ridge"]\nplant = [5, 6, 7]\nrootstock = "101-14"\n', "utf-8")
    listed = read_prices(prices)
    assert (listed.of("Ridge").likely("plant"), listed.of("Creek").likely("plant")) == (6.0, 4.0)
    assert listed.of("Ridge").text("rootstock") == "101-14"
    assert "plant" not in listed.of("Creek").invented
    assert "post" in listed.of("Creek").invented


def test_prices_edited_among_the_results_and_given_again_do_not_bar_force_and_stay_as_they_are(
    vineyard: Path, tmp_path: Path
):
    out = tmp_path / "out"
    assert run(vineyard, "--out", out).exit_code == 0
    edited = "# ours, of this spring\n" + (out / "prices.toml").read_text("utf-8").replace("plant = 5", "plant = 7.5", 1)
    (out / "prices.toml").write_text(edited, "utf-8")
    # Edited and not given again: nobody's work is thrown away.
    refused = run(vineyard, "--out", out, "--force")
    assert (refused.exit_code, "prices.toml" in refused.output) == (1, True)
    done = run(vineyard, "--out", out, "--force", "--prices", out / "prices.toml")
    assert done.exit_code == 0, done.output
    assert (out / "prices.toml").read_text("utf-8") == edited
    again = run(vineyard, "--out", out, "--force")
    assert again.exit_code == 0, again.output  # it is now as it was written
    (out / "note.txt").write_text("mine", "utf-8")
    assert run(vineyard, "--out", out, "--force", "--prices", out / "prices.toml").exit_code == 1
