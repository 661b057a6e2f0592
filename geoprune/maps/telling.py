"""The words of a page, and a plan's own sentences told in each language and unit."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

from geoprune.errors import Message, Remark
from geoprune.plan import BlockPlan, estate_stop_message, stop_message, young_messages
from geoprune.rules import split_advice
from geoprune.words import UNITS, say, word_lists


def page_words() -> dict[str, dict[str, str]]:
    """Return language code -> the `[map]` table of its word list; languages without one cannot be chosen."""
    return {code: rooms["map"] for code, rooms in word_lists().items() if "map" in rooms}


def tell_plan(plan: BlockPlan) -> dict[str, dict[str, dict[str, Any]]]:
    """Return language -> units -> the plan's sentences: reasons, advice per zone, notes of the block, remarks."""
    return {
        language: {units: _sentences(plan, partial(say, language=language, units=units)) for units in UNITS}
        for language in page_words()
    }


def tell_estate(plans: Iterable[BlockPlan], remarks: Iterable[Remark]) -> dict[str, dict[str, dict[str, Any]]]:
    """Return language -> units -> what is said of the whole vineyard: where to stop, remarks."""
    stop, told = estate_stop_message(plans), tuple(remarks)

    def sentences(tell: Callable[[Message], str]) -> dict[str, Any]:
        return {"stop": None if stop is None else tell(stop), "remarks": [tell(remark.message) for remark in told]}

    return {
        language: {units: sentences(partial(say, language=language, units=units)) for units in UNITS}
        for language in page_words()
    }


def _sentences(plan: BlockPlan, tell: Callable[[Message], str]) -> dict[str, Any]:
    shared, alone = split_advice(plan.advice)
    advice = zip(plan.advice, alone, strict=True)
    stop = stop_message(plan)
    return {
        "stop": None if stop is None else tell(stop),
        "reasons": [tell(reason) for reason in (*young_messages(plan), *plan.verdict_reasons)],
        "shared": [tell(line) for line in shared],
        "advice": [{"zone": entry.zone, "lines": [tell(line) for line in lines]} for entry, lines in advice],
        "notes": [tell(note) for note in plan.notes],
        "remarks": [tell(remark.message) for remark in plan.remarks],
    }
