"""Trainings of a grower's own, and those apart that another number of canes tells apart."""

from __future__ import annotations

import pytest

from geoprune import DataError
from geoprune.rules import find_training, fit_recipe, load_trainings
from geoprune.words import Reader, languages, say

#: What these checks are worth, see test_standing_of_checks.py.
STANDING = "ours: what a grower may say of a training"


OWN = """
[[training]]
id = "Bodega's fan"
kind = "cane"
canes = [5, 5]
buds_per_cane = [4, 12]
renewal_spurs = 1
source = "our foreman"
also_called = ["abanico"]
"""


def test_a_double_guyot_has_two_canes_and_a_single_one():
    # what the names say: two canes, one to each side, and one cane over the whole spacing (common practice, no source)
    for buds in range(8, 35):
        double = fit_recipe(buds, "double Guyot", 2.0)
        assert not double.fits or double.count("cane") <= 2
    assert fit_recipe(24, "double guyot", 2.0).text == "2 × 10 + 2 × 2"
    assert fit_recipe(14, "single guyot", 1.0).text == "1 × 12 + 1 × 2"
    assert not fit_recipe(24, "single guyot", 1.0).fits


def test_a_vine_without_a_cordon_has_the_same_room_at_any_spacing():
    near, far = (fit_recipe(20, "gobelet", spacing) for spacing in (1.0, 3.0))
    assert near.text == far.text == "10 × 2"
    assert near.capacity == far.capacity == 36


def test_a_lyre_counts_two_canopies_and_takes_the_bands_of_a_horizontally_divided_one():
    # Kliewer & Dokoozlian 2005 (Am. J. Enol. Vitic. 56:170-181): 2 m of canopy per m of row, bands shared with GDC and wye
    lyre = find_training("lyre")
    assert (lyre.canopies, lyre.canopy) == (2, "divided horizontal")
    assert find_training("Scott Henry").canopy == "divided vertical"


def test_an_own_training_is_found_by_its_names_and_called_so(tmp_path):
    path = tmp_path / "trainings.toml"
    path.write_text(OWN, "utf-8")
    known = load_trainings(path)
    fan = find_training("ABANICO", known)
    assert fan.id == "Bodega's fan"
    assert say(fan.name, "es", "metric") == "Bodega's fan"
    recipe = fit_recipe(42, fan, 2.4)
    assert (recipe.count("cane"), recipe.text) == (5, "5 × 8 + 1 × 2")
    with pytest.raises(DataError, match="unknown training 'abanico'"):
        find_training("abanico")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (OWN.replace('kind = "cane"', 'kind = "bush"'), "`kind` is 'bush'"),
        (OWN.replace("canes = [5, 5]", "canes = [50, 5]"), "`canes` is [50, 5]. Write two numbers from 1 to 12"),
        (OWN.replace("canes = [5, 5]\n", ""), "`canes` is missing"),
        (OWN.replace("renewal_spurs = 1", "renewal_spurs = 1.5"), "`renewal_spurs` is 1.5, not whole"),
        (OWN.replace("renewal_spurs = 1", "spurz = 1"), "`spurz` is not a key of a training"),
        (OWN.replace('source = "our foreman"\n', ""), "`source` is missing"),
        (OWN.replace("abanico", "GDC"), "its name is taken by another training"),
        (OWN + OWN, "its name is taken by another training"),
        (OWN.replace('["abanico"]', '"abanico"'), "`also_called` is 'abanico'. Write it as a list"),
        ("x = 1", "no [[training]] is in the file"),
        ("[[training", "the file is not valid TOML"),
    ],
)
def test_faults_of_own_trainings_are_told(tmp_path, text, words):
    path = tmp_path / "trainings.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(DataError) as caught:
        load_trainings(path)
    assert words in str(caught.value)


@pytest.mark.parametrize("language", languages())
def test_names_shown_are_names_taken(language):
    # what a page calls a training can be written into the file, vaso and parral among them
    for training in load_trainings().values():
        assert find_training(Reader(language).say(training.name)).id == training.id
    assert (find_training("vaso").id, find_training("parral").id) == ("head-trained", "pergola")
