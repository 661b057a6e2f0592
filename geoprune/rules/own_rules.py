"""A grower's own rules from a TOML file of the same form as the published ones, checked entry by entry."""

from __future__ import annotations

import reprlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from geoprune.errors import DataError, Problem
from geoprune.rules.rule import (
    TAGS,
    UNIT_WORDS,
    Rule,
    impossible,
    is_figures,
    rule_names,
    single_problem,
)
from geoprune.text import one_line
from geoprune.toml_files import read_toml


def entry_rule(entry: Mapping[str, Any]) -> Rule:
    """Return the rule of one checked ``[[rule]]`` table."""
    fields: dict[str, Any] = {key: tuple(one_line(name) for name in entry.get(key, ())) for key in ("cultivars", "aliases")}
    fields |= {key: float(entry[key]) for key in ("first", "further", "floor", "cap") if key in entry}
    fields |= {key: one_line(entry.get(key, "")) for key in ("group", "validity", "thinning", "source")}
    return Rule(
        id=str(entry["id"]),
        title=one_line(entry.get("title", entry["id"])),
        unit=UNIT_WORDS[str(entry["unit"]).casefold()],
        tag=one_line(entry.get("tag", "own")),
        unit_buds=int(entry.get("unit_buds", 0)),
        unit_training=str(entry.get("unit_training", "")),
        **fields,
    )


def read_own_rules(path: Path, known: tuple[Rule, ...]) -> tuple[Rule, ...]:
    """Read a grower's rules; `known` are the rules whose names are taken.

    Raises
    ------
    DataError
        With every problem of the file.
    """
    entries = read_entries(path, "rule")
    taken = {name for rule in known for name in rule_names(rule)}
    problems, rules = [], []
    for number, entry in enumerate(entries, start=1):
        row = f"rule {number}" + (f" '{entry['id']}'" if isinstance(entry.get("id"), str) else "")
        faults = _entry_faults(entry)
        if not faults:
            rule = entry_rule(entry)
            if wrong := impossible(rule):
                faults.append((f"the rule is impossible: {wrong}", "Check the figures"))
            if any(is_figures(name) for name in (rule.id, *rule.aliases)):
                faults.append(("its name reads like a rule in figures", "Name it in words"))
            if taken & rule_names(rule):
                faults.append(("its name is taken by another rule", "Give it a name of its own"))
            taken |= rule_names(rule)
            rules.append(rule)
        problems += [Problem(path.name, "", row, what, mend) for what, mend in faults]
    if problems:
        raise DataError(problems)
    return tuple(rules)


def read_entries(path: Path, table: str) -> list[dict[str, Any]]:
    """Read the tables ``[[table]]`` of a grower's TOML file.

    Raises
    ------
    DataError
        If the file cannot be read, is no TOML, or has no such table.
    """
    data = read_toml(path)
    entries = data.get(table)
    if not isinstance(entries, list) or not entries or not all(isinstance(entry, dict) for entry in entries):
        raise single_problem(f"no [[{table}]] is in the file", f"Write one [[{table}]] each", file=path.name)
    return entries


def is_number(value: Any) -> bool:
    """Return whether a value of a TOML file is a number to count with."""
    return isinstance(value, int | float) and not isinstance(value, bool) and -1e12 < value < 1e12


def shown(value: Any) -> str:
    """Return a value of a TOML file as it is quoted in a message: short."""
    try:
        return reprlib.repr(value)
    except ValueError:
        return "a number of thousands of digits"


def text_faults(entry: Mapping[str, Any], needed: Mapping[str, str], others: Iterable[str] = ()) -> list[tuple[str, str]]:
    """Return what is wrong with the texts of a table: `needed` ones (key -> how to mend) missing, or no text."""
    faults = []
    for key in (*needed, *(other for other in others if other in entry)):
        value = entry.get(key, "")
        if not isinstance(value, str):
            faults.append((f"`{key}` is {shown(value)}, not text", "Write it in quotes"))
        elif key in needed and not one_line(value):
            faults.append((f"`{key}` is missing", needed[key]))
        elif key == "id" and value.strip() != one_line(value):
            faults.append(("`id` holds line breaks or hidden characters", "Write it as plain text on one line"))
    return faults


def _entry_faults(entry: Mapping[str, Any]) -> list[tuple[str, str]]:
    faults = text_faults(entry, _NEEDED_TEXT, _TEXT)
    for key in sorted(set(entry) - _KNOWN_KEYS):
        faults.append((f"`{key}` is not a key of a rule", f"Use {', '.join(sorted(_KNOWN_KEYS))}"))
    for key in ("first", "further", "floor", "cap"):
        if key not in entry and key in _NEEDED_NUMBERS:
            faults.append((f"`{key}` is missing", _NEEDED_NUMBERS[key]))
        elif key in entry and not is_number(entry[key]):
            faults.append((f"`{key}` is {shown(entry[key])}, not a number of buds", "Write a number"))
    for key in ("cultivars", "aliases"):
        value = entry.get(key, [])
        if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
            faults.append((f"`{key}` is not a list of names", f'Write it like {key} = ["Concord"]'))
    unit, tag = entry.get("unit"), entry.get("tag", "own")
    if isinstance(unit, str) and unit and unit.casefold() not in UNIT_WORDS:
        faults.append((f"`unit` is {shown(unit)}", _NEEDED_TEXT["unit"]))
    if isinstance(tag, str) and tag not in TAGS:
        faults.append((f"`tag` is {shown(tag)}", f"Use one of {', '.join(TAGS)}"))
    return faults


_NEEDED_TEXT = {
    "id": "Give the rule a name",
    "unit": 'Write unit = "lb" or unit = "kg"',
    "source": "Say where the rule comes from",
}
_NEEDED_NUMBERS = {
    "first": "Write the buds for the first pound or kilogram",
    "further": "Write the buds for each further pound or kilogram",
}
_TEXT = ("title", "group", "validity", "thinning", "tag")
_KNOWN_KEYS = {*_NEEDED_TEXT, *_NEEDED_NUMBERS, *_TEXT, "cultivars", "aliases", "floor", "cap"}
