"""What the crew is told, as plain data: one pure function for PDF, HTML and pocket card, in one language."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from datetime import date
from itertools import groupby, pairwise
from operator import itemgetter
from typing import Any

import numpy as np
import shapely
from markupsafe import Markup

from geoprune import look
from geoprune.errors import Message
from geoprune.maps.ground import zone_parts
from geoprune.maps.picture import zone_pattern
from geoprune.maps.telling import short_recipe
from geoprune.pages.drawing import box, picture, tape
from geoprune.pages.text import clean, shorten
from geoprune.pages.vine import draw_vine
from geoprune.plan import BlockPlan, stop_message, young_messages
from geoprune.rules import RENEW_BELOW_KG, ZoneAdvice, bud_notes, caution_notes
from geoprune.words import say, with_marks, word_lists

#: Lines of one row kept together on a page at most; a row with more goes on under its name again.
MOST_LINES = 14
#: Longest row name shown.
LONGEST_ROW = 32
#: Longest name of a zone shown.
LONGEST_ZONE = 28
#: Notes that tell of vines to renew.
RENEW_NOTES = ("rules.flag_renew", "rules.renew_share")
#: Notes of a zone's advice that concern the crew; the others are for the report.
CREW_NOTES = ("rules.flag_low", *RENEW_NOTES)

#: What the crew treats apart, in the order it is told; and which of it the status of a vine tells.
KINDS_APART = ("gone", "young", "sick", "renew")
STATUS_KINDS = {"missing": "gone", "dead": "gone", "young": "young", "diseased": "sick"}

Tell = Callable[[Message], str]


def sheet_content(plan: BlockPlan, *, language: str = "en", units: str = "us", made: date) -> dict[str, Any]:
    """Return everything a crew's sheet says.

    Parameters
    ----------
    plan : BlockPlan
    language : str
        Code of a word list; the whole sheet is in it.
    units : {"us", "metric"}
    made : date
        The day on the sheet.

    Returns
    -------
    dict
        Text, whole numbers and SVG only. `zones`: one entry per zone in order. `rows`: one entry per row in walking
        order, each with its `lines`. Where winter bud injury allows no number (`stop`) there is `why`, and nothing of
        pruning: no zones, rows, notes on buds, and of the cautions not the one about the number.
    """
    words = word_lists()[language]["sheet"]

    def tell(message: Message) -> str:
        return clean(say(message, language, units))

    stop, first = plan.stopped, stop_message(plan)
    apart = treated_apart(plan)
    vines = int(plan.zones["vines"].sum())
    facts = {"vines": whole(vines, language), "rows": whole(len(plan.rows), language)}
    return {
        "language": language,
        "words": words,
        "block": shorten(plan.name),
        "running": shorten(plan.name, 40),
        "made": words["made"].format(date=told_day(made, words)),
        "kind": [shorten(plan.settings.variety), tell(training_word(plan.settings.training))],
        "facts": words["facts_stop" if stop else "facts"].format_map(facts),
        "stop": stop,
        "first": "" if stop or first is None else tell(first),
        "taped": plan.taped,
        "verdict": _verdict(plan, words),
        "zones": [] if stop else _zones(plan, words, tell, language),
        "bud_notes": [] if stop else [tell(note) for note in _bud_notes(plan)],
        "cautions": [tell(note) for note in caution_notes() if not (stop and note.key == "cautions.guide")],
        "short_cautions": [word_lists()[language]["card"][key] for key in (("local",) if stop else ("guide", "local"))],
        "why": [tell(reason) for reason in plan.verdict_reasons] if stop else [],
        "young": [] if stop else [tell(note) for note in young_messages(plan)],
        "renew": "" if stop or not has_vines_to_renew(plan, apart) else words["renew_how"],
        "walk": [] if stop else walk_told(plan, words),
        "rows": [] if stop else _rows(plan, words, apart),
    }


def told_day(day: date, words: Mapping[str, str]) -> str:
    """Return a day as people of the language write it."""
    month = words["months"].split()[day.month - 1]
    return words["date"].format(day=day.day, month=month, year=day.year)


def whole(number: float, language: str) -> str:
    """Return a whole number with the language's mark for thousands."""
    return with_marks(f"{number:,.0f}", language)


def training_word(training: str) -> Message:
    """Return the training's name, to be told in any language."""
    return Message("recipe.training_" + training.lower().replace(" ", "_").replace("-", "_"))


def swatch(zone: int, *, zones: int, title: str) -> Markup:
    """Return a zone's sign: its fill and, where there are several zones, the post with its bands of tape."""
    style = look.zone_style(zone, zones=zones)
    parts = [f"<defs>{zone_pattern(style)}</defs>", box((1, 1), (46, 58), fill=look.ZONE_FILLS[style])]
    parts += [box((1, 1), (46, 58), fill=f"url(#z{style})", stroke=look.INK, stroke_width=1.4)]
    if zones > 1:
        parts += [box((13, 8), (22, 44), fill="#ffffff"), tape((24, 51), zone, height=42)]
    return picture(parts, width=48, height=60, title=title)


def _verdict(plan: BlockPlan, words: Mapping[str, str]) -> str:
    if plan.stopped:
        return words["verdict_stop"]
    key = "verdict_zone" if len(plan.zones) > 1 else "verdict_one"
    return words[key].format(zones=len(plan.zones))


def buds_told(buds: float | None, words: Mapping[str, str]) -> str:
    """Return a number of buds, or the word to stop where there is none."""
    return words["stop_word"] if buds is None or not np.isfinite(buds) else f"{buds:.0f}"


def _zones(plan: BlockPlan, words: Mapping[str, str], tell: Tell, language: str) -> list[dict[str, Any]]:
    count, told = len(plan.zones), []
    advice = {entry.zone: entry for entry in plan.advice}
    for zone, where in zip(plan.zones.to_dict("records"), zone_parts(plan.zones, plan.polygon), strict=True):
        number = int(zone["zone"])
        bands = words["band"] if number == 1 else words["bands"].format(bands=number)
        kind = tell(Message("map.class_" + zone["class"].replace(" ", "_")))
        places = place_words(where, tell) if count > 1 else ""
        name = plan.zone_names.get(number)
        told.append(
            {
                "zone": number,
                "class": kind if name is None else shorten(name, LONGEST_ZONE),
                "bands": bands if count > 1 else "",
                "band_count": number if count > 1 else 0,
                "where": places if name is None else f"{kind}, {places}",
                "vines": words["zone_vines"].format(vines=whole(zone["vines"], language)),
                "buds": buds_told(zone["buds_per_vine"], words),
                "stop": not np.isfinite(zone["buds_per_vine"]),
                "renew": _renew_in_short(advice.get(number), words),
                "sign": swatch(number, zones=count, title=bands if count > 1 else kind),
                **_wood(zone, advice.get(number), tell, language),
            }
        )
    return told


def place_words(parts: Sequence[str], tell: Tell) -> str:
    """Return where a zone lies (see `maps.ground.zone_parts`); two sides of the block are told as one."""
    sides = [part for part in parts if len(part) < 3]
    told = [_place_word(part) for part in parts if part not in sides or len(sides) == 1]
    if len(sides) == 2:
        first, second = (Message(f"map.side_{side}") for side in sides)
        told.insert(0, Message("map.parts_two", {"first": first, "second": second}))
    return ", ".join(tell(message) for message in told)


def _place_word(part: str) -> Message:
    side, _, where = part.partition("_")
    return Message(f"map.part_{where}", {"side": Message(f"map.side_{side}")}) if where else Message(f"map.part_{part}")


def _wood(zone: Mapping[str, Any], advice: ZoneAdvice | None, tell: Tell, language: str) -> dict[str, Any]:
    """The recipe as a sentence, its reservations, and the drawn vine ("" where there is nothing to draw)."""
    words = word_lists()[language]["sheet"]
    recipe = None if advice is None else advice.recipe
    if not np.isfinite(zone["buds_per_vine"]):
        return {"recipe": words["ask"], "short": words["ask"], "notes": [], "vine": ""}
    if recipe is None:
        text = clean(str(zone.get("recipe") or ""))
        return {"recipe": text, "short": text, "notes": [], "vine": ""}
    sentence = tell(recipe.sentence)
    reasons = recipe.reasons if recipe.parts else ()
    notes = [tell(note) for note in (*reasons, *(note for note in advice.notes if note.key in CREW_NOTES))] if advice else []
    if not recipe.parts:
        return {"recipe": sentence, "short": sentence, "notes": [words["look_at_wood"], *notes], "vine": ""}
    return {
        "recipe": sentence,
        "short": short_recipe(recipe, language),
        "notes": notes,
        "vine": draw_vine(recipe, title=sentence),
    }


def _bud_notes(plan: BlockPlan) -> list[Message]:
    """What counts as a bud; nothing of renewal spurs where none are left."""
    renewal = any(entry.recipe is not None and entry.recipe.count("renewal") for entry in plan.advice)
    return [note for note in bud_notes() if renewal or note.key != "cautions.renewal_counts"]


def _renew_in_short(advice: ZoneAdvice | None, words: Mapping[str, str]) -> str:
    """How many of a zone's vines are renewed, in a few words; "" where none are expected."""
    notes = {} if advice is None else {note.key: note for note in advice.notes}
    if "rules.flag_renew" in notes:
        return words["renew_most"]
    note = notes.get("rules.renew_share")
    return "" if note is None else words["renew_some"].format(percent=note.fields["percent"])


def has_vines_to_renew(plan: BlockPlan, apart: Mapping[str, Mapping[str, list[int]]]) -> bool:
    """Whether the crew meets vines that are renewed without a crop; `apart` as `treated_apart` gives it."""
    told = {note.key for entry in plan.advice for note in entry.notes}
    return not told.isdisjoint(RENEW_NOTES) or any("renew" in kinds for kinds in apart.values())


def treated_apart(plan: BlockPlan) -> dict[str, dict[str, list[int]]]:
    """Return row -> kind -> the vines that are not pruned to the number, in order.

    Kinds: "gone" (missing or dead), "young", "sick", and "renew": weighed below the limit, or most likely so by the map.
    """
    found: dict[str, dict[str, list[int]]] = {}
    small = _to_renew(plan)
    for row, vine, status in zip(plan.vines["row"], plan.vines["vine"], plan.vines["status"], strict=True):
        kind = STATUS_KINDS.get(status, "renew" if (row, int(vine)) in small else "")
        if kind:
            found.setdefault(row, {}).setdefault(kind, []).append(int(vine))
    return {row: {kind: kinds[kind] for kind in KINDS_APART if kind in kinds} for row, kinds in found.items()}


def _to_renew(plan: BlockPlan) -> set[tuple[str, int]]:
    weighed = plan.samples[plan.samples["used"].astype(bool) & (plan.samples["vine_weight_kg"] < RENEW_BELOW_KG)]
    found = {(row, int(vine)) for row, vine in zip(weighed["row"], weighed["vine"], strict=True) if vine == vine}
    if "renew_share" in plan.panels:
        small = plan.panels[plan.panels["renew_share"] > 0.5]
        for row, first, last in zip(small["row"], small["first_vine"], small["last_vine"], strict=True):
            found |= {(row, vine) for vine in range(int(first), int(last) + 1)}
    return found


def told_numbers(numbers: Sequence[int]) -> str:
    """Return rising numbers with neighbours drawn together: "3, 7–9"."""
    breaks = [i for i, (a, b) in enumerate(pairwise(numbers), start=1) if b != a + 1]
    runs = [numbers[start:stop] for start, stop in pairwise([0, *breaks, len(numbers)])]
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" for run in runs)


def _rows(plan: BlockPlan, words: Mapping[str, str], apart: Mapping[str, Mapping[str, list[int]]]) -> list[dict[str, Any]]:
    ways = dict(zip(plan.rows["row"], plan.rows.geometry, strict=True))
    told: list[dict[str, Any]] = []
    for name, group in groupby(plan.runs.to_dict("records"), key=itemgetter("row")):
        runs = list(group)
        forward = walked_up(runs)
        way = row_way(ways[name], words, forward=forward)
        posts = words["posts_rise" if forward else "posts_fall"]
        made = _lines(runs, words, taped=plan.taped)
        for start in range(0, len(made), MOST_LINES):
            part = made[start : start + MOST_LINES]
            told.append(
                {
                    "row": shorten(str(name), LONGEST_ROW),
                    "way": way if start == 0 else words["continued"],
                    "posts": posts if start == 0 else "",
                    "lines": part,
                    "apart": "",
                }
            )
        told[-1]["apart"] = " ".join(
            words[f"apart_{kind}"].format(vines=told_numbers(vines)) for kind, vines in apart.get(name, {}).items()
        )
    return told


def walked_up(runs: Sequence[Mapping[Hashable, Any]]) -> bool:
    """Whether a row is walked from vine 1 up."""
    return bool(runs[0]["from_post"] <= runs[-1]["to_post"])


def walk_told(plan: BlockPlan, words: Mapping[str, str]) -> list[str]:
    """Return how the list is walked: which way, from which end posts are counted, and which posts get tape."""
    ways = dict(zip(plan.rows["row"], plan.rows.geometry, strict=True))
    groups = {name: list(group) for name, group in groupby(plan.runs.to_dict("records"), key=itemgetter("row"))}
    first, runs = next(iter(groups.items()))
    way = row_way(ways[first], words, forward=walked_up(runs))
    told = [words["walk"].format(row=shorten(str(first), LONGEST_ROW), way=way)]
    ends = {row_way(ways[name], words, forward=True).split(" ")[0] for name in groups}
    told.append(words["post_one_end"].format(end=ends.pop()) if len(ends) == 1 else words["post_vine_1"])
    return [*told, words["missing_keep"], *([words["tape_where"]] if plan.taped else [])]


def _lines(runs: list[dict[Hashable, Any]], words: Mapping[str, str], *, taped: bool) -> list[dict[str, str | int]]:
    last = max(max(run["from_post"], run["to_post"]) for run in runs)

    def post(number: int) -> str:
        return words["end_post"] if number in (0, last) else str(number)

    return [
        {
            "posts": f"{post(run['from_post'])} → {post(run['to_post'])}",
            "numbers": f"{run['first_vine']} – {run['last_vine']}",
            "bands": int(run["bands"]) if taped else 0,
            "buds": buds_told(run["buds_per_vine"], words),
            "vines": str(int(run["vines"])),
        }
        for run in runs
    ]


def row_way(line: shapely.LineString, words: Mapping[str, str], *, forward: bool) -> str:
    """Return which way a row is walked, as compass letters: "N → S"."""
    start, end = (line.coords[at][:2] for at in ((0, -1) if forward else (-1, 0)))
    east, north = end[0] - start[0], end[1] - start[1]
    sector = int(np.round(np.degrees(np.arctan2(east, north)) / 45.0)) % 8
    letters = words["compass"].split()
    return f"{letters[(sector + 4) % 8]} → {letters[sector]}"
