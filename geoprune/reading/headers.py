"""Names of columns as people write them: the words, the unit, and how near they are to a column that is read."""

from __future__ import annotations

import re
import unicodedata
from difflib import SequenceMatcher
from functools import cache

from geoprune.layers import Column

#: Words that say nothing of what a column holds.
EMPTY_WORDS = frozenset(
    [
        "de",
        "del",
        "la",
        "el",
        "los",
        "las",
        "en",
        "por",
        "per",
        "di",
        "da",
        "do",
        "dos",
        "das",
        "des",
        "du",
        "le",
        "les",
        "the",
        "of",
        "n",
        "no",
        "nr",
        "nro",
        "num",
        "º",
        "°",
        "y",
        "e",
    ]
)
#: How units are written, beside their own sign.
UNIT_WORDS = {
    "kg": "kg kgs kilo kilos kilogram kilograms kilogramo kilogramos kilogrammi kilogramm chilogrammi chili",
    "g": "gr grs gramo gramos gram grams grammi gramme grammes gramm gramas",
    "lb": "lbs pound pounds libra libras",
    "oz": "ounce ounces onza onzas",
    "m": "mt mts metro metros metre metres meter meters metri mètres",
    "cm": "cms centimetros centimetres centimeters centimetri",
    "ft": "feet foot pies pie piedi pieds",
    "mm": "mms milimetros millimetres millimeters millimetri",
    "in": "inch inches pulgada pulgadas pollici",
    "t": "tonelada toneladas tonne tonnes tonnellate tonnen",
    "ton": "tons",
}
#: Units that are the whole name of a column now and then.
ALONE = frozenset({"kg", "g", "lb", "oz"})
#: A unit in brackets at the end of a name, or behind a comma.
IN_BRACKETS = re.compile(r"[(\[{]\s*([^)\]}]*?)\s*[)\]}]\s*$|,\s*(\w{1,3})\s*$")
#: A name this near to another, letter by letter, may be the same word in another form or misspelt (design choice).
NEAR = 0.84
#: Letters that a word cut short keeps at least (design choice).
SHORTEST = 3


def fold(text: str) -> str:
    """Return a name's words in small letters, without accents and marks, a blank between each.

    Examples
    --------
    >>> fold("Peso-de PODA, cáña")
    'peso de poda cana'
    """
    apart = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(letter for letter in apart if not unicodedata.combining(letter))
    return " ".join(re.sub(r"[^0-9a-z]+", " ", plain.replace("ß", "ss")).split())


@cache
def _signs() -> dict[str, str]:
    return {fold(word): unit for unit, words in UNIT_WORDS.items() for word in (unit, *words.split())}


def unit_of(header: str) -> str:
    """Return the unit that a name carries: in brackets, as its last word, or as a word that is a unit; "" without one.

    Examples
    --------
    >>> unit_of("Peso de poda (g)"), unit_of("kilos de poda"), unit_of("row_spacing_ft"), unit_of("gr"), unit_of("peso")
    ('g', 'kg', 'ft', 'g', '')
    """
    bracket = IN_BRACKETS.search(header)
    if bracket:
        inside = fold(bracket[1] or bracket[2] or "").split()
        found = next((_signs()[word] for word in inside if word in _signs()), "")
        if found:
            return found
    words = fold(header).split()
    if words and words[-1] in _signs() and (len(words) > 1 or _signs()[words[-1]] in ALONE):
        return _signs()[words[-1]]
    return next((_signs()[word] for word in words if len(word) > 2 and word in _signs()), "")


def words_of(header: str) -> tuple[str, ...]:
    """Return the words of a name that say what a column holds: without its unit and small words."""
    bracket = IN_BRACKETS.search(header)
    words = fold(header[: bracket.start()] if bracket else header).split()
    kept = [word for word in words if word not in EMPTY_WORDS]
    if len(kept) > 1 and kept[-1] in _signs():
        kept = kept[:-1]
    return tuple(kept) or tuple(words)


def likeness(header: str, entry: Column) -> float:
    """Return how near a column's name is to what an entry is called: 1 the same words, 0 nothing in common.

    A name that holds all words of another counts by how many more it has; words that are nearly the same count as such.
    """
    words = words_of(header)
    return max((_alike(words, other) for other in _names(entry)), default=0.0)


@cache
def _names(entry: Column) -> tuple[tuple[str, ...], ...]:
    return tuple(dict.fromkeys(words_of(name.replace("_", " ")) for name in (entry.name, *entry.also)))


def _alike(words: tuple[str, ...], other: tuple[str, ...]) -> float:
    if not words or not other:
        return 0.0
    if words == other:
        return 1.0
    if set(other) <= set(words):
        return 0.5 + 0.45 * len(other) / len(words)
    if len(words) == len(other) and all(o.startswith(w) and len(w) >= SHORTEST for w, o in zip(words, other, strict=True)):
        return 0.85
    ratio = SequenceMatcher(None, " ".join(words), " ".join(other)).ratio()
    return 0.8 * ratio if ratio >= NEAR else 0.0
