"""Quick scores and earlier results, from file to file. The data are the invented demo estate's."""

import json
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from small_jobs import samples, square, write_job

from geoprune.cli import main
from geoprune.errors import DataError
from geoprune.layers import Source
from geoprune.reading import read_earlier, read_scores, read_vineyard

DEMO = "demo_blocks"


def run(*arguments):
    base = [f"{DEMO}/estate.gpkg", "--samples", f"{DEMO}/weights.csv"]
    return CliRunner().invoke(main, ["prescribe", *base, *map(str, arguments), "--quiet"])


@pytest.fixture(scope="module")
def summary(tmp_path_factory):
    out = tmp_path_factory.mktemp("first") / "out"
    done = run("--out", out)
    assert done.exit_code == 0, done.output
    return out / "summary.json"


def test_scores_that_follow_vine_size_are_kept_and_told(tmp_path, summary):
    truth = pd.read_csv(f"{DEMO}/truth.csv.gz", dtype={"row": str})
    here = truth[truth["block"] == "Ridge Concord"].iloc[::7]
    size = here["vine_size_kg"]
    score = np.clip(np.round(5 * size / size.max()), 1, 5)
    table = pd.DataFrame({"block": here["block"], "row": here["row"], "vine": here["vine"], "score": score})
    table.to_csv(tmp_path / "scores.csv", index=False)
    done = run("--out", tmp_path / "out", "--scores", tmp_path / "scores.csv")
    assert done.exit_code == 0, done.output
    said = json.loads((tmp_path / "out" / "summary.json").read_text())
    before = json.loads(summary.read_text())
    assert "score" in said["blocks"]["Ridge Concord"]["model"]["trend"]
    ours, plain = (data["blocks"]["Ridge Concord"]["loo_rmse_kg"] for data in (said, before))
    assert ours < plain
    assert "score" not in said["blocks"]["Creek Bend"]["model"]["trend"]
    assert "scores.csv" in [entry["name"] for entry in said["inputs"]]


def test_earlier_results_are_a_prior_and_the_same_files_are_refused(tmp_path, summary):
    refused = run("--out", tmp_path / "out", "--earlier", summary)
    assert refused.exit_code == 1
    assert "made from the same files" in refused.output
    assert not (tmp_path / "out").exists()
    other = json.loads(summary.read_text())
    for entry in other["inputs"]:
        entry["sha256"] = "0" * 64
    (tmp_path / "other.json").write_text(json.dumps(other))
    done = run("--out", tmp_path / "out", "--earlier", tmp_path / "other.json")
    assert done.exit_code == 0, done.output
    written = json.loads((tmp_path / "out" / "summary.json").read_text())
    block = written["blocks"]["Ridge Concord"]
    assert any(remark["key"] == "plan.heard_blocks_earlier" for remark in block["remarks"])
    assert block["model"]["nugget_share"] != pytest.approx(
        other["blocks"]["Ridge Concord"]["model"]["nugget_share"], rel=1e-6
    )


def test_what_was_learned_is_a_normalised_likelihood(summary):
    for learned in read_earlier([summary]):
        assert np.sum(learned.likelihood) == pytest.approx(1.0)
        assert np.all(np.diff(learned.ranges_m) > 0)


LEARNED = (
    '{"blocks": {"A": {"model": {"learned": {"model": "exponential", "ranges_m": [10, 20],'
    ' "nugget_shares": [0.1, 0.9], "likelihood": [[1, 0.5], [0.5, 1]]}}}}, "inputs": []}'
)


def test_the_same_result_does_not_speak_twice(tmp_path):
    files = [tmp_path / "a.json", tmp_path / "b.json", tmp_path / "c.json"]
    for file, likelihood in zip(files, ("[1, 0.5]", "[1, 0.5]", "[1, 0.2]"), strict=True):
        file.write_text(LEARNED.replace("[1, 0.5]", likelihood))
    assert len(read_earlier([files[0], files[2]])) == 2
    with pytest.raises(DataError, match=r"b.json, layer earlier results.*made from the same files as another"):
        read_earlier(files)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("{}", "not a summary"),
        ("no json", "not a summary"),
        ('{"blocks": {"A": {"model": {"learned": null}}}, "inputs": []}', "no block in it had a map"),
        ('{"blocks": {"A": {"model": {"learned": {"ranges_m": [2, 1]}}}}, "inputs": []}', "is no likelihood"),
        (
            '{"blocks": {"A": {"model": {"covariance": "matern52, averaged", "learned": null}}}, "inputs": []}',
            "its patterns were fitted as matern52, whose ranges say nothing of the exponential kind. Leave it out",
        ),
        ('{"blocks": {"A": {"model": {"covariance": "none"}}}, "inputs": []}', "its weights were too few or all alike"),
        (LEARNED.replace("[10, 20]", "[10, 10.000000000000002]"), "is no likelihood"),
        (LEARNED.replace("[10, 20]", "[1e-300, 20]"), "is no likelihood"),
        ("[" * 100_000, "not a summary"),
        ('{"blocks": {"A": {"model": {"learned": 5}}}, "inputs": [5]}', "not a summary"),
        ('{"blocks": {"A": {"model": {"learned": 5}}}, "inputs": []}', "is no likelihood"),
        (LEARNED.replace("[1, 0.5]", "[0, 0]").replace("[0.5, 1]", "[0, 0]"), "is no likelihood"),
        (LEARNED.replace("20", "1e999"), "is no likelihood"),
    ],
)
def test_what_is_no_earlier_result_is_refused(tmp_path, text, message):
    file = tmp_path / "summary.json"
    file.write_text(text)
    with pytest.raises(DataError, match=message):
        read_earlier([file], [Source("weights.csv", "0")])


def test_numbers_of_earlier_results_written_as_text_are_numbers(tmp_path):
    file = tmp_path / "summary.json"
    file.write_text(LEARNED.replace("[10, 20]", '["10", "20"]'))
    assert read_earlier([file])[0].ranges_m == (10.0, 20.0)


@pytest.mark.parametrize("changed", [{"spread": 0}, {"count": 5}, {"count": 12, "spread": 0.001}])
def test_flat_and_few_weights_with_earlier_results_are_quiet(tmp_path, changed):
    earlier = tmp_path / "earlier.json"
    earlier.write_text(LEARNED.replace("[1, 0.5]", "[0, 0]"))
    vineyard, weights = write_job(tmp_path, square(), samples(**changed))
    command = [sys.executable, "-m", "geoprune", "prescribe", vineyard, "--samples", weights, "--earlier", earlier]
    done = subprocess.run([*command, "--out", tmp_path / "out"], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "Warning" not in done.stderr
    assert ".py" not in done.stderr


def test_every_fault_of_a_score_table_is_reported(tmp_path):
    file = tmp_path / "scores.csv"
    file.write_text(
        "block,row,vine,score\nCreek Bend,1,2,3\nZ,1,x,3\nCREEK BEND,,4,high\ncreek bend,1,2,5\nCreek Bend,1,999,1e308\n"
    )
    vineyard = read_vineyard(f"{DEMO}/estate.gpkg", samples=f"{DEMO}/weights.csv")
    with pytest.raises(DataError) as caught:
        read_scores(file, vineyard)
    said = str(caught.value)
    assert "unknown block 'Z'" in said
    assert "vine 'x' is not a number" in said
    assert "row is empty" in said
    assert "score 'high' is not a number" in said
    assert "line 5: block 'Creek Bend', row '1', vine '2' stands twice" in said
    assert "line 2: there is no row '1' in block 'Creek Bend', named 3 times" in said
    assert "score '1e308' is not possible" in said
    assert said.count("scores.csv, layer scores, line ") == len(caught.value.problems)
