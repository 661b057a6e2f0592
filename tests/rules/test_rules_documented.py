"""docs/rules.md tells every rule, method, training, band and offer of the data files, and every sentence of advice."""

import importlib.util
import re
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from trade_figures import crop_offers

from geoprune.rules import buds_to_cut_table, load_bands, load_methods, load_rules, load_trainings
from geoprune.words import word_lists

#: What these checks are worth, see test_standing_of_checks.py.
STANDING = "ours: that the documentation is complete"


DOCS = Path(__file__).parents[2] / "docs"
PAGE = DOCS / "rules.md"
#: Rooms whose sentences are advice; names of trainings and heads of columns are no sentences.
ROOMS = ("rules", "injury", "recipe", "balance", "crop", "cautions", "apart", "weighing")
LABELS = ("recipe.training_", "weighing.column_")
#: Sentences of other rooms that tell someone what to do, or why; the rest of these rooms names things.
ADVISING = re.compile(
    r"brief\.(verdict|crew|stop|one_instead|assumed|renew|odd_weight|replant_line|missing_keep)\w*(?<!renewal)(?<!renewal_one)"
    r"|zones\.(?!named_by|limit_|panels_|polygons_)\w+|card\.(guide|local)|tape\.(read|disagree|hang)"
    r"|seasons\.(think_\w+|not_applied|weak|load_heavy|left_over)|replant\.(caution_\w+|have_tested|clustered|scattered|along|across)"
    r"|replant\.(smallest|whole_pays|whole_not|(layer|losses|young)_note)|sampling\.(buys(_map)?|few_vines|knee|no_map|why_\w+)"
    r"|map\.caution_\w+|plan\.(many_young|held_by_wood|over_capacity|mostly_renew)|sampling\.how_\w+"
    r"|surface\.(outlier|row_effect|rows_mapped|too_few_for_map|all_equal|extrapolated)|sheet\.(ask|stop_ask|look_at_wood)"
)


@pytest.fixture(scope="module")
def lines():
    return [line for line in PAGE.read_text("utf-8").splitlines() if line.startswith("|")]


def stands_in(lines, *parts):
    return any(all(f"{part}" in line for part in parts) for line in lines)


def test_rules_and_trials_are_reported(lines):
    book = load_rules()
    for rule in book.rules:
        assert stands_in(lines, f"| {rule.id} |", f"| {rule.text} |", f"| {rule.tag} |", rule.source), rule.id
    for trial in book.trials:
        assert stands_in(lines, trial.variety, trial.tried, trial.result, trial.source), trial.tried


def test_methods_trainings_bands_and_offers_are_reported(lines):
    for method in load_methods().values():
        assert stands_in(lines, f"| {method.id} |", f"{100 * method.stop_above:g} %", method.choice, method.source), (
            method.id
        )
    for training in load_trainings().values():
        assert stands_in(lines, f"| {training.id} |", training.source), training.id
    for band in load_bands():
        assert stands_in(lines, band.validity, band.source, "yes" if band.decides else "reported only"), band
    for offer in crop_offers():
        assert stands_in(lines, offer["part"], offer["source"], ", ".join(f"{value:g}" for value in offer["values"]))


def test_table_of_buds_to_cut_is_that_of_the_formula(lines):
    for row in buds_to_cut_table():
        assert stands_in(lines, f"| {100 * row['share']:.0f} % |", f"| {row['buds']} |")


@pytest.fixture(scope="module")
def sentences():
    spec = importlib.util.spec_from_file_location("make_sentences", DOCS / "make_sentences.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_table_of_sentences_is_fresh(sentences):
    page = PAGE.read_text("utf-8")
    assert sentences.page_with_table(page) == page, "run docs/make_sentences.py"


def test_every_sentence_stands_in_the_table_once(sentences):
    words = {f"{room}.{name}" for room in ROOMS for name in word_lists()["en"][room]}
    advice = {key for key in words if not key.startswith(LABELS)}
    words |= {f"{room}.{name}" for room, names in word_lists()["en"].items() for name in names if room not in ROOMS}
    advice |= {key for key in words if ADVISING.fullmatch(key)}
    said_keys = [key for entry in sentences.load_sentences() for key in entry["keys"]]
    assert sorted(said_keys) == sorted(advice)
    for entry in sentences.load_sentences():
        assert entry["when"]
        assert entry["n"]
        assert entry["source"]


def test_what_was_read_is_said_of_every_source_tagged_read(lines):
    named = [line.split("|")[1].strip() for line in lines[lines.index("| source | what was read |") + 2 :]]
    book = load_rules()
    held = [*book.rules, *book.trials, *load_methods().values(), *load_trainings().values(), *load_bands()]
    sources = [entry.source for entry in held if entry.tag == "read"]
    sources += [entry["source"] for entry in (*crop_offers(), *_loss_limits()) if entry["tag"] == "read"]
    assert [source for source in sources if not source.startswith(tuple(named))] == []


def _loss_limits():
    text = resources.files("geoprune.rules").joinpath("losses.toml").read_text("utf-8")
    return tomllib.loads(text)["limit"]
