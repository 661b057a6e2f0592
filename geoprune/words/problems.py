"""Faults of files in the reader's language: looked up by the English sentence they were noted with."""

from __future__ import annotations

import re
from functools import cache

from geoprune.errors import Problem
from geoprune.text import cut_names, one_line
from geoprune.words import word_lists

FIELD = re.compile(r"\{(\d+)\}")


def problem_sentence(problem: Problem, language: str) -> str:
    """Return a problem as one sentence in a language; what no word list knows stays in English.

    Examples
    --------
    >>> fault = Problem("pesos.csv", "samples", "line 3", "column vine is missing", "Add a column vine")
    >>> problem_sentence(fault, "es")
    'pesos.csv, capa samples, línea 3: falta la columna vine. Agregue una columna vine.'
    """
    if language == "en":
        return str(problem)
    layer = problem.layer and f"layer {problem.layer}"
    place = ", ".join(
        part for part in (problem.file, translated(layer, language), translated(problem.row, language)) if part
    )
    sentence = f"{translated(problem.what, language)}. {translated(problem.mend, language)}."
    return cut_names(one_line(f"{place}: {sentence}" if place else sentence))


def translated(text: str, language: str) -> str:
    """Return an English sentence of a fault in a language, with what it was filled with; itself where it is not known."""
    for shape, template in _shapes(language):
        if found := shape.fullmatch(text):
            pieces = {name[1:]: _filled(piece, language) for name, piece in found.groupdict().items()}
            parts = FIELD.split(template)
            return "".join(pieces[part] if place % 2 else part for place, part in enumerate(parts))
    return text


def _filled(piece: str, language: str) -> str:
    """What a sentence was filled with; lists of counted faults are sentences themselves."""
    return ", ".join(translated(part, language) for part in piece.split(", ")) if re.match(r"\d+ [a-z]", piece) else piece


@cache
def _shapes(language: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Shapes of the English sentences and the same in a language, those with the most words of their own first."""
    known = word_lists()[language].get("problems", {})
    order = sorted(known, key=lambda english: -len(FIELD.sub("", english)))
    return tuple((re.compile(_shape(english), re.DOTALL), known[english]) for english in order)


def _shape(english: str) -> str:
    """A sentence as a pattern: whatever it may be filled with at each field."""
    pieces = FIELD.split(english)
    parts = [re.escape(piece) if place % 2 == 0 else f"(?P<f{piece}>.+?)" for place, piece in enumerate(pieces)]
    return "".join(parts)
