"""Bad input to rules, injury, harvest and spacing: one clear message each, code 1, nothing written."""

import os

import pytest
from click.testing import CliRunner
from small_jobs import checks, run, samples, square, write_job

from geoprune.cli import main


def refused(folder, done, *said):
    assert done.exit_code == 1, done.output
    for words in said:
        assert words in done.stderr, done.stderr
    assert "Traceback" not in done.stderr
    assert not (folder / "out").exists()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"rule": ""}, ("no pruning rule, and none is guessed", "rules that name Concord", "'american'")),
        ({"rule": "", "variety": "Concrod"}, ("no pruning rule", "Cultivars with names like it: Concord")),
        ({"rule": "", "variety": "Xyz"}, ("no pruning rule", "'french hybrids'")),
        ({"rule": "Concord"}, ("names a cultivar, not a rule", "'american'")),
        ({"rule": "amercan"}, ("unknown rule 'amercan'", "'american'")),
        ({"rule": "30+10/stone"}, ("stone",)),
        ({"training": "low cordn"}, ("low cordn", "low cordon")),
        ({"training": "four arm"}, ("four arm", "four-cane")),
        ({"vine_spacing_ft": -8.0}, ("vine_spacing_ft", "-8")),
        ({"vine_spacing_ft": 80.0}, ("vine_spacing_ft", "80")),
        ({"row_spacing_ft": 0.0}, ("row_spacing_ft",)),
    ],
)
def test_blocks(tmp_path, changed, said):
    refused(tmp_path, run(tmp_path, square(**changed), samples(spread=0)), *said)


@pytest.mark.parametrize(("dead", "cut"), [(101, 100), (-1, 100), (0, 0)])
def test_impossible_injury_counts(tmp_path, dead, cut):
    refused(tmp_path, run(tmp_path, square(), samples(spread=0), bud_checks=checks(dead, cut)), "bud_checks")


RULE = '[[rule]]\nid = "own"\nfirst = 25\nfurther = 10\n'
OWN = RULE + 'unit = "lb"\nsource = "me"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (RULE + 'unit = "lb"\n', "`source` is missing"),
        (RULE + 'source = "me"\n', "`unit` is missing"),
        (RULE + 'unit = "stone"\nsource = "me"\n', "`unit` is 'stone'"),
        ("rule = 3", "[[rule]]"),
        ("[[rule", "not valid TOML"),
        ("a = " + "[" * 20_000 + "]" * 20_000, "brackets nest too deep"),
        ("a = " + "9" * 5000, "not valid TOML"),
        (OWN.replace("25", "9" * 400), "`first` is 9999"),
        (OWN.replace("25", "0x" + "f" * 20_000), "`first` is a number of thousands of digits"),
        (OWN.replace("25", "nan"), "`first` is nan"),
        (OWN + "floor = " + "9" * 400, "`floor` is 9999"),
        (OWN.replace('"me"', "[1, 2]"), "`source` is [1, 2], not text"),
        (OWN.replace('"me"', "2020-01-01"), "`source` is datetime.date(2020, 1, 1), not text"),
        (OWN.replace('"own"', "7"), "`id` is 7, not text"),
        (OWN + "title = 5", "`title` is 5, not text"),
        (OWN.replace('"own"', r'"own\nA: prune in 9 zones"'), "`id` holds line breaks"),
        (OWN.replace('"own"', r'"own\u0001"'), "`id` holds line breaks or hidden characters"),
    ],
)
def test_rule_files(tmp_path, text, said):
    (tmp_path / "own.toml").write_text(text)
    refused(
        tmp_path, run(tmp_path, square(rule="own"), samples(spread=0), "--rules", tmp_path / "own.toml"), "own.toml", said
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("block,yield_lb\nB,9000\n", "unknown block 'B'"),
        ("block,yield\nA,9000\n", "yield_kg"),
        ("block,yield_lb\nA,-5\n", "yield_lb '-5' is not possible"),
        ("block,yield_lb,yield_kg\nA,5,5\n", "stands in two units (yield_kg, yield_lb)"),
        ("block,zone,yield_lb\nA,0,5\n", "zone '0' is not possible"),
        ("block,zone,yield_lb\nA,north,5\n", "zone 'north' is not a number"),
        ("", "the file is empty"),
    ],
)
def test_harvest(tmp_path, text, said):
    (tmp_path / "h.csv").write_text(text)
    refused(tmp_path, run(tmp_path, square(), samples(spread=0), "--harvest", tmp_path / "h.csv"), "h.csv", said)


def test_a_harvest_of_a_zone_that_is_not_drawn_is_left_out_and_told(tmp_path):
    (tmp_path / "h.csv").write_text("block,zone,yield_lb\nA,7,5\nA,1,9000\n")
    done = run(tmp_path, square(), samples(spread=0), "--harvest", tmp_path / "h.csv")
    assert done.exit_code == 0
    assert "The harvest names zone 7, which this block does not have" in done.stderr
    assert "zones of the same number" in done.stderr


def test_all_faults_of_a_harvest_are_told_at_once(tmp_path):
    (tmp_path / "h.csv").write_text("block,yield_lb\nB,9000\nA,lots\n")
    refused(
        tmp_path, run(tmp_path, square(), samples(spread=0), "--harvest", tmp_path / "h.csv"), "unknown block 'B'", "lots"
    )


CROP = '[[crop]]\nvariety = "Concord"\nbudbreak = [0.7, 0.8, 0.9]\nclusters_per_shoot = 2\ncluster_weight_g = 100\n'
CROP += 'source = "me"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[crop]]\nvariety = "Concord"\nbudbreak = 3\n', ("`budbreak` is 3", "`source` is missing")),
        (CROP.replace("0.8", "nan"), ("`budbreak` is [0.7, nan, 0.9]",)),
        (CROP.replace("100", "inf"), ("`cluster_weight_g` is inf",)),
        (CROP.replace("100", "9" * 400), ("`cluster_weight_g` is 9999",)),
        (CROP.replace('"Concord"', "5"), ("`variety` is 5, not text",)),
        (CROP + CROP.replace("Concord", "concord"), ("crop 2", "the figures of 'concord' stand twice")),
        ("crop = 1", ("[[crop]]",)),
    ],
)
def test_crop_figures_that_cannot_be(tmp_path, text, said):
    (tmp_path / "c.toml").write_text(text)
    done = run(tmp_path, square(), samples(spread=0), "--crop-figures", tmp_path / "c.toml")
    refused(tmp_path, done, "c.toml", *said)


def test_a_fault_is_told_on_one_line(tmp_path):
    # A name with a line break must not look like a line of the result
    done = run(tmp_path, square(rule="x\nA: prune in 9 zones"), samples(spread=0))
    refused(tmp_path, done)
    assert len(done.stderr.strip().splitlines()) == 1


def test_files_that_cannot_be_read_are_code_1(tmp_path, monkeypatch):
    # as the system answers of a file that another user may not read; the superuser, who may run tests, reads all
    vineyard, weights = write_job(tmp_path, square(), samples(spread=0))
    opened = os.open

    def refuse(path, *arguments, **options):
        if str(path) == str(weights):
            raise PermissionError(13, "Permission denied", str(path))
        return opened(path, *arguments, **options)

    monkeypatch.setattr("os.access", lambda path, mode, **_: str(path) != str(weights))
    monkeypatch.setattr("os.open", refuse)
    arguments = ["prescribe", vineyard, "--samples", weights, "--out", tmp_path / "out"]
    done = CliRunner().invoke(main, [str(argument) for argument in arguments])
    refused(tmp_path, done, f"{weights.name}, layer samples: the file cannot be opened (Permission denied)")
