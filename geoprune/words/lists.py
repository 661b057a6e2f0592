"""The word lists: a folder a language, a file a room."""

from __future__ import annotations

from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent


@cache
def word_lists() -> dict[str, dict[str, dict[str, str]]]:
    """Return language code -> room -> name -> sentence; a new list is found by being there."""
    return {
        code: {room.stem: dict(room_words(code, room.stem)) for room in sorted((FOLDER / code).glob("*.toml"))}
        for code in languages()
    }


@cache
def room_words(language: str, room: str) -> dict[str, str]:
    """Return name -> sentence of one room, for those who need no other."""
    import tomllib  # here, because the command line's help may ask for the languages alone

    return tomllib.loads((FOLDER / language / f"{room}.toml").read_text(encoding="utf-8"))


@cache
def languages() -> tuple[str, ...]:
    """Return the codes of the languages there are word lists for."""
    return tuple(sorted(room.parent.name for room in FOLDER.glob("*/signs.toml")))
