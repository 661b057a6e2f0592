"""The command from file to file: what is told, what is written, what is refused."""

import csv
import json

import pandas as pd
import pytest
from click.testing import CliRunner
from small_estate import right_list, write_estate

from geoprune import read_vineyard
from geoprune.cli import main
from geoprune.errors import Message
from geoprune.jobs.weigh_in import finding_message, look_at_weights
from geoprune.settings import Files, Settings, read_settings
from geoprune.weighin import Finding
from geoprune.words import say


@pytest.fixture(scope="module")
def estate(tmp_path_factory):
    return write_estate(tmp_path_factory.mktemp("estate"))


@pytest.fixture
def wrong(tmp_path):
    """Ounces on line 5, row and vine exchanged on line 9, a copy on line 32, a vine that there is not on line 33."""
    table = right_list()
    table.loc[3, "pruning_weight_lb"] = f"{16 * float(table.loc[3, 'pruning_weight_lb']):.0f}"
    row, vine = table.loc[7, "row"], table.loc[7, "vine"]
    table.loc[7, "row"], table.loc[7, "vine"] = str(vine), int(row)
    table.loc[12, "note"] = "=1+1"
    ghost = table.iloc[[0]].assign(row="3", vine=77)
    table = pd.concat([table, table.iloc[[20]], ghost], ignore_index=True)
    path = tmp_path / "weights.csv"
    table.to_csv(path, index=False)
    return path


def run(*words):
    return CliRunner().invoke(main, ["weigh-in", *map(str, words)])


def test_a_right_list_is_sound(estate, tmp_path):
    path = tmp_path / "weights.csv"
    right_list().to_csv(path, index=False)
    said = run(estate, "--samples", path)
    assert said.exit_code == 0, said.output
    assert "30 weights checked: none looks wrong." in said.output


def test_what_is_wrong_is_reported_and_the_list_is_left(estate, wrong):
    before = wrong.read_bytes()
    said = run(estate, "--samples", wrong, "--json")
    assert said.exit_code == 1
    found = {(f["kind"], f["lines"][0]) for f in json.loads(said.stdout)["findings"] if f["kind"] != "odd"}
    assert {("swapped", 9), ("twice", 32), ("place", 33)} <= found
    assert any(line == 5 and kind in ("unit", "decimal", "transposed") for kind, line in found)
    assert wrong.read_bytes() == before
    spoken = run(estate, "--samples", wrong, "--lang", "es", "--units", "metric")
    assert spoken.exit_code == 1
    assert "están probablemente cambiadas la hilera y la cepa" in spoken.output


def test_an_accepted_copy_reads_straight_into_a_plan(estate, wrong, tmp_path):
    out = tmp_path / "corrected.csv"
    said = run(estate, "--samples", wrong, "--accept", "all", "--out", out)
    assert said.exit_code == 1  # one line names no vine, and no change is known for it
    log = pd.read_csv(tmp_path / "corrected_changes.csv")
    assert set(log["line"]) >= {5, 9, 32}
    assert list(log.columns) == ["line", "block", "row", "vine", "column", "before", "after", "cause", "odds"]
    with out.open(newline="", encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == 31
    assert lines[12]["note"] == "'=1+1"  # computes nothing in a spreadsheet
    plain = pd.read_csv(out, dtype=str)
    plain[plain["vine"] != "77"].to_csv(tmp_path / "mended.csv", index=False)
    read = read_vineyard(estate, samples=tmp_path / "mended.csv")
    assert len(read.samples) == 30
    right = right_list()
    assert read.samples["row"].iloc[7] == right.loc[7, "row"]
    assert int(read.samples["vine"].iloc[7]) == right.loc[7, "vine"]
    again = run(estate, "--samples", tmp_path / "mended.csv")
    assert again.exit_code == 0, again.output


KINDS = (
    "unit",
    "decimal",
    "transposed",
    "doubled",
    "misread",
    "together",
    "swapped",
    "list",
    "run",
    "twice",
    "twice_unlike",
)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("kind", [*KINDS, "place", "odd"])
def test_every_finding_can_be_reported(looked_at, kind, language):
    meant = {"decimal": "1.8", "transposed": "1.8", "doubled": "1.8", "misread": "1.8", "together": "3"}
    finding = Finding((0, 1, 2), kind, 12.3, meant.get(kind, "oz"), 0.0625, 0.5, 1.5, (("unit", "oz"),))
    said = say(finding_message(looked_at, finding), language, "us")
    assert "line 2" in said or kind == "list"
    if kind not in ("place", "twice_unlike"):
        assert "12" in said
    assert say(Message(f"weighin.further_{kind}", {"meant_as": "oz"}), language, "us") if kind in KINDS[:7] else True


@pytest.fixture(scope="module")
def looked_at(estate, tmp_path_factory):
    path = tmp_path_factory.mktemp("list") / "weights.csv"
    right_list().to_csv(path, index=False)
    return look_at_weights(estate, Settings(files=Files(samples=path)))


def test_only_the_lines_named_are_changed(estate, wrong, tmp_path):
    out = tmp_path / "corrected.csv"
    run(estate, "--samples", wrong, "--accept", "9", "--out", out)
    before, after = pd.read_csv(wrong, dtype=str), pd.read_csv(out, dtype=str)
    assert len(after) == len(before)
    differ = (before.drop(columns="note") != after.drop(columns="note")).any(axis=1)
    assert differ[differ].index.tolist() == [7]


@pytest.mark.parametrize(
    ("words", "code", "shown"),
    [
        (["--accept", "2", "--out", "c.csv"], 1, "nothing proposed for it"),
        (["--accept", "all"], 2, "go together"),
        (["--accept", "x", "--out", "c.csv"], 2, "numbers of lines"),
        (["--accept", "9", "--out", "c.xlsx"], 1, ".csv"),
        (["--accept", "9", "--out", "nowhere/c.csv"], 1, "folder does not exist"),
    ],
)
def test_what_cannot_be_accepted_is_refused(estate, wrong, tmp_path, monkeypatch, words, code, shown):
    monkeypatch.chdir(tmp_path)
    said = run(estate, "--samples", wrong, *words)
    assert said.exit_code == code
    assert shown in said.output
    assert [p.name for p in tmp_path.iterdir()] == ["weights.csv"]


def test_nothing_is_overwritten_unasked(estate, wrong, tmp_path):
    out = tmp_path / "corrected.csv"
    out.write_text("mine")
    said = run(estate, "--samples", wrong, "--accept", "9", "--out", out)
    assert said.exit_code == 1
    assert "exists already" in said.output
    assert out.read_text() == "mine"
    assert not (tmp_path / "corrected_changes.csv").exists()
    run(estate, "--samples", wrong, "--accept", "9", "--out", out, "--force")
    assert out.read_text() != "mine"
    said = run(estate, "--samples", wrong, "--accept", "9", "--out", wrong, "--force")
    assert said.exit_code == 1
    assert "is the list itself" in said.output


def test_workbooks_and_decimal_commas(estate, wrong, tmp_path):
    table = pd.read_csv(wrong)
    table.to_excel(tmp_path / "w.xlsx", index=False, engine="xlsxwriter")
    comma = tmp_path / "comma.csv"
    table.to_csv(comma, index=False, sep=";", decimal=",")
    out = tmp_path / "c.csv"
    for path in (comma, tmp_path / "w.xlsx"):
        run(estate, "--samples", path, "--accept", "9", "--out", out, "--force")
        copy = pd.read_csv(out)
        assert copy["pruning_weight_lb"].to_numpy() == pytest.approx(table["pruning_weight_lb"].to_numpy())
        assert copy["vine"].iloc[7] == int(table["row"].iloc[7])


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("row,vine,weight\n1,14,2\n", "pruning_weight"),
        ("row,vine,pruning_weight_lb\n1,14,heavy\n", "not a number"),
        ("", "empty"),
    ],
)
def test_a_list_that_cannot_be_read_is_one_message(estate, tmp_path, text, shown):
    path = tmp_path / "weights.csv"
    path.write_text(text)
    said = run(estate, "--samples", path)
    assert said.exit_code == 1
    assert shown in said.output
    assert "Traceback" not in said.output


def test_a_copy_reads_with_the_settings_of_the_list(tmp_path):
    estate = write_estate(tmp_path)
    table = right_list()
    table.loc[3, "pruning_weight_lb"] = f"{16 * float(table.loc[3, 'pruning_weight_lb']):.0f}"
    table["pruning_weight_lb"] = [f'"{float(weight):.2f}"'.replace(".", ",") for weight in table["pruning_weight_lb"]]
    named = table.rename(columns={"row": "Hilera", "vine": "Cepa", "pruning_weight_lb": "Peso (lb)"})
    lines = [",".join(named.columns), *(",".join(map(str, line)) for line in named.to_numpy().tolist())]
    (tmp_path / "pesos.csv").write_text("\n".join(["Pesos de invierno", *lines]), "utf-8")
    (tmp_path / "geoprune.toml").write_text(
        '[files]\nsamples = "pesos.csv"\nheader_row = 2\ndecimal_mark = ","\n[pages]\nlanguage = "es"\n'
        '[columns.samples]\nrow = "Hilera"\nvine = "Cepa"\npruning_weight_lb = "Peso (lb)"\n',
        "utf-8",
    )
    said = run(estate)
    assert said.exit_code == 1, said.output
    assert "línea" in said.output or "probablemente" in said.output
    run(estate, "--accept", "all", "--out", tmp_path / "copia.csv")
    again = run(estate, "--samples", tmp_path / "copia.csv")
    assert again.exit_code == 0, again.output
    assert (tmp_path / "copia.csv").read_text("utf-8").splitlines()[1].split(",")[:3] == list(named.columns)[:3]
    settings = read_settings(tmp_path / "geoprune.toml")
    before = look_at_weights(estate, settings).weights.table["weight_kg"]
    after = look_at_weights(estate, settings.with_values({"samples": tmp_path / "copia.csv"})).weights.table["weight_kg"]
    assert (before.round(4) != after.round(4)).sum() == 1
