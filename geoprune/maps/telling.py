"""The words of a page: every language's word list, and a plan's own sentences told in each language and unit."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from functools import cache, partial
from importlib.resources import files
from typing import Any

from geoprune.units import KG_PER_LB, M2_PER_AC, M2_PER_HA, M_PER_FT, MM_PER_IN

#: Tells a sentence: (message, language, units) -> text. A message has `key` and `fields`, or is text already.
Tell = Callable[[Any, str, str], str]
UNITS = ("us", "metric")

#: Ending of a field's name -> per unit system: divisor, digits, unit's sign.
_FIELD_UNITS: dict[str, dict[str, tuple[float, int, str]]] = {
    "_kg_m": {"metric": (1.0, 2, "kg/m"), "us": (KG_PER_LB / M_PER_FT, 2, "lb/ft")},
    "_kg": {"metric": (1.0, 2, "kg"), "us": (KG_PER_LB, 1, "lb")},
    "_ha": {"metric": (1.0, 2, "ha"), "us": (M2_PER_AC / M2_PER_HA, 2, "ac")},
    "_mm": {"metric": (1.0, 0, "mm"), "us": (MM_PER_IN, 2, "in")},
    "_m": {"metric": (1.0, 0, "m"), "us": (M_PER_FT, 0, "ft")},
}


@cache
def word_lists() -> dict[str, dict[str, dict[str, str]]]:
    """Return language code -> room -> name -> sentence; a new list is found by being there."""
    folder = files("geoprune.words")
    lists = sorted((entry for entry in folder.iterdir() if entry.name.endswith(".toml")), key=lambda e: e.name)
    return {entry.name[:-5]: tomllib.loads(entry.read_text(encoding="utf-8")) for entry in lists}


def page_words() -> dict[str, dict[str, str]]:
    """Return language code -> the `[map]` table of its word list; languages without one cannot be chosen."""
    return {code: rooms["map"] for code, rooms in word_lists().items() if "map" in rooms}


def tell_from_lists(message: Any, language: str, units: str) -> str:
    """Return a sentence of the word lists filled in; text comes back as it is.

    SI fields (`_kg`, `_m`, `_ha`, `_mm`, `_kg_m`) are turned into the reader's units and carry them.

    Raises
    ------
    KeyError
        If the word list has no such sentence.
    """
    if isinstance(message, str):
        return message
    room, _, name = message.key.partition(".")
    sentence = word_lists()[language].get(room, {}).get(name)
    if sentence is None:
        raise KeyError(message.key)
    return sentence.format_map(_in_units(message.fields, units))


def _in_units(fields: Mapping[str, Any], units: str) -> dict[str, Any]:
    told: dict[str, Any] = {}
    for name, value in fields.items():
        ending = next((ending for ending in _FIELD_UNITS if name.endswith(ending)), None)
        if ending and isinstance(value, int | float):
            divisor, digits, sign = _FIELD_UNITS[ending][units]
            told[name] = f"{value / divisor:.{digits}f} {sign}"
        else:
            told[name] = value
    return told


def tell_plan(plan: Any, tell: Tell) -> dict[str, dict[str, dict[str, Any]]]:
    """Return language -> units -> the plan's sentences: reasons, advice per zone, remarks."""
    return {
        language: {units: _sentences(plan, partial(_say, tell, language, units)) for units in UNITS}
        for language in page_words()
    }


def _say(tell: Tell, language: str, units: str, message: Any) -> str:
    return tell(message, language, units)


def _sentences(plan: Any, say: Callable[[Any], str]) -> dict[str, Any]:
    reasons = getattr(plan, "verdict_reasons", None)
    if reasons is None:
        reasons = [plan.reason] if plan.verdict == "one_number" else []
    advice = [
        {"zone": int(entry.zone), "lines": [say(message) for message in _advice_messages(entry)]}
        for entry in getattr(plan, "advice", ())
    ]
    remarks = [say(getattr(remark, "message", remark)) for remark in getattr(plan, "remarks", ())]
    return {"reasons": [say(reason) for reason in reasons], "advice": advice, "remarks": remarks}


def _advice_messages(entry: Any) -> Iterable[Any]:
    yield entry.diagnosis
    for part in (entry.evidence, entry.remedies, entry.notes):
        yield from part
