"""One word for a thing, and the trade's word: Spanish of the pages, and names of trainings that are taken as they are shown.

The words are common practice, no source.
"""

import re

import pytest

from geoprune.rules import find_training, load_trainings
from geoprune.words import Reader, languages, word_lists

ES, EN = word_lists()["es"], word_lists()["en"]
TOLD = {(room, name): text for room, names in ES.items() for name, text in names.items()}
#: Not said: bull canes are no "cañas toro"; "deshijar" is said of maize and banana; a panel is a tramo and nothing else.
UNSAID = ("caña", "toro", "deshij", "paño", "lentes")

#: What these checks are worth, see test_standing_of_checks.py.
STANDING = "ours: words of the trade, common practice, no source"


@pytest.mark.parametrize("word", UNSAID)
def test_a_word_that_is_not_the_trades_is_not_said(word):
    assert [key for key, text in TOLD.items() if re.search(rf"\b{word}", text.casefold())] == []


def test_a_sucker_alone_is_called_chupon():
    said = {key for key, text in TOLD.items() if re.search(r"chup[oó]n", text.casefold())}
    assert {key for key in said if "sucker" not in EN[key[0]][key[1]].casefold()} == set()


def test_a_panel_is_a_tramo_and_a_tramo_a_panel():
    panels = {
        (room, name) for room, names in EN.items() for name, text in names.items() if re.search(r"\b[Pp]anels?\b", text)
    }
    tramos = {key for key, text in TOLD.items() if re.search(r"\btramos?\b", text.casefold())}
    assert panels - {("settings", "zones_layer_why")} == tramos  # names of layers there


def test_eyes_are_covered_in_the_words_of_the_trade():
    assert "gafas de seguridad" in ES["cautions"]["safety"]
    assert "carga" in ES["injury"]["added"]  # bud load


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("training", load_trainings())
def test_a_training_is_taken_by_the_name_it_is_shown_with(training, language):
    shown = Reader(language, "us").say(load_trainings()[training].name)
    assert find_training(shown).id == training


@pytest.mark.parametrize(
    ("name", "training"),
    [
        ("vaso", "head-trained"),
        ("en vaso", "head-trained"),
        ("Vaso", "head-trained"),
        ("parral", "pergola"),
        ("Parrón", "pergola"),
        ("espaldera con cargadores", "flat cane"),
        ("espaldera con pitones", "low cordon"),
        ("doble cortina", "divided horizontal"),
    ],
)
def test_names_of_the_trade_are_taken(name, training):
    assert find_training(name).id == training
