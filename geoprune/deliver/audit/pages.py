"""Pages of a check: the list of vines to recount, and the report. No names of people on either."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from geoprune import look
from geoprune.audit import Audit, SamplingPlan, Tolerance
from geoprune.deliver.pages.charts import Plane, chart, line
from geoprune.deliver.pages.drawing import path
from geoprune.deliver.pages.templates import page_templates
from geoprune.deliver.pages.text import clean, shorten
from geoprune.errors import DataError, Message
from geoprune.rules import caution_notes, find_training
from geoprune.words import Reader

pages = page_templates("audit")
#: Shares of vines off that the curve shows.
MOST_OFF = 0.5


def recount_page(vines: pd.DataFrame, lots: Mapping[str, int], reader: Reader, *, made: date) -> str:
    """Return the list to print: where to go, and an empty place for the count. The number asked for is not on it, so that
    it does not sway who counts."""
    words = reader.words("audit")
    blocks = []
    for block, here in vines.groupby("block", sort=False):
        size = Message("audit.list_size", {"count": len(here), "vines": lots[str(block)]})
        lines = [(int(stop.stop), shorten(str(stop.row), 32), int(stop.vine)) for stop in here.itertuples()]
        blocks.append({"name": shorten(str(block)), "size": clean(reader.say(size)), "lines": lines})
    return pages.get_template("recount.html").render(
        language=reader.language, words=words, blocks=blocks, made=reader.date(made), look=look
    )


def report_page(audit: Audit, reader: Reader, *, made: date) -> str:
    """Return the report of a check: verdicts, what was left, rows to look at again."""
    content = {
        "language": reader.language,
        "words": reader.words("audit"),
        "made": reader.date(made),
        "verdicts": [_verdict(line, audit, reader) for line in audit.lots.to_dict("records")],
        "curves": _curves(audit, reader),
        "remarks": [clean(reader.say(remark)) for remark in audit.remarks],
        "within": clean(reader.say(within_message(audit.options.tolerance))),
        "left": [left_cells(line, reader) for line in audit.left.to_dict("records")],
        "redo": [redo_cells(line, reader) for line in audit.redo.to_dict("records")],
        "cautions": [clean(reader.say(note)) for note in caution_notes()],
    }
    return pages.get_template("report.html").render(content, look=look)


def verdict_messages(line: Mapping[str, Any]) -> tuple[Message, Message]:
    """The verdict on one lot (a line of `Audit.lots`), and which way its vines are off."""
    name = " · ".join(str(line[key]) for key in ("block", "zone", "row") if key in line)
    fields = {"block": name, "off": int(line["off"]), "counted": int(line["counted"]), "may": int(line["may_be_off"])}
    ways = {"many": int(line["too_many"]), "few": int(line["too_few"]), "difference": float(line["difference"])}
    return Message("audit.accepted" if line["accepted"] else "audit.refused", fields), Message("audit.too_many", ways)


def plan_message(plan: SamplingPlan) -> Message:
    """Where the acceptance number comes from."""
    fields = {"size": plan.size, "accept": plan.accept, "aql": plan.aql}
    return Message("audit.plan_table" if plan.letter else "audit.plan_computed", fields)


def within_message(tolerance: Tolerance) -> Message:
    """When a vine is off its number."""
    return Message("audit.within", {"percent": 100 * tolerance.share, "buds": tolerance.buds})


def draw_curve(plan: SamplingPlan, reader: Reader) -> Markup:
    """Return the operating characteristic as SVG: how often work passes, by the share of vines off."""
    words = reader.words("audit")
    share = np.linspace(0, MOST_OFF, 101)
    plane = Plane((0.0, 100 * MOST_OFF), (0.0, 105.0), (words["curve_across"], words["curve_up"]), reader.number)
    limit = [plane.at(plan.aql, 0.0), plane.at(plan.aql, 100.0)]
    marks = [path(limit, stroke=look.INK_SOFT, stroke_width=1.0, stroke_dasharray="4 4")]
    marks.append(line(plane, 100 * share, 100 * plan.chance(share)))
    return chart(plane, marks, title=words["curve_title"])


def _verdict(line: Mapping[str, Any], audit: Audit, reader: Reader) -> dict[str, Any]:
    plan = audit.plan_of(int(line["counted"]))
    redo_from = audit.options.redo_from
    chance = Message("audit.chance", {"percent": 100 * redo_from, "found": 100 * (1 - float(plan.chance(redo_from)))})
    head, ways = verdict_messages(line)
    notes = (ways, plan_message(plan), chance)
    return {
        "accepted": bool(line["accepted"]),
        "head": clean(reader.say(head)),
        "notes": [clean(reader.say(note)) for note in notes],
    }


def _curves(audit: Audit, reader: Reader) -> list[dict[str, Any]]:
    """One curve for each plan by which a lot was judged, with where the plan comes from."""
    plans = dict.fromkeys(audit.plan_of(int(counted)) for counted in audit.lots["counted"])
    return [{"plan": clean(reader.say(plan_message(plan))), "drawn": draw_curve(plan, reader)} for plan in plans]


def left_cells(line: Mapping[str, Any], reader: Reader) -> list[str]:
    """What was left in a zone (a line of `Audit.left`), cell by cell."""
    mean, low, high = (_cell(line[f"buds_left{end}"], reader, 1) for end in ("", "_low", "_high"))
    asked, counted, off = (reader.number(line[name]) for name in ("buds_asked", "vines_counted", "vines_off"))
    return [shorten(str(line["block"])), str(int(line["zone"])), asked, f"{mean} ({low} – {high})", counted, off]


def redo_cells(line: Mapping[str, Any], reader: Reader) -> list[str]:
    """A row to look at again (a line of `Audit.redo`), cell by cell."""
    numbers = [reader.number(line[name]) for name in ("counted", "too_many", "too_few")]
    todo = clean(reader.say(Message(f"audit.todo_{line['todo']}")))
    return [shorten(str(line["block"])), shorten(str(line["row"]), 32), *numbers, reader.number(line["difference"], 1), todo]


def hour_cells(line: Mapping[str, Any], reader: Reader, *, cost: bool) -> list[str]:
    """Hours of a zone (a line of `Hours.zones`), cell by cell."""
    named = training_text(line["training"], reader)
    minutes, low, high = (_cell(line[f"minutes_{end}"], reader, 1) for end in ("per_vine", "low", "high"))
    rest, least, most = (_cell(line[f"hours_left{end}"], reader) for end in ("", "_low", "_high"))
    cells = [shorten(str(line["block"])), str(int(line["zone"])), named, _cell(line["vines_per_hour"], reader)]
    cells += [f"{minutes} ({low} – {high})", _cell(line["hours_done"], reader), f"{rest} ({least} – {most})"]
    return cells + [_cell(line[name], reader) for name in ("cost_done", "cost_left") if cost]


def training_text(training: str, reader: Reader) -> str:
    """Return a training's name in the reader's language, one of a grower's own as it is called; "" where none is given."""
    if not training:
        return ""
    try:
        name = find_training(training).id.replace(" ", "_").replace("-", "_")
    except DataError:
        return shorten(training)
    return clean(reader.say(Message("recipe.training_" + name)))


def _cell(value: float | None, reader: Reader, digits: int = 0) -> str:
    return reader.number(float("nan") if value is None else value, digits)
