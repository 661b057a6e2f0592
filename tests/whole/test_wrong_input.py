"""Bad input to rules, injury, harvest and spacing: one clear message each, code 1, nothing written."""

import pytest
from small_jobs import checks, run, samples, square


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


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (RULE + 'unit = "lb"\n', "`source` is missing"),
        (RULE + 'source = "me"\n', "`unit` is missing"),
        (RULE + 'unit = "stone"\nsource = "me"\n', "`unit` is 'stone'"),
        ("rule = 3", "[[rule]]"),
        ("[[rule", "not valid TOML"),
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
        ("block,yield_lb\nB,9000\n", "there is no block 'B'"),
        ("block,yield\nA,9000\n", "yield_kg"),
        ("block,yield_lb\nA,-5\n", "`yield_lb` is -5"),
        ("block,yield_lb,yield_kg\nA,5,5\n", "two units"),
        ("yield_lb\n5\n", "no column `block`"),
        ("block,zone,yield_lb\nA,0,5\n", "`zone` is 0"),
        ("block,zone,yield_lb\nA,north,5\n", "`zone` is north"),
        ("", "harvest"),
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
    refused(tmp_path, run(tmp_path, square(), samples(spread=0), "--harvest", tmp_path / "h.csv"), "no block 'B'", "lots")


def test_wood_that_cannot_be(tmp_path):
    refused(tmp_path, run(tmp_path, square(), samples(spread=0), "--wood", "spur_spacing_in=90"), "spur_spacing_m")


def test_crop_figures_that_cannot_be(tmp_path):
    (tmp_path / "c.toml").write_text('[[crop]]\nvariety = "Concord"\nbudbreak = 3\n')
    refused(
        tmp_path, run(tmp_path, square(), samples(spread=0), "--crop-figures", tmp_path / "c.toml"), "budbreak", "source"
    )
