"""Who reads: in what language, units and marks of numbers."""

from __future__ import annotations

import math
import string
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property
from typing import Any

from geoprune.errors import Message
from geoprune.words.lists import languages, preferred_locale, word_lists
from geoprune.words.measures import MEASURES, UNITS, ending_of

#: Where a language is read, unless a locale says otherwise: it decides the marks of numbers and how days are written.
DEFAULT_LOCALES = {"en": "en_US", "es": "es_MX"}
#: Fields that hold text of the rule book, in English there.
_BOOK_FIELDS = ("source", "validity", "title", "method")


@dataclass(frozen=True)
class Reader:
    """A person who reads: says messages, figures, numbers and days as this person reads them.

    Parameters
    ----------
    language : str
        Code of a word list.
    units : {"us", "metric"}
    locale : str
        CLDR locale of the language, such as "es_ES" or "es-MX": marks of numbers and how days are written. "" for the
        language's own (`DEFAULT_LOCALES`, else the language's code).

    Raises
    ------
    ValueError
        If there is no such word list, unit system or locale, or the locale is another language's.

    Examples
    --------
    >>> Reader("en", "us").say(Message("map.size_sentence", {"vine_size_kg": 0.90718474}))
    'Pruning weight 2.0 lb per vine.'
    """

    language: str = "en"
    units: str = "us"
    locale: str = ""

    def __post_init__(self) -> None:
        if self.language not in languages():
            raise ValueError(f"no word list for language {self.language!r}: {', '.join(languages())}")
        if self.units not in UNITS:
            raise ValueError(f"units {self.units!r}: {' or '.join(UNITS)}")
        place = self.locale or DEFAULT_LOCALES.get(self.language, self.language)
        object.__setattr__(self, "locale", _known_locale(place, self.language))

    @property
    def tag(self) -> str:
        """The locale as a BCP 47 tag, for a page's script."""
        return self.locale.replace("_", "-")

    def words(self, room: str) -> Mapping[str, str]:
        """Return the sentences of a room, by name."""
        return word_lists()[self.language][room]

    def say(self, message: Message) -> str:
        """Return a sentence of the word lists, filled in.

        SI fields (names ending in `_kg`, `_m`, `_ha` ...: `MEASURES`) are turned into the reader's units and carry them; a
        field that is a Message itself is said first; of a mapping, the entry of the reader's units is said. Where the list
        has the sentence in a form of number of its own ("name_one"), the message's field `count` chooses the form.

        Raises
        ------
        KeyError
            If there is no such sentence, or a field of it is not given.
        """
        room, _, name = message.key.partition(".")
        words = word_lists()[self.language].get(room, {})
        count = message.fields.get("count")
        if f"{name}_one" in words and isinstance(count, int | float) and self.plural(count) == "one":
            name = f"{name}_one"
        if name not in words:
            raise KeyError(message.key)
        return self._fill(words[name], {name: self._field(name, value) for name, value in message.fields.items()})

    def plural(self, count: float) -> str:
        """Return the form of number that a count takes, as CLDR names it: "one", "other", ..."""
        return _locale(self.locale).plural_form(count)

    def number(self, value: float, digits: int = 0) -> str:
        """Return a number with the reader's marks; a dash where it is not finite."""
        if not math.isfinite(value):
            return "–"
        return self.marked(f"{round(value, digits) + 0.0:,.{digits}f}").replace("-", "−")

    def marked(self, number: str) -> str:
        """Return a number written with point and comma in the reader's marks."""
        return number.translate(self._marks)

    def unit(self, name: str) -> tuple[float, int, str]:
        """Return the reader's unit of a quantity named in SI: what to divide by, digits shown, sign."""
        divisor, digits, sign = MEASURES[ending_of(name) or ""][self.units]
        return divisor, digits, self.words("signs").get(sign.replace("/", "_per_").replace(" ", "_"), sign)

    def figure(self, name: str, value: float | None, digits: int | None = None) -> str:
        """Return a measured value in the reader's units, with its unit; a dash where it is not known.

        Examples
        --------
        >>> Reader("en", "us").figure("row_length_m", 1000.0)
        '3,281 ft'
        """
        divisor, usual, sign = self.unit(name)
        if value is None or not math.isfinite(value):
            return "–"
        return f"{self.marked(f'{value / divisor:,.{usual if digits is None else digits}f}')} {sign}"

    def date(self, day: date) -> str:
        """Return a day as the reader writes it."""
        from babel.dates import format_date

        return format_date(day, "long", locale=self.locale)

    def phrase(self, text: str) -> str:
        """Return a text of the rule book or of the model in the language: whole or, where only pieces are known, by pieces.

        What no word list knows (names of people, journals and titles) stays as it is.

        Examples
        --------
        >>> Reader("es").phrase("common practice, no source")
        'práctica común, sin fuente'
        """
        known = _phrases(self.language)
        if text in known:
            return known[text]
        mark = next((mark for mark in ("; ", " + ", ": ", ", ") if mark in text), None)
        return text if mark is None else mark.join(self.phrase(piece) for piece in text.split(mark))

    def _fill(self, sentence: str, fields: Mapping[str, Any]) -> str:
        """Fill a sentence in; numbers take the reader's own marks."""
        parts = []
        for before, name, spec in _parts(sentence):
            parts.append(before)
            if name is not None:
                value = fields[name]
                text = _written(value, spec)
                parts.append(self.marked(text) if isinstance(value, int | float) else text)
        return "".join(parts)

    def _field(self, name: str, value: Any) -> Any:
        if isinstance(value, Mapping):
            return value[self.units]
        if isinstance(value, Message):
            return self.say(value)
        if ending_of(name) and isinstance(value, int | float):
            return self.figure(name, value)
        if name in _BOOK_FIELDS and isinstance(value, str):
            return self.phrase(value)
        return value

    @cached_property
    def _marks(self) -> dict[int, str]:
        return _number_marks(self.locale)


def locale_for(language: str) -> str:
    """Return the system's locale where it is one of a language, "" for the language's own."""
    place = preferred_locale()
    try:
        return _known_locale(place, language) if place else ""
    except ValueError:
        return ""


def say(message: Message, language: str, units: str) -> str:
    """Return a message as a reader of a language and units reads it (`Reader.say`)."""
    return Reader(language, units).say(message)


def _written(value: Any, spec: str) -> str:
    """A field's value as text; percent have a blank before their sign, as everywhere else that they are said."""
    return f"{format(100 * value, spec[:-1] + 'f')} %" if spec.endswith("%") else format(value, spec)


@cache
def _parts(sentence: str) -> tuple[tuple[str, str | None, str], ...]:
    """The parts of a sentence: text, then the field that follows it, None at the end, and how that is written."""
    return tuple((before, name, spec or "") for before, name, spec, _ in string.Formatter().parse(sentence))


@cache
def _locale(place: str) -> Any:
    from babel import Locale

    return Locale.parse(place)


@cache
def _known_locale(place: str, language: str) -> str:
    """The locale as CLDR writes it; a language that CLDR does not know keeps its code."""
    from babel import Locale, UnknownLocaleError

    try:
        found = Locale.parse(place.replace("-", "_"))
    except (UnknownLocaleError, ValueError):
        raise ValueError(f"there is no locale {place!r}; write one such as en_US or es_MX") from None
    if found.language != language:
        raise ValueError(f"the locale {place!r} is not one of the language {language!r}")
    return str(found)


@cache
def _number_marks(place: str) -> dict[int, str]:
    from babel.numbers import get_decimal_symbol, get_group_symbol

    return {ord("."): get_decimal_symbol(place), ord(","): get_group_symbol(place)}


@cache
def _phrases(language: str) -> dict[str, str]:
    """English phrase -> the same in a language."""
    phrases = word_lists()[language]["phrases"]
    return {english: phrases[name] for name, english in word_lists()["en"]["phrases"].items()}
