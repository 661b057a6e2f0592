"""Fifteen invented growers: what each brings ends in a plan after one sitting, and nothing is guessed silently."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from growers import GROWERS, Grower, chilean_parron, uruguayan_lyre

from geoprune import make_plan, read_vineyard
from geoprune.jobs.asking import Question
from geoprune.jobs.check import check_files
from geoprune.jobs.check_report import check_sections, write_checked
from geoprune.jobs.settings_entries import entry_text
from geoprune.jobs.settings_file import write_settings_file
from geoprune.reading import choices_of
from geoprune.rules import load_trainings
from geoprune.settings import SETTINGS_FILE
from geoprune.words import say

DOCS = Path(__file__).parents[2] / "docs" / "bringing-data.md"


def answering(grower: Grower, asked: list[Question]):
    """Answer as the grower would: what is proposed is taken, what only the grower knows is said."""

    def answer(question: Question) -> int | None:
        said = question.about.key + " " + str(question.about.fields.get("column", ""))
        for piece, wanted in grower.answers.items():
            if piece in said and question.default is None:
                asked.append(question)
                return next(i for i, option in enumerate(question.options) if wanted in entry_text(option.sets))
        return question.default

    return answer


@pytest.mark.parametrize("grower", GROWERS, ids=lambda grower: grower.write.__name__)
def test_one_sitting_ends_in_a_file_that_plans(tmp_path, grower):
    vineyard, samples = grower.write(tmp_path)
    asked: list[Question] = []
    checked = check_files(vineyard, samples, answer=answering(grower, asked))
    said = [say(line, "en", "us") for _, lines in check_sections(checked) for line in lines]
    assert checked.ready, (said, checked.problems)
    assert len(asked) == len(grower.answers)
    write_checked(checked, tmp_path, language="es", units="metric")

    settings = tomllib.loads((tmp_path / SETTINGS_FILE).read_text("utf-8"))
    again = check_files(vineyard, samples, settings=settings)
    assert again.ready
    assert again.asked == ()

    read = read_vineyard(vineyard, samples=samples, **choices_of(settings))
    assert set(read.blocks["training"]) == {grower.training}
    for name, value in zip(("row_spacing_m", "vine_spacing_m"), grower.spacing_m, strict=True):
        assert read.blocks[name].tolist() == pytest.approx([value] * grower.blocks)
    if grower.bearing_deg is not None:
        turn = (read.blocks["row_bearing_deg"].to_numpy() - grower.bearing_deg + 90) % 180 - 90
        assert abs(turn).max() < 3.0
    plans = make_plan(read)
    assert len(plans) == grower.blocks
    assert all(plan.buds_per_vine > 0 for plan in plans)
    assert all(plan.samples["used"].mean() > 0.8 for plan in plans)


def test_the_steps_of_each_grower_stand_in_the_documentation():
    lines = DOCS.read_text("utf-8").splitlines()
    for grower in GROWERS:
        said = f"| {grower.name} | {grower.where} | {len(grower.answers)} |"
        assert any(line.startswith(said) for line in lines), said


@pytest.mark.parametrize("grower", [g for g in GROWERS if g.answers], ids=lambda grower: grower.write.__name__)
def test_what_only_the_grower_knows_is_never_taken_unasked(tmp_path, grower):
    vineyard, samples = grower.write(tmp_path)
    checked = check_files(vineyard, samples)
    assert not checked.ready
    assert len(checked.open) == len(grower.answers)
    write_checked(checked, tmp_path, language="en", units="us")
    text = (tmp_path / SETTINGS_FILE).read_text("utf-8")
    for question, wanted in zip(checked.open, grower.answers.values(), strict=True):
        entry = next(entry_text(o.sets) for o in question.options if wanted in entry_text(o.sets)).split("] ", 1)[1]
        assert f"#? {entry}  #" in text
        text = text.replace(f"#? {entry}  #", f"{entry}  #")
    assert check_files(vineyard, samples, settings=tomllib.loads(text)).ready


@pytest.mark.parametrize(("write", "names"), [(uruguayan_lyre, ["La Loma"]), (chilean_parron, ["Bajo", "Alto"])])
def test_a_settings_file_has_a_table_for_each_block_whatever_layers_and_columns_are_called(tmp_path, write, names):
    vineyard, _ = write(tmp_path)
    text = write_settings_file(vineyard).read_text("utf-8")
    assert [name for name in names if f'# [block."{name}"]' in text] == names


def test_a_plan_made_in_code_takes_own_trainings(tmp_path):
    own = '[[training]]\nid = "house fan"\nkind = "cane"\ncanes = [5, 5]\nbuds_per_cane = [6, 10]\nsource = "our foreman"\n'
    (tmp_path / "trainings.toml").write_text(own, "utf-8")
    known = load_trainings(tmp_path / "trainings.toml")
    vineyard, samples = uruguayan_lyre(tmp_path)
    settings = dict(check_files(vineyard, samples).sets)
    settings["block"] = {"La Loma": {"training": "house fan"}}
    read = read_vineyard(vineyard, samples=samples, trainings=known, **choices_of(settings))
    (plan,) = make_plan(read, trainings=known)
    assert plan.settings.own_training == known["house fan"]
