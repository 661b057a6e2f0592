"""Notes on frost fit the cultivar: what print says of it, else of its kind."""

import tomllib
from importlib import resources
from pathlib import Path

import pytest

from geoprune.rules import frost_notes, frost_traits, load_rules
from geoprune.words import languages, say

#: What these checks are worth, see test_standing_of_checks.py.
STANDING = "applied: cultivars and order as in print, named beside each row; how they are put together is ours"


PAGE = (Path(__file__).parents[2] / "docs" / "rules.md").read_text("utf-8")


def keys(variety, group, **choices):
    return [note.key.removeprefix("cautions.") for note in frost_notes(variety, group, **choices)]


@pytest.mark.parametrize(
    ("variety", "group", "order"),
    [
        # Fiola 2018, University of Maryland: American, hardy hybrids, tender hybrids, then vinifera, tenderest last
        ("Niagara", "American", "frost_order_first"),
        ("Vidal", "French hybrids", "frost_order_hybrid"),
        ("Riesling", "Vinifera", "frost_order_vinifera"),
        # Good Fruit Grower, Cold-friendly varieties: Merlot, Pinot gris, Syrah more susceptible; Chardonnay hardier
        ("merlot", "Vinifera", "frost_order_last"),
        ("Pinot Gris", "Vinifera", "frost_order_last"),
        ("Syrah", "Vinifera", "frost_order_last"),
        ("Chardonnay", "Vinifera", "frost_order_vinifera"),
        # Martinson 2016, Wines & Vines: Minnesota hybrids withstand lower temperatures than labrusca types
        ("Marquette", "New hybrids", "frost_order_hardy"),
        ("Nobody's Grape", "", "frost_order"),
    ],
)
def test_the_order_of_blocks_is_that_of_the_cultivar(variety, group, order):
    said = keys(variety, group)
    assert [key for key in said if key.startswith("frost_order")] == [order]
    tender = group not in ("American",) and variety != "Marquette"
    assert ("frost_cold" in said) is tender
    assert ("frost_spare" in said) is tender


@pytest.mark.parametrize(
    ("variety", "early"),
    # Walter-Peterson 2010: Chardonnay, Foch, Concord, Niagara furthest along; Minnesota Grape Growers: La Crescent and
    # Marquette very early compared with Frontenac; Riesling and Cabernet Sauvignon later: winery log, Finger Lakes 2012
    [("Chardonnay", True), ("Concord", True), ("LA CRESCENT", True), ("Frontenac", False), ("Riesling", False)],
)
def test_early_cultivars_are_pruned_late_where_frost_threatens(variety, early):
    assert ("frost_late_early" in keys(variety, "Vinifera")) is early
    assert ("frost_late" in keys(variety, "Vinifera")) is not early


def test_vines_without_a_number_keep_no_spare_canes():
    assert "frost_spare" not in keys("Merlot", "Vinifera", bears=False)
    assert "frost_spare" in keys("Merlot", "Vinifera")


def test_a_name_from_a_file_only_finds_an_entry_and_is_never_told():
    hostile = "<script>alert(1)</script> Merlot"
    for language in languages():
        assert "script" not in " ".join(say(note, language, "us") for note in frost_notes(hostile, "Vinifera"))


def test_every_cultivar_has_one_trait_once_and_a_source_told_in_the_table():
    found = [(entry.trait, entry.name.casefold()) for entry in frost_traits()]
    assert len(found) == len(set(found))
    assert not {name for trait, name in found if trait == "tender"} & {name for trait, name in found if trait == "hardy"}
    entries = tomllib.loads(resources.files("geoprune.rules").joinpath("frost.toml").read_text("utf-8"))["cultivars"]
    for entry in entries:
        assert f"| {entry['trait']} | {', '.join(entry['names'])} | {entry['tag']} | {entry['source']} |" in PAGE


def test_cultivars_named_hardy_are_hybrids_of_the_rule_book_or_in_no_rule():
    book = load_rules()
    groups = {book.group_of(entry.name) for entry in frost_traits() if entry.trait == "hardy"}
    assert groups <= {"New hybrids", ""}
