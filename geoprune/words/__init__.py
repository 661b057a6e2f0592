"""The words of every page, sheet, table and terminal: a folder a language, a file a room, and one reader for all."""

from geoprune.words.lists import languages, preferred_language, preferred_locale, room_words, word_lists
from geoprune.words.measures import MEASURES, UNITS, ending_of
from geoprune.words.reader import DEFAULT_LOCALES, Reader, locale_for, say

__all__ = [
    "DEFAULT_LOCALES",
    "MEASURES",
    "UNITS",
    "Reader",
    "ending_of",
    "languages",
    "locale_for",
    "preferred_language",
    "preferred_locale",
    "room_words",
    "say",
    "word_lists",
]
