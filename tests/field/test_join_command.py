"""`geoprune join`: lists of several phones become one, whatever the order; what stands twice is shown, nothing is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from test_field_log import LOGS

from geoprune.cli import main
from geoprune.deliver.field import Entry, FieldLog, list_of, live_entries, merge_entries, read_field_log
from geoprune.deliver.joining import tables_of


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def entry(name: str, vine: int | None, *, phone: str = "p", job: str = "weigh", seq: int = 1, **values: object) -> Entry:
    return Entry(name, seq, phone, "2026-12-03T09:00-05:00", phone.upper(), job, "1", vine, values)


def exported(folder: Path, name: str, *entries: Entry, block: str = "A", season: int = 2027, estate: str = "e") -> Path:
    path = folder / name
    path.write_text(json.dumps(list_of(FieldLog(block, season, estate, entries))), "utf-8")
    return path


def phones(folder: Path) -> list[Path]:
    """Two people in block A who both weighed vine 4, one in block B, a row ticked and a vine counted again."""
    mine = (entry("a1", 4, weight=2.0, unit="lb"), entry("a2", 5, weight=1.0, unit="kg"), entry("a3", 7, left_out="dead"))
    other = (
        entry("b1", 4, phone="q", weight=2.4, unit="lb"),
        entry("b2", None, phone="q", job="prune", done=True, hours=2.5),
    )
    third = (entry("c1", 2, phone="r", job="check", buds_left=40, worker="JM"),)
    names = exported(folder, "1.json", *mine), exported(folder, "2.json", *other)
    return [*names, exported(folder, "3.json", *third, block="B")]


def test_two_peoples_weights_of_one_vine_both_stand_and_are_shown(tmp_path: Path):
    done = run("join", *phones(tmp_path), "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "A, row 1, vine 4" in done.output
    weights = pd.read_csv(tmp_path / "out" / "weights.csv")
    # 1 kg is 2.20462 lb (international pound, 1959).
    assert sorted(weights["pruning_weight_lb"]) == [2.0, pytest.approx(2.20462, abs=1e-4), 2.4]
    twice = pd.read_csv(tmp_path / "out" / "twice.csv")
    assert sorted(zip(twice["by"], twice["value"], strict=True)) == [("P", 2.0), ("Q", 2.4)]
    assert pd.read_csv(tmp_path / "out" / "not_weighed.csv")["left_out"].tolist() == ["dead"]
    assert pd.read_csv(tmp_path / "out" / "ticks.csv")["hours"].tolist() == [2.5]
    assert pd.read_csv(tmp_path / "out" / "counts.csv")[["block", "buds_left"]].to_numpy().tolist() == [["B", 40]]


def test_order_and_repetition_of_the_files_make_no_difference_and_the_joined_list_joins_again(tmp_path: Path):
    one, two, three = phones(tmp_path)
    run("join", one, two, three, "--out", tmp_path / "x")
    run("join", three, two, one, two, tmp_path / "x" / "a_field_2027.json", "--out", tmp_path / "y")
    for name in ("a_field_2027.json", "b_field_2027.json"):
        assert (tmp_path / "x" / name).read_bytes() == (tmp_path / "y" / name).read_bytes()
    tables = [pd.read_csv(tmp_path / out / "weights.csv").sort_values(["block", "row", "vine"]) for out in "xy"]
    assert tables[0].reset_index(drop=True).equals(tables[1].reset_index(drop=True))


@settings(max_examples=40, deadline=None)
@given(LOGS, LOGS)
def test_every_entry_that_holds_stands_in_a_table(tmp_path_factory, a: list[Entry], b: list[Entry]):
    log = FieldLog("A", 2027, "e", merge_entries(a, b))
    tables = tables_of([log])
    lines = sum(len(tables.get(f"{name}.csv", ())) for name in ("weights", "not_weighed"))
    assert lines == len(live_entries(log.entries))
    path = exported(tmp_path_factory.mktemp("log"), "l.json", *log.entries)
    assert read_field_log(path) == log


def test_faults_of_all_files_are_told_at_once_and_nothing_is_written(tmp_path: Path):
    (tmp_path / "no.json").write_text("{", "utf-8")
    wrong = exported(tmp_path, "wrong.json", entry("a1", 4, weight=-1, unit="stone"))
    done = run("join", tmp_path / "no.json", wrong, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "no.json" in done.output
    assert "wrong.json" in done.output
    assert not (tmp_path / "out").exists()


def test_lists_of_two_estates_are_not_mixed(tmp_path: Path):
    files = exported(tmp_path, "1.json"), exported(tmp_path, "2.json", estate="other")
    done = run("join", *files, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "e (1.json), other (2.json)" in done.output


def test_spanish_is_told_in_spanish(tmp_path: Path):
    done = run("join", *phones(tmp_path), "--out", tmp_path / "out", "--lang", "es", "--units", "metric")
    assert "hilera 1, cepa 4" in done.output
    assert "pruning_weight_kg" in (tmp_path / "out" / "weights.csv").read_text("utf-8")
