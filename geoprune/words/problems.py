"""Faults of files in the reader's language: looked up by the English sentence they were noted with."""

from __future__ import annotations

import re
from functools import cache

from geoprune.errors import Problem
from geoprune.text import cut_names, one_line
from geoprune.words import word_lists

#: A field of a sentence, {1}; {s1} holds a sentence of its own.
FIELD = re.compile(r"\{(s?)(\d+)\}")
PLAIN = re.compile(r"\{(\d+)\}")
#: Where a sentence ends and another begins: what a field holds is none of several.
SENTENCES = re.compile(r"[.?] [A-Z]")
#: Names of which one is wanted.
EITHER = re.compile(r"(?:'[^']*'|[\w.-]+)(?: or (?:'[^']*'|[\w.-]+))+")
#: What stands before a sentence, such as the setting it is about.
NAMED = re.compile(r"[\w./-]+: ")


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
        part
        for part in (translated(problem.file, language), translated(layer, language), translated(problem.row, language))
        if part
    )
    sentence = f"{translated(problem.what, language)}. {translated(problem.mend, language)}."
    return cut_names(one_line(f"{place}: {sentence}" if place else sentence))


def translated_text(text: str, language: str) -> str:
    """Return English text of several sentences in a language; sentences that no word list knows stay as they are.

    Examples
    --------
    >>> translated_text("Missing option '--out'.", "es")
    "Falta la opción '--out'."
    """
    if language == "en":
        return text
    lines = [_translated_line(line, language) for line in text.splitlines()]
    return "\n".join(lines)


def _translated_line(text: str, language: str) -> str:
    """Sentences on one line: the most of them that are known together, then the rest."""
    parts = re.split(r"(?<=[.?]) ", text)
    for count in range(len(parts), 0, -1):
        head = " ".join(parts[:count])
        known = _known(head, language) or (head.endswith(".") and _known(head[:-1], language, "."))
        if known:
            return " ".join(
                filter(None, (known, _translated_line(" ".join(parts[count:]), language) if parts[count:] else ""))
            )
    named = NAMED.match(text)
    if named:
        return named[0] + _translated_line(text[named.end() :], language)
    rest = " ".join(parts[1:])
    return f"{parts[0]} {_translated_line(rest, language)}" if rest else parts[0]


def translated(text: str, language: str) -> str:
    """Return an English sentence of a fault in a language, with what it was filled with; itself where it is not known."""
    return _known(text, language) or text


def _known(text: str, language: str, end: str = "") -> str:
    """The sentence in a language and what it ends in, "" where no list knows it."""
    torn = ""
    for shape, template in _shapes(language):
        found = shape.fullmatch(text)
        if found and not any(SENTENCES.search(found[f"f{plain}"]) for plain in PLAIN.findall(template)):
            filled = _fill(template, found, language) + end
            if all(piece.count("(") == piece.count(")") for piece in found.groups()):
                return filled
            torn = torn or filled  # right only where a name in the file has one bracket
    return torn


def _fill(template: str, found: re.Match[str], language: str) -> str:
    return FIELD.sub(lambda field: _filled(found[f"f{field[2]}"], bool(field[1]), language), template)


def _filled(piece: str, sentence: bool, language: str) -> str:
    """What a sentence was filled with; some of these, and lists of counted faults, are sentences themselves."""
    if sentence:
        return _translated_line(piece, language)
    if EITHER.fullmatch(piece):
        return f" {translated('or', language)} ".join(piece.split(" or "))
    return ", ".join(translated(part, language) for part in piece.split(", ")) if re.match(r"\d+ [a-z]", piece) else piece


@cache
def _shapes(language: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Shapes of the English sentences and the same in a language, those with the most words of their own first."""
    known = word_lists()[language].get("problems", {})
    order = sorted(known, key=lambda english: -len(FIELD.sub("", english)))
    return tuple((re.compile(_shape(english), re.DOTALL), known[english]) for english in order)


def _shape(english: str) -> str:
    """A sentence as a pattern: whatever it may be filled with at each field."""
    parts, at = [], 0
    for field in FIELD.finditer(english):
        parts += [re.escape(english[at : field.start()]), f"(?P<f{field[2]}>.+?)"]
        at = field.end()
    return "".join([*parts, re.escape(english[at:])])
