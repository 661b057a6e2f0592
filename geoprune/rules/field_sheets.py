"""Sheets to carry when vines are weighed and buds are cut: title, what to do in order, and the table to fill in.

Plain data; `deliver.weighing` prints it. What each step rests on stands in docs/rules.md.
"""

from __future__ import annotations

from dataclasses import dataclass

from geoprune.errors import Message
from geoprune.rules.bands import BULL_DIAMETER_MM, BULL_INTERNODE_MM
from geoprune.rules.floors import FEWEST_BUDS, FEWEST_VINES
from geoprune.rules.holds import PENCIL_MM

#: Buds cut on each cane, counted from its base, and canes they are cut from: 6-8 buds on 6-10 canes (Martinson 2014,
#: Cornell); about 100 per variety and block (Fiola 2018, Maryland).
BUDS_PER_CANE, CANES_TO_CUT, BUDS_WANTED = (6, 8), (6, 10), 100
#: Hours that cut canes are kept warm before buds are judged (Martinson 2014: 24-48 h; Fiola 2018: at least 24 h).
WARM_HOURS = (24, 48)
#: Lines to write on for one page.
LINES = 25


@dataclass(frozen=True)
class FieldSheet:
    """A sheet to print: `columns` head an empty table of `lines` lines; `cautions` are read before the work."""

    title: Message
    why: Message
    steps: tuple[Message, ...]
    columns: tuple[Message, ...]
    cautions: tuple[Message, ...]
    lines: int = LINES


def weighing_sheet() -> FieldSheet:
    """How vines are weighed: spare buds are left, and one-year-old wood alone is weighed.

    Rough-prune and leave spare buds, weigh, apply the rule, cut back to the count (Fiola 2021, Maryland). What is
    weighed is a relative measure of vigour (Skinkis 2013, Oregon State University, EM 9069).
    """
    names = ("pick", "spare", "young_wood", "old_cane", "scale", "canes", "write", "finish")
    fields = {
        "pencil_thin_mm": PENCIL_MM,
        "bull_thin_mm": BULL_DIAMETER_MM,
        "internode_mm": BULL_INTERNODE_MM,
        "fewest": FEWEST_VINES,
    }
    return FieldSheet(
        title=Message("weighing.weigh_title"),
        why=Message("weighing.weigh_why"),
        steps=tuple(Message(f"weighing.weigh_{name}", fields) for name in names),
        columns=tuple(
            Message(f"weighing.column_{name}")
            for name in ("block", "row", "vine", "weight", "canes", "bull_canes", "diameter", "internode", "note")
        ),
        cautions=(Message("cautions.safety"), Message("cautions.local_rules")),
    )


def bud_cutting_sheet() -> FieldSheet:
    """How buds are cut: how many, where on the cane, how long kept warm, what live and dead look like (in words)."""
    names = ("canes", "where", "apart", "warm", "cut", "colour", "secondary", "write", "many")
    fields = {
        "buds_low": BUDS_PER_CANE[0],
        "buds_high": BUDS_PER_CANE[1],
        "canes_low": CANES_TO_CUT[0],
        "canes_high": CANES_TO_CUT[1],
        "fewest": FEWEST_BUDS,
        "wanted": BUDS_WANTED,
        "hours_low": WARM_HOURS[0],
        "hours_high": WARM_HOURS[1],
    }
    return FieldSheet(
        title=Message("weighing.cut_title"),
        why=Message("weighing.cut_why", fields),
        steps=tuple(Message(f"weighing.cut_{name}", fields) for name in names),
        columns=tuple(
            Message(f"weighing.column_{name}")
            for name in ("block", "place", "cane", "buds_cut", "primary_dead", "secondary_dead", "note")
        ),
        cautions=(Message("weighing.cut_blade"), Message("cautions.local_rules")),
    )
