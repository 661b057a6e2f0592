"""A grower's own rules from a TOML file of the same form as the published ones, checked entry by entry."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

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


def entry_rule(entry: Mapping[str, Any]) -> Rule:
    """Return the rule of one checked ``[[rule]]`` table."""
    fields: dict[str, Any] = {key: tuple(entry.get(key, ())) for key in ("cultivars", "aliases")}
    fields |= {key: float(entry[key]) for key in ("first", "further", "floor", "cap") if key in entry}
    fields |= {key: str(entry.get(key, "")) for key in ("group", "validity", "thinning", "source")}
    return Rule(
        id=str(entry["id"]),
        title=str(entry.get("title", entry["id"])),
        unit=UNIT_WORDS[str(entry["unit"]).casefold()],
        tag=str(entry.get("tag", "own")),
        **fields,
    )


def read_own_rules(path: Path, known: tuple[Rule, ...]) -> tuple[Rule, ...]:
    """Read a grower's rules; `known` are the rules whose names are taken.

    Raises
    ------
    DataError
        With every problem of the file.
    """
    entries = _own_entries(path)
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


def _own_entries(path: Path) -> list[dict[str, Any]]:
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise single_problem("the file of rules cannot be read", f"{error.strerror}", file=path.name) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise single_problem("the file is not valid TOML", f"Mend it: {error}", file=path.name) from None
    entries = data.get("rule")
    if not isinstance(entries, list) or not entries or not all(isinstance(e, dict) for e in entries):
        raise single_problem("no [[rule]] is in the file", "Write one [[rule]] table per rule", file=path.name)
    return entries


def _entry_faults(entry: Mapping[str, Any]) -> list[tuple[str, str]]:
    faults = []
    for key, mend in _NEEDED.items():
        if not str(entry.get(key, "")).strip():
            faults.append((f"`{key}` is missing", mend))
    for key in sorted(set(entry) - _KNOWN_KEYS):
        faults.append((f"`{key}` is not a key of a rule", f"Use {', '.join(sorted(_KNOWN_KEYS))}"))
    for key in ("first", "further", "floor", "cap"):
        value = entry.get(key, 0)
        if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
            faults.append((f"`{key}` is {value!r}, not a number of buds", "Write a number"))
    for key in ("cultivars", "aliases"):
        value = entry.get(key, [])
        if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
            faults.append((f"`{key}` is not a list of names", f'Write it like {key} = ["Concord"]'))
    if entry.get("unit") and str(entry["unit"]).casefold() not in UNIT_WORDS:
        faults.append((f"`unit` is {entry['unit']!r}", _NEEDED["unit"]))
    if "tag" in entry and entry["tag"] not in TAGS:
        faults.append((f"`tag` is {entry['tag']!r}", f"Use one of {', '.join(TAGS)}"))
    return faults


_NEEDED = {
    "id": "Give the rule a name",
    "first": "Write the buds for the first pound or kilogram",
    "further": "Write the buds for each further pound or kilogram",
    "unit": 'Write unit = "lb" or unit = "kg"',
    "source": "Say where the rule comes from",
}
_KNOWN_KEYS = set(_NEEDED) | {
    "title", "group", "validity", "thinning", "cultivars", "aliases", "floor", "cap", "tag",
}  # fmt: skip
