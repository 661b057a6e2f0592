"""The words of every page, sheet, table and terminal: one list of sentences a language, and one teller for all."""

from __future__ import annotations

import math
import string
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from geoprune.errors import Message
from geoprune.units import HA_PER_AC, KG_PER_LB, M_PER_FT, MM_PER_IN, T_HA_PER_TON_AC, T_PER_TON

FOLDER = Path(__file__).parent
UNITS = ("us", "metric")
#: Fields that hold text of the rule book, in English there.
_BOOK_FIELDS = ("source", "validity", "title", "method")

#: Ending of a field's name -> per unit system: divisor, digits, unit's sign.
_FIELD_UNITS: dict[str, dict[str, tuple[float, int, str]]] = {
    "_kg_m": {"metric": (1.0, 2, "kg/m"), "us": (KG_PER_LB / M_PER_FT, 2, "lb/ft")},
    "_kg": {"metric": (1.0, 2, "kg"), "us": (KG_PER_LB, 1, "lb")},
    "_t_ha": {"metric": (1.0, 1, "t/ha"), "us": (T_HA_PER_TON_AC, 1, "tons/ac")},
    "_t": {"metric": (1.0, 1, "t"), "us": (T_PER_TON, 1, "tons")},
    "_ha": {"metric": (1.0, 2, "ha"), "us": (HA_PER_AC, 2, "ac")},
    "_mm": {"metric": (1.0, 0, "mm"), "us": (MM_PER_IN, 2, "in")},
    "_per_m": {"metric": (1.0, 1, "per m"), "us": (1.0 / M_PER_FT, 1, "per ft")},
    "_spacing_m": {"metric": (1.0, 2, "m"), "us": (M_PER_FT, 1, "ft")},
    "_m": {"metric": (1.0, 0, "m"), "us": (M_PER_FT, 0, "ft")},
}


@cache
def word_lists() -> dict[str, dict[str, dict[str, str]]]:
    """Return language code -> room -> name -> sentence; a new list is found by being there."""
    import tomllib  # here, because the command line's help asks for the languages alone

    return {code: tomllib.loads((FOLDER / f"{code}.toml").read_text(encoding="utf-8")) for code in languages()}


@cache
def languages() -> tuple[str, ...]:
    """Return the codes of the languages there are word lists for."""
    return tuple(sorted(entry.stem for entry in FOLDER.glob("*.toml")))


def say(message: Message, language: str, units: str) -> str:
    """Return a sentence of the word lists, filled in.

    Parameters
    ----------
    message : Message
        SI fields (names ending in `_kg`, `_m`, `_ha`, `_mm`, `_kg_m`, `_t`, `_t_ha`) are turned into the reader's
        units and carry them; a field that is a Message itself is told first.
    language : str
        Code of a word list, such as "en".
    units : {"us", "metric"}

    Returns
    -------
    str

    Raises
    ------
    KeyError
        If there is no such language or sentence, or a field of the sentence is not given.

    Examples
    --------
    >>> say(Message("map.size_sentence", {"vine_size_kg": 0.90718474}), "en", "us")
    'Pruning weight 2.0 lb per vine.'
    """
    room, _, name = message.key.partition(".")
    sentence = word_lists()[language].get(room, {}).get(name)
    if sentence is None:
        raise KeyError(message.key)
    return _Teller(language).vformat(sentence, (), _in_units(message.fields, language, units))


class _Teller(string.Formatter):
    """Fills a sentence in; numbers take the language's own marks."""

    def __init__(self, language: str) -> None:
        self.language = language

    def format_field(self, value: Any, format_spec: str) -> str:
        told = format(value, format_spec)
        return with_marks(told, self.language) if isinstance(value, int | float) else told


def with_marks(number: str, language: str) -> str:
    """Return a number written with point and comma in the marks of a language (`[numbers]` of its word list)."""
    marks = word_lists()[language]["numbers"]
    return number.translate({ord("."): marks["decimal_mark"], ord(","): marks["thousands_mark"]})


def reader_unit(name: str, language: str, units: str) -> tuple[float, int, str]:
    """Return the reader's unit of a quantity named in SI: what to divide by, digits shown, sign in the language."""
    divisor, digits, sign = next(told[units] for ending, told in _FIELD_UNITS.items() if name.endswith(ending))
    return divisor, digits, word_lists()[language]["signs"].get(sign.replace("/", "_per_").replace(" ", "_"), sign)


def figure(name: str, value: float, language: str, units: str) -> str:
    """Return a measured value in the reader's units, with its unit; a dash where it is not finite.

    Parameters
    ----------
    name : str
        Its SI name; the ending is its unit, as in `say`.

    Examples
    --------
    >>> figure("row_length_m", 1000.0, "en", "us")
    '3,281 ft'
    """
    divisor, digits, sign = reader_unit(name, language, units)
    if not math.isfinite(value):
        return "–"
    return f"{with_marks(f'{value / divisor:,.{digits}f}', language)} {sign}"


def told_phrase(text: str, language: str) -> str:
    """Return a text of the rule book or of the model in a language: whole or, where only pieces are known, by pieces.

    What no word list knows (names of people, journals and titles) stays as it is.

    Examples
    --------
    >>> told_phrase("common practice, no source", "es")
    'práctica común, sin fuente'
    """
    known = _phrases(language)
    if text in known:
        return known[text]
    mark = next((mark for mark in ("; ", " + ", ": ", ", ") if mark in text), None)
    return text if mark is None else mark.join(told_phrase(piece, language) for piece in text.split(mark))


@cache
def _phrases(language: str) -> dict[str, str]:
    """English phrase -> the same in a language."""
    told = word_lists()[language]["phrases"]
    return {english: told[name] for name, english in word_lists()["en"]["phrases"].items()}


def _in_units(fields: Mapping[str, Any], language: str, units: str) -> dict[str, Any]:
    told: dict[str, Any] = {}
    for name, value in fields.items():
        ending = next((ending for ending in _FIELD_UNITS if name.endswith(ending)), None)
        if isinstance(value, Message):
            told[name] = say(value, language, units)
        elif ending and isinstance(value, int | float):
            told[name] = figure(name, value, language, units)
        elif name in _BOOK_FIELDS and isinstance(value, str):
            told[name] = told_phrase(value, language)
        else:
            told[name] = value
    return told
