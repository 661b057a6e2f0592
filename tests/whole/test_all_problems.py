"""Faults of all files are told in one go; a block without samples is left out, and said. All input is invented."""

from __future__ import annotations

import pandas as pd
import pytest
from shapely import affinity
from small_jobs import run, samples, square, summary

from geoprune.errors import Problem, Problems


def two_blocks(**changed):
    first = square()
    second = square(block="B", **changed).set_geometry([affinity.translate(first.geometry.iloc[0], 100.0)], crs=first.crs)
    return pd.concat([first, second], ignore_index=True)


FAULTY = {
    "--rules": ("r.toml", "[[rule]]\nid = 'q'\n", "r.toml, rule 1 'q'"),
    "--crop-figures": ("c.toml", "[[crop]]\nvariety = 'Concord'\nbudbreak = 3\n", "c.toml, crop 1"),
    "--harvest": ("h.csv", "block,yield_kg\nQ,-1\n", "h.csv, layer harvest, line 2: unknown block 'Q'"),
    "--scores": ("q.csv", "block,row,vine,score\nA,99,1,2\n", "q.csv, layer scores, line 2: there is no row '99'"),
    "--earlier": ("e.json", "[]", "e.json, layer earlier results"),
    "--zones-from": ("z.geojson", "{}", "z.geojson: the file cannot be read"),
}


@pytest.mark.parametrize("vineyard_is_sound", [True, False])
def test_the_faults_of_every_file_are_reported_together(tmp_path, vineyard_is_sound):
    options = []
    for option, (name, text, _) in FAULTY.items():
        (tmp_path / name).write_text(text)
        options += [option, tmp_path / name]
    (tmp_path / "h.tif").write_text("no raster")
    options += ["--covariate", f"height={tmp_path / 'h.tif'}"]
    blocks, table = (two_blocks(), samples(block="A"))
    if not vineyard_is_sound:
        blocks, table = two_blocks(training="low cordn"), samples(block="A", pruning_weight_lb=-1.0)
    done = run(tmp_path, blocks, table, *options)
    assert done.exit_code == 1
    assert "Planning" not in done.stderr
    assert not (tmp_path / "out").exists()
    for *_, words in FAULTY.values():
        assert words in done.stderr
    assert "h.tif, layer covariate height: cannot be opened as a raster" in done.stderr
    assert ("low cordn" in done.stderr) == ("s.csv, layer samples, line 2" in done.stderr) == (not vineyard_is_sound)


def test_what_is_found_on_the_ground_is_reported_for_all_blocks_before_planning(tmp_path):
    table = pd.concat([samples(block="A"), samples(block="B")])
    done = run(tmp_path, two_blocks(rule="amercan"), table)
    assert done.exit_code == 1
    assert "Planning" not in done.stderr
    assert done.stderr.count("v.gpkg, layer blocks, block 'B': unknown rule 'amercan'") == 1


def test_a_block_without_samples_is_left_out_and_said(tmp_path):
    (tmp_path / "h.csv").write_text("block,yield_lb\nA,9000\nb,8000\n")
    done = run(tmp_path, two_blocks(), samples(block="a", spread=0), "--harvest", tmp_path / "h.csv")
    assert done.exit_code == 0, done.output
    said = "Block B has no samples and is left out"
    assert said in done.stderr
    shown = summary(tmp_path)
    assert list(shown["blocks"]) == ["A"]
    assert [(r["kind"], r["text"].startswith(said)) for r in shown["remarks"]] == [("dropped", True)]
    page = (tmp_path / "out" / "index.html").read_text("utf-8")
    assert f"<p>{said}" in page


def test_a_block_with_too_few_samples_is_refused(tmp_path):
    done = run(tmp_path, two_blocks(), pd.concat([samples(block="A"), samples(3, block="B")]))
    assert done.exit_code == 1
    assert "3 usable samples in block 'B'. Weigh at least 5 vines in every block that is to be planned" in done.stderr


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("unknown block '" + "N" * 10_000 + "'", "unknown block '" + "N" * 40 + "…'"),
        ("there is no " + "z" * 10_000 + " there", "there is no " + "z" * 80 + "… there"),
        ("row '1' of 'A': correct the row's line, whatever else it may be, or 'B'", None),
    ],
)
def test_long_names_are_cut_in_messages(said, shown):
    assert str(Problem("f.csv", "", "", said, "Mend it")) == f"f.csv: {shown or said}. Mend it."


def test_a_problem_is_kept_once():
    def fail():
        Problems([Problem("f", "", "", "the file is empty", "Give a file with data")]).stop()

    found = Problems()
    assert found.gather(fail) is found.gather(fail) is None
    assert found.gather(lambda value: value, 3) == 3
    assert len(found) == 1
