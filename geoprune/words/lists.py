"""The word lists: a folder a language, a file a room."""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent


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
