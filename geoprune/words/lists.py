"""The word lists: a folder a language, a file a room."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, MutableMapping
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent
#: Names a language for everything that is told, where none is typed or set.
CHOSEN = "GEOPRUNE_LANGUAGE"
#: Where a system says its users' locale, the first that is set (POSIX.1-2017, base definitions 8.2).
LOCALES = ("LC_ALL", "LC_MESSAGES", "LANG")


class Rooms(MutableMapping[str, dict[str, str]]):
    """Room -> name -> sentence of one language; a room's file is read when it is first asked for."""

    def __init__(self, language: str) -> None:
        self._language = language
        self._rooms = sorted(path.stem for path in (FOLDER / language).glob("*.toml"))
        self._read: dict[str, dict[str, str]] = {}

    def __getitem__(self, room: str) -> dict[str, str]:
        if room not in self._read:
            if room not in self._rooms:
                raise KeyError(room)
            self._read[room] = dict(room_words(self._language, room))
        return self._read[room]

    def __setitem__(self, room: str, words: dict[str, str]) -> None:
        self._read[room] = words

    def __delitem__(self, room: str) -> None:
        del self._read[room]

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys((*self._rooms, *self._read)))

    def __len__(self) -> int:
        return len({*self._rooms, *self._read})


@cache
def word_lists() -> dict[str, Rooms]:
    """Return language code -> room -> name -> sentence; a new list is found by being there."""
    return {code: Rooms(code) for code in languages()}


@cache
def room_words(language: str, room: str) -> dict[str, str]:
    """Return name -> sentence of one room, for those who need no other."""
    import tomllib  # here, because the command line's help may ask for the languages alone

    return tomllib.loads((FOLDER / language / f"{room}.toml").read_text(encoding="utf-8"))


@cache
def languages() -> tuple[str, ...]:
    """Return the codes of the languages there are word lists for."""
    return tuple(sorted(room.parent.name for room in FOLDER.glob("*/signs.toml")))


def preferred_language(environment: Mapping[str, str] = os.environ) -> str:
    """Return the language that is told where none is typed or set: that of GEOPRUNE_LANGUAGE, else of the system's locale.

    English where there is neither, or no word list for it.

    Examples
    --------
    >>> preferred_language({"LANG": "es_AR.UTF-8"}), preferred_language({"LANG": "C"})
    ('es', 'en')
    """
    wanted = (environment.get(CHOSEN, ""), preferred_locale(environment).split("_")[0])
    return next((language for language in wanted if language in languages()), "en")


def preferred_locale(environment: Mapping[str, str] = os.environ) -> str:
    """Return the system's locale, such as "es_AR"; "" where it names none."""
    locale = next((environment[name] for name in LOCALES if environment.get(name)), "")
    place = locale.partition(".")[0].partition("@")[0]
    return "" if place in ("C", "POSIX") else place
