"""Questions to a grower, and their answers as entries of the settings file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from geoprune.errors import Message
from geoprune.jobs.settings_entries import merged


@dataclass(frozen=True)
class Option:
    """An answer: what it says, and what it sets in the settings file."""

    label: Message
    sets: Mapping[str, Any]


@dataclass(frozen=True)
class Question:
    """A question and its answers, the likeliest first; `default` is None where none may be taken unasked."""

    about: Message
    options: tuple[Option, ...]
    default: int | None = 0


#: Chooses one of a question's answers by its place, or None to leave it open.
Answer = Callable[[Question], int | None]


def proposed(question: Question) -> int | None:
    """Answer as proposed; what may not be taken unasked stays open."""
    return question.default


@dataclass
class Sitting:
    """Questions asked so far, their answers, and what these set beyond what was set before."""

    answer: Answer
    before: Mapping[str, Any]
    added: dict[str, Any] = field(default_factory=dict)
    asked: list[tuple[Question, Option | None]] = field(default_factory=list)

    @property
    def tables(self) -> dict[str, Any]:
        """The settings as they stand now."""
        return merged(self.before, self.added)

    def ask(self, about: Message, options: list[Option], default: int | None = 0) -> Option | None:
        """Ask, and keep what the answer sets."""
        question = Question(about, tuple(options), default if options else None)
        chosen = self.answer(question) if options else None
        option = None if chosen is None else question.options[chosen]
        self.asked.append((question, option))
        if option is not None:
            self.added = merged(self.added, option.sets)
        return option
