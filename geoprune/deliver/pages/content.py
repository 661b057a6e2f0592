"""What the crew reads, as plain data: one pure function for PDF, HTML and pocket card, from a block's brief."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby
from operator import attrgetter
from typing import Any

from markupsafe import Markup

from geoprune import look
from geoprune.brief import BlockBrief, RowBrief, RunBrief, ZoneBrief, apart_messages, way_message
from geoprune.deliver.maps.picture import zone_pattern
from geoprune.deliver.pages.drawing import box, picture, tape
from geoprune.deliver.pages.text import clean, shorten
from geoprune.deliver.pages.vine import draw_vine
from geoprune.errors import Message
from geoprune.signs import posts_go
from geoprune.words import Reader

#: Lines of one row kept together on a page at most; a row with more goes on under its name again.
MOST_LINES = 14
#: Longest row name shown.
LONGEST_ROW = 32
#: Longest name of a zone shown.
LONGEST_ZONE = 28


def sheet_content(brief: BlockBrief, reader: Reader, *, made: date) -> dict[str, Any]:
    """Return everything a crew's sheet says.

    Parameters
    ----------
    brief : BlockBrief
    reader : Reader
        The whole sheet is in this reader's language.
    made : date
        The day on the sheet.

    Returns
    -------
    dict
        Text, whole numbers and SVG only. `zones`: one entry per zone in order. `rows`: one entry per row in walking
        order, each with its `lines`; none where one number holds everywhere: then `apart` names the rows with vines that are
        treated apart. Where no number holds (`stop`) there is `why`, and nothing of pruning: no zones, rows,
        notes on buds.
    """
    words, stop = reader.words("sheet"), brief.without_number
    throughout = () if brief.numbered else (brief.frame if brief.headline == "young" else brief.renew,)
    facts = {"vines": reader.number(brief.vines), "rows": reader.number(len(brief.plan.rows))}
    return {
        "language": reader.language,
        "words": words,
        "block": shorten(brief.name),
        "running": shorten(brief.name, 40),
        "made": words["made"].format(date=reader.date(made)),
        "kind": [shorten(brief.plan.settings.variety), _say(reader, brief.training)],
        "facts": words["facts_stop" if stop else "facts"].format_map(facts),
        "stop": stop,
        "first": "" if stop or brief.alert is None else _say(reader, brief.alert),
        "taped": brief.taped,
        "surveyed": brief.surveyed,
        "assumed": [_say(reader, line) for line in brief.assumed],
        "verdict": _say(reader, brief.crew_verdict),
        "zones": [] if stop else [_zone(zone, brief, reader) for zone in brief.zones],
        "bud_notes": [_say(reader, note) for note in brief.bud_notes],
        "wood_notes": [_say(reader, note) for note in brief.wood_notes],
        "cautions": [_say(reader, note) for note in brief.cautions],
        "why": [_say(reader, reason) for reason in brief.reasons] if stop else [],
        "young": [] if stop else [_say(reader, note) for note in brief.young],
        "how": _told_together(reader, throughout),
        "apart_notes": _told_together(
            reader, [message for message in (brief.frame, brief.renew, brief.sick) if message not in throughout]
        ),
        "card_notes": card_notes(brief, reader),
        "apart_head": words["apart_head" if brief.numbered else "apart_head_none"],
        "tape": [_say(reader, line) for line in brief.tape],
        "list_notes": list_notes(brief, reader),
        "rows": [part for row in brief.rows for part in _row(row, reader, surveyed=brief.surveyed)] if brief.taped else [],
        "apart": [
            (shorten(row.row, LONGEST_ROW), " ".join(_say(reader, message) for message in apart_messages(row)))
            for row in brief.rows
            if row.apart
        ],
    }


def list_notes(brief: BlockBrief, reader: Reader) -> list[str]:
    """Return what stands above the row list, in the order of the work: hang the tape, walk, read it, vines treated apart."""
    hang, doubt = brief.tape[2:], brief.tape[1:2]
    return _told_together(reader, (hang, brief.walk, doubt, brief.frame, brief.renew, brief.sick))


def card_notes(brief: BlockBrief, reader: Reader) -> list[str]:
    """Return what the card says below its numbers: vines that get none, what is a bud, which wood to keep, cautions."""
    words = reader.words("card")
    always = [words[key] for key in (("guide", "local") if brief.numbered else ("local",))]
    if brief.without_number:
        return always
    frame = brief.frame if brief.headline == "young" else ()
    notes = (*brief.young, *frame, *brief.renew, *brief.sick, *brief.bud_notes[:2], *brief.wood_notes)
    return [*(_say(reader, note) for note in notes), *always]


def _say(reader: Reader, message: Message) -> str:
    return clean(reader.say(message))


def _told_together(reader: Reader, groups: Sequence[Sequence[Message]]) -> list[str]:
    """A text for each group of sentences that holds any."""
    return [" ".join(_say(reader, message) for message in group) for group in groups if group]


def swatch(zone: ZoneBrief, *, title: str) -> Markup:
    """Return a zone's sign: its fill and, where there is tape, the post with its bands."""
    parts = [f"<defs>{zone_pattern(zone.style)}</defs>", box((1, 1), (46, 58), fill=look.ZONE_FILLS[zone.style])]
    parts += [box((1, 1), (46, 58), fill=f"url(#z{zone.style})", stroke=look.INK, stroke_width=1.4)]
    if zone.bands:
        parts += [box((13, 8), (22, 44), fill="#ffffff"), tape((24, 51), zone.bands, height=42)]
    return picture(parts, width=48, height=60, title=title)


def bands_text(zone: ZoneBrief, words: Mapping[str, str]) -> str:
    """Return how many bands of tape stand for a zone; "" where there is no tape."""
    if not zone.bands:
        return ""
    return words["band"] if zone.bands == 1 else words["bands"].format(bands=zone.bands)


def _zone(zone: ZoneBrief, brief: BlockBrief, reader: Reader) -> dict[str, Any]:
    words, kind, bands = reader.words("sheet"), _say(reader, zone.kind), bands_text(zone, reader.words("sheet"))
    places = ", ".join(_say(reader, place) for place in zone.place)
    return {
        "zone": zone.zone,
        "class": kind if zone.name is None else shorten(zone.name, LONGEST_ZONE),
        "bands": bands,
        "band_count": zone.bands,
        "where": places if zone.name is None else f"{kind}, {places}",
        "vines": words["zone_vines"].format(vines=reader.number(zone.vines)),
        "buds": _say(reader, zone.number),
        "stop": zone.buds is None,
        "renew": "" if zone.renewed is None else _say(reader, zone.renewed),
        "sign": swatch(zone, title=bands or kind),
        **_wood(zone, reader),
    }


def _wood(zone: ZoneBrief, reader: Reader) -> dict[str, Any]:
    """The recipe as a sentence, its reservations, and the drawn vine ("" where there is nothing to draw)."""
    words, recipe = reader.words("sheet"), zone.recipe
    if recipe is None:
        why = (
            words["ask"] if zone.withheld is None or zone.withheld.key == "injury.zone_stop" else _say(reader, zone.withheld)
        )
        return {"recipe": why, "short": why, "notes": [], "vine": ""}
    sentence, notes = _say(reader, recipe.sentence), [_say(reader, note) for note in zone.crew_notes]
    if not recipe.parts:
        return {"recipe": sentence, "short": sentence, "notes": [words["look_at_wood"], *notes], "vine": ""}
    short = " · ".join(_say(reader, part) for part in zone.leave)
    return {"recipe": sentence, "short": short, "notes": notes, "vine": draw_vine(recipe, title=sentence)}


def _row(row: RowBrief, reader: Reader, *, surveyed: bool) -> list[dict[str, Any]]:
    """A row's lines, in parts that fit on a page together; what is treated apart stands under the last."""
    words = reader.words("sheet")
    lines = [_line(run, row, reader) for run in as_marked(row.runs)]
    parts = [
        {
            "row": shorten(row.row, LONGEST_ROW),
            "way": words["continued"] if start else _say(reader, way_message(row)),
            "posts": _say(reader, posts_go(row.walked_up)) if surveyed and not start else "",
            "lines": lines[start : start + MOST_LINES],
            "apart": "",
        }
        for start in range(0, len(lines), MOST_LINES)
    ]
    parts[-1]["apart"] = " ".join(_say(reader, message) for message in apart_messages(row))
    return parts


def as_marked(runs: Sequence[RunBrief]) -> list[RunBrief]:
    """Return the stretches of a row as the tape tells them: neighbouring ones of one sign are one."""
    groups = [list(group) for _, group in groupby(runs, key=attrgetter("bands"))]
    return [
        replace(first, to_post=last.to_post, last_vine=last.last_vine, vines=sum(run.vines for run in group))
        for group in groups
        for first, last in [(group[0], group[-1])]
    ]


def _line(run: RunBrief, row: RowBrief, reader: Reader) -> dict[str, str | int]:
    words = reader.words("sheet")

    def post(number: int) -> str:
        return words["end_post"] if number in (0, row.end_post) else str(number)

    return {
        "posts": f"{post(run.from_post)} → {post(run.to_post)}",
        "numbers": f"{run.first_vine} – {run.last_vine}",
        "bands": run.bands,
        "buds": _say(reader, run.number),
        "vines": str(run.vines),
    }
