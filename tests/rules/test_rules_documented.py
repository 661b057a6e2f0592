"""docs/rules.md tells every rule, method, training, band and offer of the data files, with its source."""

from pathlib import Path

import pytest

from geoprune.rules import buds_to_cut_table, crop_offers, load_bands, load_methods, load_rules, load_trainings

PAGE = Path(__file__).parents[2] / "docs" / "rules.md"


@pytest.fixture(scope="module")
def lines():
    return [line for line in PAGE.read_text("utf-8").splitlines() if line.startswith("|")]


def told(lines, *parts):
    return any(all(f"{part}" in line for part in parts) for line in lines)


def test_rules_and_trials_are_told(lines):
    book = load_rules()
    for rule in book.rules:
        assert told(lines, f"| {rule.id} |", f"| {rule.text} |", f"| {rule.tag} |", rule.source), rule.id
    for trial in book.trials:
        assert told(lines, trial.variety, trial.tried, trial.result, trial.source), trial.tried


def test_methods_trainings_bands_and_offers_are_told(lines):
    for method in load_methods().values():
        assert told(lines, f"| {method.id} |", f"{100 * method.stop_above:g} %", method.choice, method.source), method.id
    for training in load_trainings().values():
        assert told(lines, f"| {training.id} |", training.source), training.id
    for band in load_bands():
        assert told(lines, band.validity, band.source, "yes" if band.decides else "told only"), band
    for offer in crop_offers():
        assert told(lines, offer["part"], offer["source"], ", ".join(f"{value:g}" for value in offer["values"]))


def test_table_of_buds_to_cut_is_that_of_the_formula(lines):
    for row in buds_to_cut_table():
        assert told(lines, f"| {100 * row['share']:.0f} % |", f"| {row['buds']} |")
