"""The commands from folder to files: drawn, filled in, judged; hours; what is wrong is told and nothing is written."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result
from shapely import LineString, Point, box

from geoprune.cli.audit import audit
from geoprune.errors import DataError
from geoprune.reading import read_counts, read_left, read_results, read_ticks
from geoprune.words import languages, word_lists

SIZE = {"vine_size_kg": 1.0, "vine_size_se_kg": 0.3}
HOSTILE = "=cmd|' /C calc'!A0<script>alert(1)</script>"


@pytest.fixture(scope="module")
def results(tmp_path_factory) -> Path:
    """What prescribe leaves, as far as the check reads it: two blocks, one with a hostile name, to-and-fro rows."""
    folder = tmp_path_factory.mktemp("results") / "out"
    folder.mkdir()
    vines, runs, rows, panels = [], [], [], []
    for east, block in enumerate(("Alt", HOSTILE)):
        for row in range(8):
            x, order = 620_000.0 + 100 * east + 3 * row, [(1, 15, 1, 30), (16, 30, 2, 50)]
            rows.append({"block": block, "row": f"R{row}", "order": row + 1})
            rows[-1]["geometry"] = LineString([(x, 4_690_000.0), (x, 4_690_060.0)])
            for first, last, zone, buds in order:
                here = {"block": block, "row": f"R{row}", "zone": zone}
                panels.append(here | {"panel": zone, "first_vine": first, "last_vine": last, "vines": 15} | SIZE)
                panels[-1]["geometry"] = LineString([(x, 4_690_000.0 + 2 * first), (x, 4_690_000.0 + 2 * last)])
                for vine in range(first, last + 1):
                    treatment = "renew" if vine == 3 else "number"
                    vines.append(here | {"vine": vine, "status": "bearing", "treatment": treatment, "panel": zone} | SIZE)
                    vines[-1]["buds_per_vine"] = 0.0 if vine == 3 else float(buds)
                    vines[-1]["geometry"] = Point(x, 4_690_000.0 + 2 * vine)
            for first, last, zone, buds in order if row % 2 == 0 else [(b, a, z, n) for a, b, z, n in order[::-1]]:
                runs.append({"block": block, "row": f"R{row}", "stop": len(runs) + 1, "zone": zone, "vines": 15})
                runs[-1] |= {"first_vine": first, "last_vine": last, "bands": zone, "buds_per_vine": buds}
    names = [{"block": block} for block in ("Alt", HOSTILE)]
    ground = {"geometry": box(620_000, 4_690_000, 620_200, 4_690_060)}
    weighed = {"row": "R1", "vine": 2, "vine_weight_kg": 1.0, "vines_weighed": 1, "season": 2027, "used": True}
    zone = {"zone": 1, "vines": 240, "area_ha": 1.0, "buds_per_vine": 30, "no_number": ""} | SIZE
    tables = {"vines": vines, "rows": rows, "panels": panels}
    tables |= {"runs": [run | {"geometry": Point(0, 0)} for run in runs]}
    tables |= {"blocks": [name | ground | {"training": "flat cane"} for name in names]}
    tables |= {"samples": [name | weighed | {"geometry": Point(620_003, 4_690_004)} for name in names]}
    tables |= {"zones": [name | ground | zone | {"zone": number} for name in names for number in (1, 2)]}
    for layer, table in tables.items():
        gpd.GeoDataFrame(table, crs="EPSG:32617").to_file(folder / "prescription.gpkg", layer=layer)
    summary = {"made": "2027-01-14T08:00:00+00:00", "inputs": [{"name": "estate.gpkg", "sha256": "0"}]}
    summary |= {"blocks": {name["block"]: {"settings": {}} for name in names}}
    (folder / "summary.json").write_text(json.dumps(summary), "utf-8")
    return folder


def run(*arguments: object) -> Result:
    return CliRunner().invoke(audit, [str(argument) for argument in arguments])


def filled(results: Path, folder: Path, *, bad: str = "") -> Path:
    """The drawn list as someone fills it in; `bad` leaves eight buds too many."""
    assert run("plan", results, "--out", folder / "recount").exit_code == 0
    table = pd.read_csv(folder / "recount" / "recount.csv", dtype={"row": str})
    asked = np.where(table["vine"] <= 15, 30, 50)
    worker = np.where(table["row"].isin(["R0", "R3", "R6"]), "Eva", "=Ben")
    table = table.assign(worker=worker, buds_left=asked + np.where(worker == bad, 8, 0))
    table.to_csv(folder / "counts.csv", index=False)
    return folder / "counts.csv"


def test_drawn_filled_in_and_judged(results: Path, tmp_path: Path) -> None:
    counts = filled(results, tmp_path, bad="Eva")
    said = run("read", results, counts, "--out", tmp_path / "check")
    assert said.exit_code == 0, said.output
    files = {p.relative_to(tmp_path / "check").as_posix() for p in (tmp_path / "check").rglob("*") if p.is_file()}
    assert files == {
        *("report.html", "rows_to_redo.csv", "left.csv", "checked.csv", "summary.json"),
        "manager_only/workers.csv",
    }
    redo = pd.read_csv(tmp_path / "check" / "rows_to_redo.csv")
    assert set(redo["row"]) == {"R0", "R3", "R6"}
    assert set(redo["todo"]) == {"redo"}
    left = read_left(tmp_path / "check" / "left.csv", ["Alt", HOSTILE])
    assert left.loc[left["block"] == "Alt", "zone"].tolist() == [1, 2]
    workers = pd.read_csv(tmp_path / "check" / "manager_only" / "workers.csv")
    assert workers.groupby("worker")["accepted"].all().to_dict() == {"'=Ben": True, "Eva": False}
    again = run("read", results, counts, "--out", tmp_path / "check")
    assert (again.exit_code, "exists already" in again.output) == (1, True)
    assert run("read", results, counts, "--out", tmp_path / "check", "--force").exit_code == 0


def test_columns_of_other_names_are_read_as_the_settings_say(results: Path, tmp_path: Path) -> None:
    table = pd.read_csv(filled(results, tmp_path), dtype={"row": str})
    table.rename(columns={"buds_left": "Yemas", "row": "Hilera"}).to_csv(tmp_path / "own.csv", index=False)
    settings = tmp_path / "own.toml"
    settings.write_text('[columns.counts]\nbuds_left = "Yemas"\nrow = "Hilera"\n', "utf-8")
    done = run("read", results, tmp_path / "own.csv", "--out", tmp_path / "own", "--settings", settings)
    assert done.exit_code == 0, done.output
    plain = run("read", results, tmp_path / "counts.csv", "--out", tmp_path / "plain", "--settings", settings)
    assert plain.exit_code == 0, plain.output  # a file with our own names is read as it is
    assert (tmp_path / "own" / "checked.csv").read_bytes() == (tmp_path / "plain" / "checked.csv").read_bytes()
    ticks = tmp_path / "ticks.csv"
    ticks.write_text("block,Hilera,Horas\nAlt,R1,2\n", "utf-8")
    settings.write_text('[columns.ticks]\nrow = "Hilera"\nhours = "Horas"\n', "utf-8")
    assert run("hours", results, ticks, "--settings", settings).exit_code == 0
    settings.write_text('[columns.counts]\nbuds = "Yemas"\nrow = "Fila"\n', "utf-8")
    done = run("read", results, tmp_path / "own.csv", "--out", tmp_path / "wrong", "--settings", settings)
    assert done.exit_code == 1
    assert "name a column buds, which is not read" in done.output
    assert "there is no column 'Fila' for row" in done.output
    assert not (tmp_path / "wrong").exists()


def test_names_of_people_stay_with_the_manager(results: Path, tmp_path: Path) -> None:
    said = run("read", results, filled(results, tmp_path, bad="Eva"), "--out", tmp_path / "check")
    outside = [p for p in (tmp_path / "check").rglob("*") if p.is_file() and p.parent.name != "manager_only"]
    assert all("Eva" not in p.read_text("utf-8") and "Ben" not in p.read_text("utf-8") for p in outside)
    assert "Eva" not in said.output


def test_no_text_of_a_file_becomes_a_formula_or_markup(results: Path, tmp_path: Path) -> None:
    assert run("read", results, filled(results, tmp_path), "--out", tmp_path / "check").exit_code == 0
    for page in (tmp_path / "check" / "report.html", tmp_path / "recount" / "recount.html"):
        text = page.read_text("utf-8")
        assert "<script" not in text
    for path in tmp_path.rglob("*/*.csv"):
        with path.open(encoding="utf-8", newline="") as handle:
            cells = [cell for line in csv.reader(handle) for cell in line]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]


def test_the_plan_comes_as_a_page_for_the_phone_in_the_same_order_and_the_same_book(results: Path, tmp_path: Path) -> None:
    done = run("plan", results, "--out", tmp_path / "recount")
    assert done.exit_code == 0, done.output
    pages = sorted((tmp_path / "recount").glob("*/field.html"))
    table = pd.read_csv(tmp_path / "recount" / "recount.csv", dtype={"row": str})
    blocks = {}
    for page in pages:
        text = page.read_text("utf-8")
        assert HOSTILE not in text  # escaped wherever it stands
        data = json.loads(text.split('<script type="application/json" id="field">')[1].split("</script>")[0])
        blocks[data["name"]] = data
    assert set(blocks) == {"Alt", HOSTILE}
    for name, data in blocks.items():
        listed = [(stop["row"], stop["vine"]) for stop in data["check"]]
        # A block named like a formula stands in the table behind an apostrophe.
        here = table[table["block"].str.lstrip("'") == name]
        assert listed == list(zip(here["row"], here["vine"], strict=True))
        assert data["book"] == f"estate\n{name}\n2027"  # that of the page among the results: January 2027, north
        assert data["rows"][0]["apart"] == {"renew": [3]}
        assert not data["weigh"]


def test_the_printed_list_hides_the_number_and_speaks_every_language(results: Path, tmp_path: Path) -> None:
    for language in languages():
        assert run("plan", results, "--out", tmp_path / language, "--lang", language).exit_code == 0
        page = (tmp_path / language / "recount.html").read_text("utf-8")
        assert word_lists()[language]["audit"]["list_how"] in page
        table = pd.read_csv(tmp_path / language / "recount.csv")
        assert "buds_per_vine" not in table
        assert table["buds_left"].isna().all()
        assert 3 not in set(table["vine"])  # it is not pruned to a number


def test_json_alone_on_stdout(results: Path, tmp_path: Path) -> None:
    counts = filled(results, tmp_path)
    said = json.loads(run("read", results, counts, "--out", tmp_path / "check", "--json").stdout)
    assert all(lot["accepted"] for lot in said["lots"])
    assert said["redo"] == []
    ticks = tmp_path / "ticks.csv"
    ticks.write_text("block,row,started,finished\nAlt,R0,2027-01-12 08:00,2027-01-12 09:30\n", encoding="utf-8")
    zones = json.loads(run("hours", results, ticks, "--json", "--cost-per-hour", "20").stdout)
    assert zones[0]["minutes_per_vine"] == pytest.approx(3.0)
    assert zones[0]["minutes_low"] is None


@pytest.mark.parametrize("language", languages())
def test_hours_are_reported(results: Path, tmp_path: Path, language: str) -> None:
    ticks = tmp_path / "ticks.csv"
    lines = [f"Alt,R{row},1.5,Ana,{'no' if row == 5 else 'yes'}" for row in range(6)] + ["Alt,R6,,Ana,yes"]
    ticks.write_text("\n".join(["block,row,hours,worker,done", *lines]), encoding="utf-8")
    said = run("hours", results, ticks, "--lang", language, "--out", tmp_path / "hours")
    assert said.exit_code == 0, said.output
    assert "Ana" not in said.output
    assert "1.5" in said.output or "1,5" in said.output  # hours of the row that is not finished
    assert (tmp_path / "hours" / "manager_only" / "workers.csv").exists()


def test_every_fault_of_the_counts_is_reported_at_once_and_nothing_is_written(results: Path, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.csv"
    wrong.write_text(
        "block,row,vine,buds_left\nAlt,R0,1,thirty\nAlt,R99,1,30\nAlt,R1,77,30\nNope,R1,1,30\n", encoding="utf-8"
    )
    said = run("read", results, wrong, "--out", tmp_path / "check")
    assert said.exit_code == 1
    for fault in (
        "line 2: buds_left 'thirty' is not a number",
        "no row 'R99'",
        "row 'R1' has no vine 77",
        "unknown block 'Nope'",
    ):
        assert fault in said.output
    assert not (tmp_path / "check").exists()


@pytest.mark.parametrize(
    ("table", "fault"),
    [
        ("row,hours\nR0,1\n", "block is missing"),
        ("block,row\nAlt,R0\n", "there are no hours"),
        ("block,row,hours,started,finished\nAlt,R0,1,2027-01-12 08:00,2027-01-12 09:00\n", "beside started and finished"),
        ("block,row,started,finished\nAlt,R0,2027-01-12 08:00,2027-01-12 07:00\n", "not finished after it was started"),
        ("block,row,started,finished\nAlt,R0,yesterday,2027-01-12 07:00\n", "is no day and hour"),
        ("block,row,hours,done\nAlt,R0,1,perhaps\n", "done 'perhaps' is not known"),
        ("block,row,hours\nAlt,R0,-1\n", "is not possible"),
        ("block,row,hours\n", "no line below"),
        ("block,row,hours\nAlt,R0,\n", "no line gives its hours"),
    ],
)
def test_faults_of_ticks(results: Path, tmp_path: Path, table: str, fault: str) -> None:
    ticks = tmp_path / "ticks.csv"
    ticks.write_text(table, encoding="utf-8")
    with pytest.raises(DataError, match=fault):
        read_ticks([ticks], read_results(results))


def test_lists_of_several_people_are_read_together_and_blank_lines_counted(results: Path, tmp_path: Path) -> None:
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    one.write_text("block;row;vine;buds_left;worker\nalt;r0;1;30;Ana\nalt;r0;2;;\n", encoding="utf-8")
    two.write_text("block,row,vine,buds_left\nAlt,R0,1,34\n", encoding="utf-8")
    said = read_counts([one, two], read_results(results))
    assert said["buds_left"].tolist() == [30, 34]
    assert said["row"].tolist() == ["R0", "R0"]
    assert said.attrs["blank"] == 1
    answer = run("read", results, one, two, "--out", tmp_path / "check")
    assert "without a count, left out: 1" in answer.output
    assert "counted more than once, taken at their mean: 1" in answer.output


@pytest.mark.parametrize("command", ["plan", "read", "hours"])
def test_every_option_is_documented(command: str) -> None:
    page = (Path(__file__).parents[2] / "docs" / "command-line.md").read_text("utf-8")
    said = next(part for part in page.split("`geoprune audit ")[1:] if part.startswith(command) and "takes" in part)
    options = {option.opts[-1] for option in audit.commands[command].params if option.param_type_name == "option"}
    assert all(f"`{option}`" in said.split("`geoprune")[0] for option in options | {"--force"})


def test_a_folder_that_is_no_result_is_said(tmp_path: Path, results: Path) -> None:
    said = run("plan", tmp_path, "--out", tmp_path / "x")
    assert (said.exit_code, "there is no prescription.gpkg" in said.output) == (1, True)
    (tmp_path / "prescription.gpkg").write_text("nothing")
    said = run("plan", tmp_path, "--out", tmp_path / "x")
    assert (said.exit_code, "is not what its ending .gpkg says" in said.output) == (1, True)
    said = run("plan", results, "--out", tmp_path / "x", "--limit", "10", "--redo-from", "5%")
    assert (said.exit_code, "does not lie above the limit" in said.output) == (1, True)
