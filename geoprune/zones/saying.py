"""Sentences about zones, as keys and figures, told in English or Spanish."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any


@dataclass(frozen=True)
class Message:
    """A sentence that can be told in several languages.

    `key` names it in the word lists (`geoprune/words/<language>.toml`) as "section.name"; `fields` fill it.
    """

    key: str
    fields: Mapping[str, Any] = field(default_factory=dict)


@cache
def _words(language: str) -> dict[str, Any]:
    text = (files("geoprune") / "words" / f"{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def tell(messages: Iterable[Message], *, language: str = "en") -> str:
    """Tell messages, one after the other, in "en" or "es".

    Raises
    ------
    ValueError
        For a language there are no words for.
    """
    if language not in ("en", "es"):
        raise ValueError(f"no words for language {language!r}: en or es")
    words = _words(language)
    told = []
    for message in messages:
        section, name = message.key.split(".")
        told.append(words[section][name].format(**message.fields))
    return " ".join(told)
