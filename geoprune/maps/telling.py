"""The words of a page, and a plan's own sentences told in each language and unit."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from itertools import groupby
from operator import attrgetter
from typing import Any

from geoprune.errors import Message, Remark
from geoprune.plan import BlockPlan, estate_stop_message, stop_message, young_messages
from geoprune.rules import Recipe, split_advice
from geoprune.words import UNITS, say, word_lists


def page_words() -> dict[str, dict[str, str]]:
    """Return language code -> the `[map]` table of its word list with the signs of units.

    Languages without one cannot be chosen.
    """
    return {
        code: rooms["map"] | {f"sign_{name}": sign for name, sign in rooms["signs"].items()}
        for code, rooms in word_lists().items()
        if "map" in rooms
    }


def tell_plan(plan: BlockPlan) -> dict[str, dict[str, dict[str, Any]]]:
    """Return language -> units -> the plan's sentences: reasons, advice per zone, notes of the block, remarks."""
    return {
        language: {units: _sentences(plan, partial(say, language=language, units=units), language) for units in UNITS}
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


def zone_recipes(plan: BlockPlan, language: str) -> dict[int, str]:
    """Return zone -> what is left on the vine in one line; "" where there is no number or it does not fit the wood."""
    told = {int(line["zone"]): str(line["recipe"] or "").replace(" x ", " × ") for line in plan.zones.to_dict("records")}
    return told | {entry.zone: short_recipe(entry.recipe, language) for entry in plan.advice if entry.recipe}


def short_recipe(recipe: Recipe, language: str) -> str:
    """Return the parts in one line: "canes 1 × 11 + 2 × 10 · renewal 2 × 2"."""
    words = word_lists()[language]["card"]
    told = []
    for kind, group in groupby(recipe.parts, key=attrgetter("kind")):
        parts = list(group)
        name = words[f"{kind}_one" if sum(part.count for part in parts) == 1 else kind]
        told.append(f"{name} {' + '.join(f'{part.count} × {part.buds}' for part in parts)}")
    return " · ".join(told)


def _sentences(plan: BlockPlan, tell: Callable[[Message], str], language: str) -> dict[str, Any]:
    shared, alone = split_advice(plan.advice)
    advice = zip(plan.advice, alone, strict=True)
    stop = stop_message(plan)
    return {
        "recipes": zone_recipes(plan, language),
        "stop": None if stop is None else tell(stop),
        "reasons": [tell(reason) for reason in (*young_messages(plan), *plan.verdict_reasons)],
        "shared": [tell(line) for line in shared],
        "advice": [{"zone": entry.zone, "lines": [tell(line) for line in lines]} for entry, lines in advice],
        "notes": [tell(note) for note in plan.notes],
        "remarks": [tell(remark.message) for remark in plan.remarks],
    }
