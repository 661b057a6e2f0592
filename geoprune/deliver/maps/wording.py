"""A brief worded for the page's script: in every language and unit that the page can be switched to."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from geoprune.brief import BlockBrief, Interval, ReplantBrief, ZoneBrief, apart_messages, from_vine_1, row_span
from geoprune.errors import Message, Remark
from geoprune.units import NINETY
from geoprune.words import DEFAULT_LOCALES, UNITS, Reader, word_lists

#: Zones that the estate's page names as farthest out.
MOST_EXTREMES = 5
#: Quantities that a script turns into the reader's units by itself: ending of the SI name.
MEASURED = ("kg", "kg_m", "ha", "m")


def page_words() -> dict[str, dict[str, str]]:
    """Return language code -> the `[map]` table of its word list.

    Languages without one cannot be chosen.
    """
    return {code: rooms["map"] for code, rooms in word_lists().items() if "map" in rooms}


def readers(reader: Reader) -> dict[str, dict[str, Reader]]:
    """Return language -> units -> reader; the reader's own locale stays for the reader's language."""
    places = {code: reader.locale if code == reader.language else DEFAULT_LOCALES.get(code, "") for code in page_words()}
    return {code: {units: Reader(code, units, place) for units in UNITS} for code, place in places.items()}


def in_all_languages(reader: Reader, words_of: Callable[[Reader], dict[str, Any]]) -> dict[str, dict[str, dict[str, Any]]]:
    """Return language -> units -> what `words_of` says to a reader of these."""
    return {code: {units: words_of(one) for units, one in both.items()} for code, both in readers(reader).items()}


def speech_of(reader: Reader) -> dict[str, Any]:
    """Return what a script needs to write numbers and measures by itself as its readers read them."""
    return {
        "language": reader.language,
        "units": reader.units,
        "words": page_words(),
        "locales": {code: both["us"].tag for code, both in readers(reader).items()},
        "measures": in_all_languages(reader, lambda one: {name: one.unit(f"value_{name}") for name in MEASURED}),
        "ninety": NINETY,
    }


def block_words(brief: BlockBrief, reader: Reader) -> dict[str, Any]:
    """Return a block's sentences as one reader reads them."""
    plan, say = brief.plan, reader.say
    first, more = brief.reasons[:1], brief.reasons[1:]  # what the rest reckons stands below the numbers: they come first
    why = [*brief.young, *first, *(line for line in (brief.replant_line, brief.instead) if line is not None)]
    map_errors = {
        "map": reader.figure("error_kg", plan.loo_rmse_kg, 2),
        "mean": reader.figure("error_kg", plan.mean_rmse_kg, 2),
    }
    known = "–" not in map_errors.values()
    return {
        "stop": None if brief.alert is None else say(brief.alert),
        "verdict": None if brief.without_number else say(brief.verdict),
        "training": say(brief.training),
        "why": [say(line) for line in why],
        "zones": [zone_words(zone, reader) for zone in brief.zones],
        "shared": [say(line) for line in brief.shared],
        "notes": [say(line) for line in (*more, *brief.notes)],
        "remarks": [say(remark.message) for remark in brief.remarks],
        "errors": reader.words("map")["about_errors"].format_map(map_errors) if known else None,
        "ways": {row.row: say(from_vine_1(row)) for row in brief.rows},
        "apart": {row.row: [say(message) for message in apart_messages(row)] for row in brief.rows if row.apart},
        "tape": [say(line) for line in brief.tape[:1]],
        "samples": [None if sample.remark is None else say(sample.remark) for sample in brief.samples],
        "replant": [_replant(area, reader) for area in brief.replant],
    }


def zone_words(zone: ZoneBrief, reader: Reader) -> dict[str, Any]:
    """Return what the list of zones and the table of figures say of one zone."""
    say, words = reader.say, reader.words("map")
    kind = say(zone.kind)
    name = zone.name or kind
    numbered = name if zone.style == 0 else f"{zone.zone} · {name}"
    where = [kind if zone.name else "", "" if zone.condition is None else say(zone.condition)]
    where.append(", ".join(say(place) for place in zone.place))
    leave = " · ".join(say(part) for part in zone.leave)
    size, span = reader.figure("size_kg", zone.size_kg.value), _span(zone.size_kg, reader)
    counts = {"vines": reader.number(zone.vines), "area": reader.figure("area_ha", zone.area_ha)}
    return {
        "title": numbered,
        "number": reader.say(zone.number),
        "withheld": None if zone.withheld is None else say(zone.withheld),
        "name": name,
        "where": " · ".join(part for part in where if part),
        "leave": words["recipe_line"].format(recipe=leave) if leave else None,
        "size": words["zone_size"].format(size=size, range=span),
        "counts": words["zone_counts"].format_map(counts),
        "recipe": leave or "–",
        "advice": [say(line) for line in zone.advice],
        "figures": {
            "buds_per_vine": reader.say(zone.number),
            "buds_total": "–" if zone.buds_total is None else reader.number(zone.buds_total),
            **counts,
            "vine_size": size,
            "range": span,
            "size_per_length": reader.figure("size_kg_m", zone.size_kg_m),
            "bull_share": _share(zone.bull_canes, reader),
            "injury_share": _share(zone.injury, reader),
            "recipe": leave or "–",
        },
    }


def estate_words(
    briefs: Iterable[BlockBrief], remarks: Iterable[Remark], reader: Reader, *, stop: Message | None
) -> dict[str, Any]:
    """Return what is said of the whole vineyard to one reader: where to stop, remarks, and of each block its verdict."""
    listed = tuple(briefs)
    return {
        "stop": None if stop is None else reader.say(stop),
        "remarks": [reader.say(remark.message) for remark in remarks],
        "extremes": [
            text for key, large in (("weak", False), ("rank", True)) if (text := _extremes(listed, key, reader, large))
        ],
        "whole": reader.say(Message("brief.class_whole_block")),
        "blocks": [_block_line(brief, reader) for brief in listed],
    }


def _extremes(briefs: Iterable[BlockBrief], key: str, reader: Reader, largest: bool) -> tuple[str, str] | None:
    """The zones of one condition that are farthest out, by block: the word for them, and where they are."""
    found = [(zone.size_kg.value, zone, brief) for brief in briefs for zone in brief.zones if zone.condition_key == key]
    found = sorted(found, key=lambda entry: entry[0], reverse=largest)[:MOST_EXTREMES]
    if not found or found[0][1].condition is None:
        return None
    numbers: dict[str, list[str]] = {}
    for _, zone, brief in found:
        numbers.setdefault(brief.name, []).append(str(zone.buds))
    return reader.say(found[0][1].condition), ", ".join(f"{name} {' · '.join(buds)}" for name, buds in numbers.items())


def _block_line(brief: BlockBrief, reader: Reader) -> dict[str, Any]:
    say = reader.say
    conditions = dict.fromkeys(say(zone.condition) for zone in brief.zones if zone.condition is not None)
    counts = {"vines": reader.number(brief.vines), "area": reader.figure("area_ha", brief.area_ha)}
    zones = [
        f"{say(zone.kind) if zone.style == 0 else f'{zone.zone} · {zone.name or say(zone.kind)}'}, "
        + reader.figure("size_kg", zone.size_kg.value)
        for zone in brief.zones
    ]
    return {
        "stop": None if brief.alert is None else say(brief.alert),
        "verdict": None if brief.without_number else say(brief.verdict),
        "words": " · ".join([*conditions, reader.words("map")["zone_counts"].format_map(counts)]),
        "zones": [] if brief.without_number else zones,
        "numbers": _numbers(brief, reader),
        "words_of_zones": [say(zone.number) for zone in brief.zones],
        "kinds": [zone.name or say(zone.kind) for zone in brief.zones],
    }


def _numbers(brief: BlockBrief, reader: Reader) -> list[str]:
    """The zones' numbers in their order; a word in place of one stands once."""
    texts = [(zone.buds is not None, reader.say(zone.number)) for zone in brief.zones]
    return [text for place, (number, text) in enumerate(texts) if number or (number, text) not in texts[:place]]


def _replant(area: ReplantBrief, reader: Reader) -> dict[str, str]:
    return {
        "rows": row_span(area.rows),
        "missing": reader.number(area.missing),
        "weak_vines": reader.number(area.weak),
        "row_length": reader.figure("row_length_m", area.row_length_m),
        "area": reader.figure("area_ha", area.area_ha),
        "reason": reader.say(area.reason),
    }


def _span(interval: Interval, reader: Reader) -> str:
    divisor, digits, sign = reader.unit("size_kg")
    if interval.low != interval.low:
        return "–"
    return f"{reader.number(interval.low / divisor, digits)}–{reader.number(interval.high / divisor, digits)} {sign}"


def _share(interval: Interval | None, reader: Reader) -> str:
    if interval is None:
        return "–"
    share_text = f"{reader.number(100 * interval.value)} %"
    if interval.low != interval.low:
        return share_text
    return f"{share_text} ({reader.number(100 * interval.low)}–{reader.number(100 * interval.high)})"
