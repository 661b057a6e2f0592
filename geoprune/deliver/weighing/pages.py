"""The weighing list, the sheets that say how it is done, and the page of the whole weighing plan. No scripts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely
from markupsafe import Markup

from geoprune import look
from geoprune.deliver.edition import PAPERS, Style
from geoprune.deliver.pages.block_picture import fit_paper, north_arrow
from geoprune.deliver.pages.charts import Plane, chart, line
from geoprune.deliver.pages.drawing import disc, path, picture, word
from geoprune.deliver.pages.templates import page_templates
from geoprune.deliver.pages.text import clean, shorten
from geoprune.deliver.pages.typesetting import typeset
from geoprune.errors import Message
from geoprune.rules import FieldSheet, bud_cutting_sheet, weighing_sheet
from geoprune.sampling import Effort, SampleOptions, WeighList
from geoprune.words import Reader

pages = page_templates("weighing")
#: Longest row name shown.
LONGEST_ROW = 24
#: A list's files in its block's folder, by their names in the word list.
LIST_PAGES = {"open_list": "weigh_list.html", "open_pdf": "weigh_list.pdf", "open_field": "field.html"}
#: Sheets that are the same for every block, by their file without its ending.
FIELD_SHEETS = {"how_to_weigh": weighing_sheet(), "buds_to_cut": bud_cutting_sheet()}
#: Size of the picture, and what its arrow takes of the width, points.
PICTURE, NORTH = (535.0, 300.0), 30.0


def weigh_list_html(weigh_list: WeighList, options: SampleOptions, style: Style) -> str:
    """Return one block's list as a self-contained page: what the crew carries, then what weighing buys."""
    css = PAPERS[style.paper]["css"]
    return pages.get_template("weigh_list.html").render(_content(weigh_list, options, style), look=look, paper_size=css)


def weigh_list_pdf(weigh_list: WeighList, options: SampleOptions, style: Style) -> bytes:
    """Return one block's list as PDF, for the crew."""
    content = {**_content(weigh_list, options, style), "curve": "", "paper": PAPERS[style.paper]["sheet"]}
    return typeset("weigh_list.typ", content, made=style.made, room="geoprune.deliver.weighing")


def weigh_plan_html(lists: Sequence[WeighList], folders: Mapping[str, str], style: Style) -> str:
    """Return the page of all blocks: places, hours and what they buy, with the way to each list."""
    reader = style.reader
    words = reader.words("sampling")
    lines = [
        {
            "block": shorten(weigh_list.name),
            "stops": weigh_list.effort.stops,
            "hours": reader.number(weigh_list.effort.hours, 1),
            "number": reader.number(weigh_list.effort.number_within_buds, 1),
            "map": reader.number(weigh_list.effort.map_off_buds, 1),
            "pages": [(f"{folders[weigh_list.name]}/{file}", words[key]) for key, file in LIST_PAGES.items()],
        }
        for weigh_list in lists
    ]
    total = {"stops": sum(t.effort.stops for t in lists), "hours": reader.number(sum(t.effort.hours for t in lists), 1)}
    page = {"words": words, "language": reader.language, "made": reader.date(style.made), "lines": lines, "total": total}
    page["sheets"] = [(name, clean(reader.say(sheet.title))) for name, sheet in FIELD_SHEETS.items()]
    return pages.get_template("weigh_plan.html").render(page, look=look, paper_size=PAPERS[style.paper]["css"])


def field_sheet_html(sheet: FieldSheet, style: Style) -> str:
    """Return a sheet as a self-contained page: cautions, what to do in order, the table to fill in."""
    css = PAPERS[style.paper]["css"]
    return pages.get_template("field_sheet.html").render(_sheet(sheet, style.reader), look=look, paper_size=css)


def field_sheet_pdf(sheet: FieldSheet, style: Style) -> bytes:
    """Return the same sheet as PDF: what to do on its first page, the table on the second."""
    content = {**_sheet(sheet, style.reader), "paper": PAPERS[style.paper]["sheet"]}
    return typeset("field_sheet.typ", content, made=style.made, room="geoprune.deliver.weighing")


def _sheet(sheet: FieldSheet, reader: Reader) -> dict[str, Any]:
    """Everything a sheet says, as text."""

    def say(messages: Sequence[Message]) -> list[str]:
        return [clean(reader.say(message)) for message in messages]

    (title, why), back = say((sheet.title, sheet.why)), reader.words("sampling")["back"]
    said = {"steps": say(sheet.steps), "columns": say(sheet.columns), "cautions": say(sheet.cautions)}
    return {"language": reader.language, "title": title, "why": why, "back": back, "lines": sheet.lines, **said}


def weigh_sentences(weigh_list: WeighList, options: SampleOptions) -> list[Message]:
    """What is said of a list: what it buys, why so many places, what was believed of the vines."""
    effort, model = weigh_list.effort, weigh_list.model
    count = {"stops": effort.stops, "needed": weigh_list.needed, "error": 100 * options.within}
    believed = {"mean_kg": model.mean_kg, "cv": 100 * model.cv()}
    return [
        Message("sampling.buys", {"stops": effort.stops, "within": effort.number_within_buds}),
        Message("sampling.buys_map", {"map": effort.map_off_buds, "flat": weigh_list.worth.without_map_buds}),
        _why(weigh_list, options, count),
        Message("sampling.knee", {"knee": weigh_list.worth.knee}),
        Message(f"sampling.model_{model.source}", believed),
        *weigh_list.remarks,
        Message("sampling.estimate_note", {"minutes": options.minutes_per_vine}),
    ]


def _why(weigh_list: WeighList, options: SampleOptions, count: dict[str, float]) -> Message:
    """Why there are so many places: asked for, by the formula, or fewer because last winter's pattern is counted on."""
    if options.stops:
        return Message("sampling.why_asked", count)
    counted_on = weigh_list.effort.stops < weigh_list.needed
    return Message("sampling.why_spread" if counted_on else "sampling.why_count", count)


def facts(weigh_list: WeighList) -> Message:
    """Places, hours and metres on foot."""
    fields = {"stops": weigh_list.effort.stops, "vines": weigh_list.effort.vines, "hours": weigh_list.effort.hours}
    fields["walk_m"] = weigh_list.walk.length_m
    return Message("sampling.facts_panel" if weigh_list.together == "panel" else "sampling.facts_vine", fields)


def _content(weigh_list: WeighList, options: SampleOptions, style: Style) -> dict[str, Any]:
    """Everything the list says, as text and SVG."""
    reader, stops = style.reader, weigh_list.stops
    words = reader.words("sampling")
    first = shorten(str(stops["row"].iloc[0]), LONGEST_ROW)
    hints = ["how_1", "how_2", *(["how_panel"] if weigh_list.together == "panel" else []), "how_3"]

    def say(message: Message) -> str:
        return clean(reader.say(message))

    return {
        "words": words,
        "language": reader.language,
        "block": shorten(weigh_list.name),
        "running": clean(weigh_list.name)[:60],
        "made": reader.date(style.made),
        "facts": say(facts(weigh_list)),
        "begin": say(
            Message("sampling.begin_head" if weigh_list.walk.begins == "head" else "sampling.begin_foot", {"row": first})
        ),
        "weight": words["weight"].format(unit=reader.unit("weight_kg")[2]),
        "vines_head": words["vines" if weigh_list.together == "panel" else "vine"],
        "hints": [words[key] for key in hints],
        "lines": _lines(weigh_list.table, words),
        "picture": draw_places(weigh_list, north=reader.words("sheet")["north_letter"]),
        "sentences": [say(message) for message in weigh_sentences(weigh_list, options)],
        "curve": draw_worth(weigh_list, reader),
        "table": [_effort(effort, reader) for effort in weigh_list.worth.curve],
        "knee": weigh_list.worth.knee,
        "cautions": [say(Message("cautions.safety")), say(Message("cautions.local_rules"))],
    }


def _lines(table: pd.DataFrame, words: Mapping[str, str]) -> list[dict[str, Any]]:
    """A line for each place, with the spare that stands for it."""
    spare = {int(place.spare_of): place for place in table[table["spare_of"].notna()].itertuples()}
    found = []
    for own in table[table["spare_of"].isna()].itertuples():
        other = spare.get(int(own.order))
        instead = ""
        if other is not None:
            place = {"row": shorten(str(other.row), LONGEST_ROW), "vine": _vines(other)}
            instead = place["vine"] if other.row == own.row else words["spare_place"].format(**place)
        row = shorten(str(own.row), LONGEST_ROW)
        found.append({"order": int(own.order), "row": row, "vine": _vines(own), "spare": instead})
    return found


def _vines(line: Any) -> str:
    first, last = int(line.first_vine), int(line.last_vine)
    return str(first) if first == last else f"{first}–{last}"


def _effort(effort: Effort, reader: Reader) -> dict[str, Any]:
    figures = (effort.hours, effort.number_within_buds, effort.map_off_buds)
    return {"stops": effort.stops, "cells": [reader.number(value, 1) for value in figures]}


def draw_places(weigh_list: WeighList, *, north: str) -> Markup:
    """The rows as faint lines, north up, and the places with their numbers."""
    width, height = PICTURE
    paper = fit_paper(
        shapely.multilinestrings(weigh_list.rows), width=width, height=height, margin=(14.0, 14.0), right=NORTH
    )
    marks = [
        path(np.column_stack(paper.turn(*shapely.get_coordinates(line).T)), stroke=look.RULE, stroke_width=0.6)
        for line in weigh_list.rows
    ]
    numbers = []
    for order, paired, point in zip(
        weigh_list.stops["order"], weigh_list.stops["pair_with"].notna(), weigh_list.stops.geometry, strict=True
    ):
        x, y = paper.turn(point.x, point.y)
        marks.append(disc((x, y), 2.2, fill=look.INK))
        side, anchor = (-3.5, "end") if paired else (3.5, "start")  # of a pair one number on each side
        numbers.append(word((x + side, y + 3.0), int(order), size=9, anchor=anchor, font_weight=700))
    marks += [*numbers, *north_arrow((width - 18.0, 8.0), north)]
    return picture(marks, width=width, height=height, title=weigh_list.name)


def draw_worth(weigh_list: WeighList, reader: Reader) -> Markup:
    """Error against hours: the number's, the map's, that of one number; the knee and this list marked."""
    words, curve, own = reader.words("sampling"), weigh_list.worth.curve, weigh_list.effort
    hours = [effort.hours for effort in curve]
    number, mapped = [e.number_within_buds for e in curve], [e.map_off_buds for e in curve]
    flat = weigh_list.worth.without_map_buds
    top = 1.08 * max(*mapped, flat, number[1] if len(number) > 1 else number[0], 0.1)
    plane = Plane(
        (0.0, 1.05 * max(*hours, own.hours)), (0.0, top), (words["curve_hours"], words["curve_buds"]), reader.number
    )
    shown = [k for k, value in enumerate(number) if value <= top]
    marks = [line(plane, [hours[k] for k in shown], [number[k] for k in shown])]
    marks += [line(plane, hours, mapped, width=1.2), line(plane, plane.across, [flat, flat], dashed=True, width=1.0)]
    knee = next(e for e in curve if e.stops == weigh_list.worth.knee)
    for effort, key, fill in ((knee, "mark_knee", look.PAPER), (own, "mark_list", look.INK)):
        spot = plane.at(effort.hours, min(effort.number_within_buds, top))
        marks += [disc(spot, 5, fill=fill, stroke=look.INK, stroke_width=1.5, class_=key)]
        marks.append(word((spot[0] + 4, spot[1] - 9), f"{words[key]}: {effort.stops}", size=12, anchor="start"))
    end = plane.at(plane.across[1], 0)[0]
    for value, key, down in ((number[-1], "line_number", 16), (mapped[-1], "line_map", 14), (flat, "line_flat", -5)):
        marks.append(word((end, plane.at(0, value)[1] + down), words[key], size=11, anchor="end"))
    return chart(plane, marks, title=words["curve_title"])
