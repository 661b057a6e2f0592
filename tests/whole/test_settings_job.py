"""Settings reach the plan of each block, and a run can be repeated from the settings that stand with its results."""

from __future__ import annotations

import re

import geopandas as gpd
import pandas as pd
import pytest
from click.testing import CliRunner
from shapely import Point, affinity
from small_jobs import UTM, samples, square, summary, write_job

from geoprune.cli import main
from geoprune.jobs import block_options, plan_options, prescribe
from geoprune.plan import PlanOptions
from geoprune.settings import Crop, Files, Settings, Zones, read_settings

CROP = '[[crop]]\nvariety = "Concord"\nbudbreak = [0.7, 0.8, 0.9]\nclusters_per_shoot = 2\ncluster_weight_g = 100\n'
CROP += 'source = "me"\n'
OWN = """
[files]
samples = "s.csv"
crop_figures = "c.toml"
[zones]
change_cost = 0.5
[buds]
injury_method = "cornell"
[work]
minutes_per_vine = 2
[pages]
units = "metric"
[block.B]
training = "flat cane"
cane_length_ft = 3
canes = 2
injury_method = "replace"
last_pruning = "minimal"
target_crop_tons_ac = 6
change_cost = 3
most_buds = 40
rule = "20+20"
minutes_per_vine = 5
"""


def invoke(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def estate(tmp_path_factory):
    """Two blocks alike in everything but their settings."""
    folder = tmp_path_factory.mktemp("estate")
    first = square()
    second = square(block="B").set_geometry([affinity.translate(first.geometry.iloc[0], 100.0)], crs=first.crs)
    dead = {"block": ["A", "B"], "buds_cut": [100, 100], "primary_dead": [30, 30]}
    checks = gpd.GeoDataFrame(dead, geometry=[Point(620030, 4690030), Point(620130, 4690030)], crs=UTM)
    weights = pd.concat([samples(spread=0, block="A"), samples(spread=0, block="B")])
    vineyard, _ = write_job(folder, pd.concat([first, second], ignore_index=True), weights, bud_checks=checks)
    (folder / "c.toml").write_text(CROP)
    (folder / "h.csv").write_text("block,yield_lb\nA,2000\nB,2000\n")
    (folder / "geoprune.toml").write_text(OWN)
    return vineyard


@pytest.fixture(scope="module")
def results(estate):
    done = invoke("prescribe", estate, "--harvest", estate.parent / "h.csv", "--out", estate.parent / "out")
    assert done.exit_code == 0, done.output
    return done


def test_what_a_block_has_of_its_own_reaches_its_plan(estate, results):
    first, second = (summary(estate.parent)["blocks"][name] for name in "AB")
    assert (first["settings"]["training"], second["settings"]["training"]) == ("top-wire cordon", "flat cane")
    assert [block["rule"]["first"] for block in (first, second)] == [30.0, 20.0]
    assert (first["injury"]["method"]["id"], second["injury"]["method"]["id"]) == ("cornell", "replace")
    assert first["buds_per_vine"] > 40 >= second["buds_per_vine"]
    recipes = [block["zones"][0]["recipe"] for block in (first, second)]
    assert recipes[0] != recipes[1]
    assert re.match(r"2 x \d+", recipes[1])
    notes = [" ".join(block["notes"]) for block in (first, second)]
    assert "13.5 t/ha" not in notes[0]
    assert "13.5 t/ha" in notes[1]
    assert ("2.0 minutes" in notes[0], "5.0 minutes" in notes[1]) == (True, True)
    loads = [" ".join(line for entry in block["advice"] for line in entry["sentences"]) for block in (first, second)]
    assert ["Last harvest was" in said for said in loads] == [True, False]
    assert ["minimally pruned" in said for said in loads] == [False, True]


def test_the_settings_file_is_reported_and_stands_among_the_inputs(estate, results):
    assert "Settings are taken from geoprune.toml." in results.stderr
    said = summary(estate.parent)
    assert "geoprune.toml" in {entry["name"] for entry in said["inputs"]}
    assert said["options"]["block"]["B"]["change_cost"] == 3
    assert said["options"]["zones"]["change_cost"] == 0.5
    assert "settings.toml" in said["files"]


def test_a_run_is_repeated_from_the_settings_with_its_results(estate, results):
    out, again = estate.parent / "out", estate.parent / "again"
    done = invoke("prescribe", estate, "--settings", out / "settings.toml", "--out", again, "--quiet")
    assert done.exit_code == 0, done.output
    assert (again / "prescription.csv").read_bytes() == (out / "prescription.csv").read_bytes()
    assert (again / "settings.toml").read_bytes() == (out / "settings.toml").read_bytes()
    # and as a plain function
    prescribe(estate, estate.parent / "third", settings=read_settings(out / "settings.toml"))
    assert (estate.parent / "third" / "prescription.csv").read_bytes() == (out / "prescription.csv").read_bytes()


def test_the_command_line_wins_in_every_block(estate, tmp_path):
    choices = (
        "--injury-method",
        "michigan",
        "--set",
        "change_cost=1.5",
        "--set",
        "block.A.most_buds=33",
        "--wood",
        "canes=4",
    )
    done = invoke("prescribe", estate, "--out", tmp_path / "out", "--quiet", *choices)
    assert done.exit_code == 0, done.output
    said = summary(tmp_path)
    assert {block["injury"]["method"]["id"] for block in said["blocks"].values()} == {"michigan"}
    assert said["options"]["zones"]["change_cost"] == 1.5
    assert "change_cost" not in said["options"]["block"]["B"]
    assert said["options"]["block"]["A"] == {"most_buds": 33}
    assert said["blocks"]["A"]["buds_per_vine"] <= 33
    assert "4 x " in said["blocks"]["B"]["zones"][0]["recipe"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[block.C]\nchange_cost = 1\n", "geoprune.toml, [block.\"C\"]: v.gpkg has no block 'C'"),
        ('[block.C]\ntraining = "flat cane"\n', "there is no block 'C', which the settings name"),
        ('[block.B]\ntraining = "flat can"\n', "geoprune.toml, [block.\"B\"] training: unknown training 'flat can'"),
        ('[block.B]\nrule = "amercan"\n', "geoprune.toml, [block.\"B\"] rule: unknown rule 'amercan'"),
        ('[columns.samples]\npruning_weight_g = "peso"\n', "there is no column 'peso' for pruning_weight_g"),
        ("[zones]\nmax_zone = 2\n", "Did you mean 'max_zones'?"),
        ("[block.B]\nfewest_buds = 60\nmost_buds = 50\n", 'geoprune.toml, [block."B"]: [buds]: fewest_buds, 60, lies above'),
        ('[pages]\nbackground = "javascript:alert(1)"\n', "geoprune.toml, [pages] background"),
    ],
)
def test_a_fault_of_the_settings_is_reported_once_with_code_1(estate, tmp_path, text, said):
    (tmp_path / "geoprune.toml").write_text(text)
    job = ("prescribe", estate, "--samples", estate.parent / "s.csv", "--settings", tmp_path / "geoprune.toml")
    done = invoke(*job, "--out", tmp_path / "out")
    assert done.exit_code == 1, done.output
    assert done.stderr.count(said) == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


def test_faults_of_settings_and_data_are_reported_together(estate, tmp_path):
    (tmp_path / "geoprune.toml").write_text('[block.C]\nchange_cost = 1\n[block.B]\nrule = "amercan"\n')
    (tmp_path / "s.csv").write_text("block,row,vine,pruning_weight_lb\nA,1,1,-1\n")
    job = ("prescribe", estate, "--samples", tmp_path / "s.csv", "--settings", tmp_path / "geoprune.toml")
    done = invoke(*job, "--out", tmp_path / "out")
    for said in ("has no block 'C'", "unknown rule 'amercan'", "s.csv, layer samples, line 2"):
        assert done.stderr.count(said) == 1, done.stderr


def test_one_default_for_each_choice():
    # the settings of a run and the options of the library are the same where nothing is said
    assert repr(plan_options(Settings())) == repr(PlanOptions())


def test_every_setting_of_a_block_reaches_its_options():
    values = {"fewest_buds": 11, "most_buds": 77, "last_pruning": "minimal", "injury_method": "purdue", "change_cost": 0.7}
    values |= {"target_crop_t_ha": 9.0, "minutes_per_vine": 4.0, "cost_per_hour": 30.0, "cane_length_m": 1.0, "canes": 3}
    changed = block_options(Settings(blocks={"A": values}))["A"]
    said = repr(changed)
    for value in values.values():
        assert repr(value) in said


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"seed": -1}, "seed"),
        ({"last_pruning": "saw"}, "last_pruning"),
        ({"floor": 50, "cap": 20}, "floor 50 lies above cap 20"),
        ({"minutes_per_vine": 0, "cost_per_hour": -1}, "minutes_per_vine.*cost_per_hour"),
        ({"injury_method": "cornel"}, "cornell"),
        ({"wood": {"canes": 100}}, "canes"),
        ({"target_t_ha": -3.0}, "target_t_ha"),
    ],
)
def test_options_are_validated_where_they_are_made(wrong, said):
    with pytest.raises(ValueError, match=said):
        PlanOptions(**wrong)


def test_a_wanted_crop_without_figures_is_refused_in_the_library_too(estate, tmp_path):
    chosen = Settings(files=Files(samples=estate.parent / "s.csv"), crop=Crop(target_crop_t_ha=9), zones=Zones(max_zones=2))
    with pytest.raises(ValueError, match="needs crop_figures"):
        prescribe(estate, tmp_path / "out", settings=chosen)


def test_a_block_that_fails_does_not_stop_the_others(estate, tmp_path, monkeypatch):
    import geoprune.jobs.block as job

    plan = job.plan_block

    def fails(block, beside):
        if block.settings.block == "A":
            raise ZeroDivisionError("in the geometry")
        return plan(block, beside)

    monkeypatch.setattr(job, "plan_block", fails)
    done = invoke("prescribe", estate, "--out", tmp_path / "out", "--quiet", "--cores", "1")
    assert done.exit_code == 1
    assert "Block A could not be planned, which is our fault, not yours: ZeroDivisionError: in the geometry" in done.stderr
    assert "B: " in done.stdout
    said = summary(tmp_path)
    assert list(said["blocks"]) == ["B"]
    assert [remark["key"] for remark in said["remarks"] if remark["kind"] == "warning"] == ["jobs.block_failed"]
    assert not (tmp_path / "out" / "a").exists()
    monkeypatch.setattr(job, "plan_block", lambda block, beside: 1 / 0)
    none = invoke("prescribe", estate, "--out", tmp_path / "none", "--cores", "1")
    assert none.exit_code == 1
    assert none.stderr.count("ZeroDivisionError") == 2
    assert not (tmp_path / "none").exists()


def test_a_settings_file_is_written_beside_the_vineyard_and_never_over_another(estate, tmp_path):
    vineyard = tmp_path / "v.gpkg"
    vineyard.write_bytes(estate.read_bytes())
    done = invoke("settings", vineyard, "--units", "metric", "--lang", "es")
    assert done.exit_code == 0, done.output
    path = tmp_path / "geoprune.toml"
    text = path.read_text("utf-8")
    assert '# [block."A"]' in text
    assert '# [block."B"]' in text
    assert "# cane_length_m = " in text
    assert "cepa" in text
    assert read_settings(path) == Settings(source=path)
    again = invoke("settings", vineyard)
    assert again.exit_code == 1
    assert "exists already" in again.stderr
    assert path.read_text("utf-8") == text


def test_headers_and_words_of_a_growers_files_are_taken_from_the_settings(estate, tmp_path):
    table = pd.read_csv(estate.parent / "s.csv")
    theirs = table.rename(columns={"pruning_weight_lb": "peso (lb)", "row": "hilera"}).astype(str)
    theirs["peso (lb)"] = theirs["peso (lb)"].str.replace(".", ",")
    theirs.to_csv(tmp_path / "s.csv", index=False)
    (tmp_path / "geoprune.toml").write_text(
        '[files]\nsamples = "s.csv"\ndecimal_mark = ","\n'
        '[columns.samples]\npruning_weight_lb = "peso (lb)"\nrow = "hilera"\n'
    )
    done = invoke("prescribe", estate, "--settings", tmp_path / "geoprune.toml", "--out", tmp_path / "out", "--quiet")
    assert done.exit_code == 0, done.output
    assert summary(tmp_path)["blocks"]["A"]["samples_used"] == 24
