"""Every sentence that the code names stands in every word list, with the same places to fill in."""

import ast
import tomllib
from pathlib import Path
from string import Formatter

import pytest

import geoprune
from geoprune.errors import Message
from geoprune.words import languages, say, word_lists

#: What these checks are worth, see test_standing_of_checks.py.
STANDING = "ours: that every sentence is there"


PACKAGE = Path(geoprune.__file__).parent
#: Told alike in both languages: signs, and text that comes from a file.
ALIKE = {"map.number_locale", "terminal.size"}


def flat(language):
    return {f"{room}.{name}": text for room, names in word_lists()[language].items() for name, text in names.items()}


def places(text):
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def named_messages():
    """Each call of Message in the code: file and line, the keys it may take, its fields where they are written out."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Message" and node.args:
                fields = node.args[1] if len(node.args) > 1 else ast.Dict([], [])
                whole = isinstance(fields, ast.Dict) and all(isinstance(key, ast.Constant) for key in fields.keys)
                given = {key.value for key in fields.keys} if whole else None
                for key in _keys(node.args[0]):
                    yield f"{path.relative_to(PACKAGE)}:{node.lineno}", key, given


def _keys(node):
    """Keys written out in full, alone or in a choice; a key that is put together is left to the tests of its room."""
    if isinstance(node, ast.Constant):
        return [node.value]
    if isinstance(node, ast.IfExp):
        return [*_keys(node.body), *_keys(node.orelse)]
    return []


NAMED = list(named_messages())


def test_the_code_names_sentences():
    assert len(NAMED) > 60


@pytest.mark.parametrize("language", languages())
def test_every_named_sentence_is_there_and_can_be_filled(language):
    words = flat(language)
    missing = [f"{where}: {key}" for where, key, _ in NAMED if key not in words]
    assert missing == []
    unfilled = [f"{where}: {key}" for where, key, given in NAMED if given is not None and not places(words[key]) <= given]
    assert unfilled == []


@pytest.mark.parametrize("language", languages())
def test_languages_have_the_same_sentences_and_places(language):
    english, other = flat("en"), flat(language)
    assert set(english) == set(other)
    differing = [key for key, text in english.items() if places(text) != places(other[key])]
    assert differing == []
    if language != "en":
        same = {key for key, text in english.items() if text == other[key] and len(text.split()) > 3}
        assert same <= ALIKE


def test_word_lists_are_tables_of_sentences():
    for path in sorted((PACKAGE / "words").glob("*/*.toml")):
        assert all(isinstance(text, str) for text in tomllib.loads(path.read_text("utf-8")).values()), path


@pytest.mark.parametrize(
    ("field", "value", "us", "metric"),
    [
        # Exact by definition (international yard and pound, 1959): 1 lb = 0.45359237 kg, 1 ft = 0.3048 m, and so
        # 1 kg/m = 0.6719690 lb/ft, 1 ha = 2.4710538 ac; a short ton is 2000 lb: 1 short ton/ac = 2.2417023 t/ha
        ("size_kg", 0.45359237 * 2.4, "2.4 lb", "1.09 kg"),
        ("size_kg_m", 1.0, "0.67 lb/ft", "1.00 kg/m"),
        ("area_ha", 1.0, "2.47 ac", "1.00 ha"),
        ("long_m", 30.48, "100 ft", "30 m"),
        ("thick_mm", 12.7, "0.50 in", "13 mm"),
        ("crop_t_ha", 2.2417023 * 6, "6.0 tons/ac", "13.5 t/ha"),
        ("crop_t", 0.90718474 * 12, "12.0 tons", "10.9 t"),
    ],
)
def test_fields_are_told_in_the_readers_units(monkeypatch, field, value, us, metric):
    monkeypatch.setitem(word_lists()["en"], "try", {"it": f"{{{field}}}"})
    message = Message("try.it", {field: value})
    assert say(message, "en", "us") == us
    assert say(message, "en", "metric") == metric


def test_a_message_within_a_message_is_told_first(monkeypatch):
    monkeypatch.setitem(word_lists()["es"], "try", {"it": "<{what}>"})
    assert say(Message("try.it", {"what": Message("map.zone")}), "es", "us") == f"<{flat('es')['map.zone']}>"


def test_an_unknown_sentence_is_an_error():
    with pytest.raises(KeyError, match=r"map\.nothing"):
        say(Message("map.nothing"), "en", "us")
