"""Two winters planned by the program itself, compared; and the second one's results taken for a replanting proposal."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result
from shapely import box

from geoprune.cli import main
from geoprune.seasons import load_class
from geoprune.words import languages

WEST, SOUTH = 620_000.0, 4_690_000.0


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def winters(tmp_path_factory) -> tuple[Path, Path]:
    """An invented square block; vines lose 0.4 of some 2.4 lb between the winters, the pattern lasts."""
    folder = tmp_path_factory.mktemp("winters")
    entry = {"block": "A", "variety": "Concord", "rule": "30+10", "training": "top-wire cordon", "row_spacing_ft": 9.0}
    entry |= {"vine_spacing_ft": 8.0, "row_bearing_deg": 0.0}
    blocks = gpd.GeoDataFrame([entry], geometry=[box(WEST, SOUTH, WEST + 60, SOUTH + 60)], crs=32617)
    blocks.to_file(folder / "v.gpkg", layer="blocks")
    made = []
    for year, level in ((2026, 2.4), (2027, 2.0)):
        generator = np.random.default_rng(year)
        table = pd.DataFrame({"row": generator.integers(1, 20, 26), "vine": generator.integers(1, 20, 26), "season": year})
        table = table.drop_duplicates(["row", "vine"])
        noise = generator.normal(0, 0.15, len(table))
        table["pruning_weight_lb"] = (level + 0.05 * (table["row"] - 10) + noise).round(2)
        table.to_csv(folder / f"w{year}.csv", index=False)
        out = folder / str(year)
        done = run("prescribe", folder / "v.gpkg", "--samples", folder / f"w{year}.csv", "--out", out, "--quiet")
        assert done.exit_code == 0, done.output
        made.append(out)
    return made[0], made[1]


def summary_of(out: Path) -> dict:
    return json.loads((out / "summary.json").read_text("utf-8"))["blocks"]["A"]


def test_the_loss_is_found_whatever_the_order_of_the_folders(winters: tuple[Path, Path], tmp_path: Path):
    for name, folders in (("one", winters), ("two", winters[::-1])):
        done = run("seasons", *folders, "--out", tmp_path / name)
        assert done.exit_code == 0, done.output
    first, second = summary_of(tmp_path / "one"), summary_of(tmp_path / "two")
    assert first["zones"] == second["zones"]
    whole = first["zones"][-1]
    lost = -0.4 * 0.45359237
    middle, half = whole["change_kg"], whole["change_high_kg"] - whole["change_kg"]
    assert whole["change_high_kg"] < 0
    assert abs(middle - lost) < half * 2.576 / 1.645  # one draw of weights: the 99 % range
    assert first["thoughts"]["1"][-1].startswith("Crop does not explain it")
    assert first["lasting_share"] > 0.5
    assert len(gpd.read_file(tmp_path / "one" / "seasons.gpkg", layer="panel_change")) == len(
        pd.read_csv(tmp_path / "one" / "panels.csv")
    )


def test_a_heavy_crop_and_too_many_buds_are_reported_and_nothing_is_applied(winters: tuple[Path, Path], tmp_path: Path):
    before = (winters[1] / "summary.json").read_bytes()
    vines = summary_of(winters[1])["vines"]
    harvest, left = tmp_path / "harvest.csv", tmp_path / "left.csv"
    harvest.write_text(f"block,season,yield_kg\nA,2026,{10 * vines}\n", "utf-8")
    left.write_text("block,zone,buds_asked,buds_left\nA,1,40,60\n", "utf-8")
    done = run("seasons", *winters, "--out", tmp_path / "out", "--harvest", harvest, "--left", left)
    assert done.exit_code == 0, done.output
    found = summary_of(tmp_path / "out")
    whole = found["zones"][-1]
    assert whole["crop_load"] == pytest.approx(10 * vines / whole["vines"] / whole["size_later_kg"])
    assert "more than a tenth too many" in " ".join(found["thoughts"]["1"])
    assert "one step fewer" in found["thoughts"]["1"][-1]
    assert (winters[1] / "summary.json").read_bytes() == before


def test_the_crop_that_came_is_held_against_the_one_expected(winters: tuple[Path, Path], tmp_path: Path):
    earlier = tmp_path / "expected"
    shutil.copytree(winters[0], earlier)
    summary = json.loads((earlier / "summary.json").read_text("utf-8"))
    summary["blocks"]["A"]["crop"] = {"block_total_kg": [900.0, 1000.0, 1100.0]}
    (earlier / "summary.json").write_text(json.dumps(summary), "utf-8")
    for yield_kg, word in ((1050, "is within the range"), (1500, "is outside the range")):
        harvest = tmp_path / "harvest.csv"
        harvest.write_text(f"block,season,yield_kg\nA,2026,{yield_kg}\n", "utf-8")
        done = run("seasons", earlier, winters[1], "--out", tmp_path / "out", "--harvest", harvest, "--force")
        assert done.exit_code == 0, done.output
        assert word in done.output


@pytest.mark.parametrize("language", languages())
def test_every_language_tells_all(winters: tuple[Path, Path], tmp_path: Path, language: str):
    done = run("seasons", *winters, "--out", tmp_path / "out", "--lang", language, "--units", "metric", "--paper", "a4")
    assert done.exit_code == 0, done.output
    page = (tmp_path / "out" / "seasons.html").read_text("utf-8")
    assert f'<html lang="{language}"' in page
    assert "<script" not in page


def test_one_winter_twice_or_none_is_reported_and_nothing_is_written(winters: tuple[Path, Path], tmp_path: Path):
    again = tmp_path / "again"
    shutil.copytree(winters[1], again)
    done = run("seasons", winters[1], again, "--out", tmp_path / "out")
    assert (done.exit_code, "as in another folder" in done.output) == (1, True)
    alone = run("seasons", winters[1], "--out", tmp_path / "out")
    assert (alone.exit_code, "no block has enough weights of two winters" in alone.output) == (1, True)
    empty = tmp_path / "empty"
    empty.mkdir()
    wrong = run("seasons", winters[0], empty, "--out", tmp_path / "out")
    assert (
        wrong.exit_code,
        "there is no summary.json" in wrong.output,
        "there is no prescription.gpkg" in wrong.output,
    ) == (1, True, True)
    assert not (tmp_path / "out").exists()


def test_results_serve_for_replanting_and_weakness_must_last(winters: tuple[Path, Path], tmp_path: Path):
    done = run("replant", winters[1], "--earlier", winters[0], "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "all 2 winters" in done.output


def test_yields_by_row_give_crop_load_by_row_and_the_block_is_not_taken_for_a_row(
    winters: tuple[Path, Path], tmp_path: Path
):
    rows = {"3": 300.0, "4": 60.0}
    lines = "".join(f"A,{row},2026,{value}\n" for row, value in rows.items())
    (tmp_path / "rows.csv").write_text(f"block,row,season,yield_kg\n{lines}", "utf-8")
    done = run("seasons", *winters, "--out", tmp_path / "out", "--harvest", tmp_path / "rows.csv")
    assert done.exit_code == 0, done.output
    found = {line["row"]: line for line in summary_of(tmp_path / "out")["rows"]}
    for row, value in rows.items():
        line = found[row]
        # Yield over prunings, and its range from that of the size: nine times in ten, 1.6449 standard errors.
        each, size, error = value / line["vines"], line["size_later_kg"], 1.6448536 * line["size_later_se_kg"]
        expected = (each / (size + error), each / size, each / (size - error))
        assert (line["crop_load_low"], line["crop_load"], line["crop_load_high"]) == pytest.approx(expected, rel=1e-6)
    assert found["5"]["crop_load"] is None
    assert summary_of(tmp_path / "out")["zones"][-1]["yield_kg"] is None
    layer = gpd.read_file(tmp_path / "out" / "seasons.gpkg", layer="panel_change")
    assert set(layer.loc[layer["row"].isin(rows), "load_of"]) == {"row"}
    page = (tmp_path / "out" / "seasons.html").read_text("utf-8")
    assert "figure svg { max-width: 100%" in page  # a picture is no wider than a phone
    assert "nothing is judged" in page  # Concord: no range is published for juice grapes
    table = pd.read_csv(tmp_path / "out" / "rows.csv")
    assert table["row"].astype(str).tolist() == [str(row) for row in sorted(table["row"])]


def test_a_row_that_there_is_not_is_told_and_nothing_is_written(winters: tuple[Path, Path], tmp_path: Path):
    (tmp_path / "rows.csv").write_text("block,row,zone,season,yield_kg\nA,99,,2026,300\nA,3,,2026,300\n", "utf-8")
    done = run("seasons", *winters, "--out", tmp_path / "out", "--harvest", tmp_path / "rows.csv")
    assert done.exit_code == 1
    assert "row '99'" in done.output
    (tmp_path / "rows.csv").write_text("block,row,zone,season,yield_kg\nA,3,1,2026,300\n", "utf-8")
    done = run("seasons", *winters, "--out", tmp_path / "out", "--harvest", tmp_path / "rows.csv")
    assert "a zone and a row stand in one line" in done.output
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("low", "value", "high", "name"),
    [(10.1, 12.0, 14.0, "above"), (2.0, 3.0, 3.9, "below"), (4.1, 6.0, 9.9, "within"), (3.0, 5.0, 9.0, "unsure")],
)
def test_a_load_is_called_only_where_its_whole_range_lies_there(low: float, value: float, high: float, name: str):
    # 4 to 10: Kliewer & Dokoozlian 2005, single canopies of winegrapes
    assert load_class({"crop_load_low": low, "crop_load": value, "crop_load_high": high}) == name


def test_earlier_winters_come_from_one_file_or_a_folder_with_the_same_map(winters: tuple[Path, Path], tmp_path: Path):
    folder = winters[0].parent
    both = pd.concat([pd.read_csv(folder / f"w{year}.csv") for year in (2026, 2027)])
    both.to_csv(tmp_path / "both.csv", index=False)
    routes = {
        "folder": ("--samples", folder / "w2027.csv", "--earlier", winters[0]),
        "file": ("--samples", tmp_path / "both.csv"),
    }
    found = {}
    for name, route in routes.items():
        done = run("prescribe", folder / "v.gpkg", *route, "--out", tmp_path / name)
        assert done.exit_code == 0, done.output
        assert "Weights of earlier winters help it as far as the pattern lasts" in done.output
        found[name] = gpd.read_file(tmp_path / name / "prescription.gpkg", layer="panels")
    close = {"rel": 1e-6}
    for column in ("vine_size_kg", "vine_size_se_kg"):
        assert found["folder"][column].to_numpy() == pytest.approx(found["file"][column].to_numpy(), **close)
    model = summary_of(tmp_path / "folder")["model"]
    assert model["seasons"] == [2026, 2027]
    assert 0.0 < model["earlier_winters_lower_error"]["2026"] < 0.5  # the pattern lasts here, and no map gets twice as sure
    alone = gpd.read_file(winters[1] / "prescription.gpkg", layer="panels")
    assert found["folder"]["vine_size_se_kg"].mean() < alone["vine_size_se_kg"].mean()


@pytest.mark.parametrize(
    ("year", "message"),
    [
        ("2026", r"2027, layer samples: its newest weights are of 2027, no earlier than this winter's"),
        ("", r"w\.csv, layer samples: weights without a season: .*, and earlier winters are given"),
    ],
)
def test_what_is_no_earlier_winter_is_refused(winters: tuple[Path, Path], tmp_path: Path, year: str, message: str):
    folder = winters[0].parent
    pd.read_csv(folder / "w2026.csv").assign(season=year).to_csv(tmp_path / "w.csv", index=False)
    command = ("prescribe", folder / "v.gpkg", "--samples", tmp_path / "w.csv", "--out", tmp_path / "out")
    done = run(*command, "--earlier", winters[1])
    assert done.exit_code == 1
    assert re.search(message, done.output), done.output
    assert not (tmp_path / "out").exists()


def test_a_vine_that_was_small_in_an_earlier_winter_alone_is_not_renewed(winters: tuple[Path, Path], tmp_path: Path):
    folder = winters[0].parent
    now = pd.read_csv(folder / "w2027.csv")
    small = now.iloc[[0]].assign(season=2026, pruning_weight_lb=0.1, vine=lambda table: table["vine"] % 19 + 1)
    other = pd.read_csv(folder / "w2026.csv").iloc[:5]
    pd.concat([now, small, other]).to_csv(tmp_path / "w.csv", index=False)
    done = run("prescribe", folder / "v.gpkg", "--samples", tmp_path / "w.csv", "--out", tmp_path / "out", "--quiet")
    assert done.exit_code == 0, done.output
    vines = gpd.read_file(tmp_path / "out" / "prescription.gpkg", layer="vines")
    here = (vines["row"].astype(str) == str(small["row"].iloc[0])) & (vines["vine"] == small["vine"].iloc[0])
    assert list(vines.loc[here, "treatment"]) == ["number"]


def test_a_yield_of_a_row_that_is_not_there_is_told_with_its_line(winters: tuple[Path, Path], tmp_path: Path):
    harvest = tmp_path / "harvest.csv"
    harvest.write_text("block,row,season,yield_kg\nA,1,2026,90\nA,R99,2026,90\na,2,2026,90\n", "utf-8")
    done = run("seasons", *winters, "--out", tmp_path / "out", "--harvest", harvest)
    assert done.exit_code == 1
    assert "harvest.csv, layer harvest, line 3: block 'A' has no row 'R99'" in done.output
    assert "line 2" not in done.output
    assert "line 4" not in done.output


def test_each_row_has_the_crop_expected_of_it_beside_the_one_that_came(winters: tuple[Path, Path], tmp_path: Path):
    """Crops of 2, 3 and 4 kg a vine were expected in every zone, and 1, 2 and 5 are now: sums by hand."""
    folders = []
    for folder, each in zip(winters, ([2.0, 3.0, 4.0], [1.0, 2.0, 5.0]), strict=True):
        folders.append(tmp_path / folder.name)
        shutil.copytree(folder, folders[-1])
        summary = json.loads((folders[-1] / "summary.json").read_text("utf-8"))
        summary["blocks"]["A"]["crop"] = {"kg_per_vine": [each] * 4}
        (folders[-1] / "summary.json").write_text(json.dumps(summary), "utf-8")
    harvest = tmp_path / "harvest.csv"
    harvest.write_text("block,row,season,yield_kg\nA,2,2026,61\n", "utf-8")
    done = run("seasons", *folders, "--out", tmp_path / "out", "--harvest", harvest, "--units", "metric")
    assert done.exit_code == 0, done.output
    rows = pd.read_csv(tmp_path / "out" / "rows.csv").astype({"row": str}).set_index("row")
    vines = rows["vines"].to_numpy(dtype=float)
    for name, each in (
        ("expected_low", 2),
        ("expected_mean", 3),
        ("expected_high", 4),
        ("coming_low", 1),
        ("coming_high", 5),
    ):
        assert rows[f"{name}_kg"].to_numpy() == pytest.approx(each * vines)
    assert rows.loc["2", "yield_kg"] == 61
    page = (tmp_path / "out" / "seasons.html").read_text("utf-8")
    assert "Crop by row" in page
    assert page.count('fill="#ffffff"') == 1  # one box: the one crop that came


def test_without_expected_crops_nothing_is_said_of_rows(winters: tuple[Path, Path], tmp_path: Path):
    done = run("seasons", *winters, "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "Crop by row" not in (tmp_path / "out" / "seasons.html").read_text("utf-8")
