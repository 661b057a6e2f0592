"""What is said at the end of a run: as one would read it aloud, a few lines a block."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from geoprune.brief import BlockBrief, ZoneBrief, estate_alert
from geoprune.cli.console import print_table
from geoprune.errors import Message
from geoprune.text import one_line

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console

    from geoprune.jobs import Failure, Prescription
    from geoprune.words import Reader

#: Changes of number a row, on average over a block, from which tape is much work; and how many times dearer a change is
#: then suggested to be. Three zones usually change 1.9 times a row (docs/method-zones.md). Both are choices of ours.
MANY_CHANGES = 2.0
CALMER_TIMES = 4.0
HEADS = ("zone", "tape", "vines_are", "buds", "leave", "vines", "size", "diagnosis")


def print_summary(console: Console, done: Prescription, reader: Reader) -> None:
    """Print each block's verdict, numbers and reasons, the caution, and where the results are."""
    briefs = done.briefs
    stop = estate_alert(briefs)
    if stop is not None:
        console.print(one_line(reader.say(stop)), style="bold reverse")
        console.print()
    for brief in briefs:
        _print_block(console, brief, reader)
    for key in ("cautions.guide", "cautions.local_rules"):
        console.print(reader.say(Message(key)))
    console.print(reader.say(Message("terminal.results", {"path": one_line(done.out / "index.html")})))


def print_remarks(console: Console, done: Prescription, reader: Reader) -> None:
    """Print what was assumed, dropped or extrapolated, the vineyard's first and then each block's."""
    say = reader.say
    for remark in done.remarks:
        console.print(one_line(say(remark.message)), style="bold" if remark.kind in ("dropped", "warning") else "dim")
    for brief in done.briefs:
        for remark in brief.remarks:
            record = {"block": brief.name, "kind": Message(f"terminal.kind_{remark.kind}"), "text": remark.message}
            console.print(one_line(say(Message("terminal.remark", record))), style="dim")


def print_failures(console: Console, failures: Iterable[Failure], reader: Reader) -> None:
    """Print which blocks could not be planned and why."""
    for failure in failures:
        console.print(one_line(reader.say(failure.message)), style="bold")


def _print_block(console: Console, brief: BlockBrief, reader: Reader) -> None:
    fields = {"block": brief.name, "verdict": brief.verdict}
    console.print(one_line(reader.say(Message("terminal.verdict", fields))), style="bold")
    if brief.alert is not None and not brief.without_number:
        console.print(one_line(reader.say(brief.alert)), style="bold reverse")
    heads = [reader.say(Message(f"terminal.head_{head}")) for head in HEADS]
    print_table(console, heads, [_zone_line(zone, reader) for zone in brief.zones], numbers=(0, 1, 3, 5, 6))
    instead = () if brief.instead is None else (brief.instead,)
    calm = calmer(brief.plan.runs, brief.plan.zones, change_cost=brief.plan.options.zones.change_cost) if brief.taped else ()
    for line in (*brief.young, *brief.reasons, *instead, *brief.notes, *calm, *brief.tape[:1]):
        console.print(f"  {one_line(reader.say(line))}")
    console.print()


def calmer(runs: pd.DataFrame, zones: pd.DataFrame, *, change_cost: float) -> tuple[Message, ...]:
    """Where a row's number changes `MANY_CHANGES` times on average: what makes for less tape.

    Nothing of zones that were given, which no price changes.
    """
    rows = runs["row"].nunique()
    changes = len(runs) - rows
    if "given_as" in zones or not rows or changes < MANY_CHANGES * rows:
        return ()
    fields = {"changes": changes, "rows": rows, "mean": changes / rows, "cost": max(CALMER_TIMES * change_cost, 0.5)}
    return (Message("terminal.calmer", fields),)


def _zone_line(zone: ZoneBrief, reader: Reader) -> tuple[str, ...]:
    error = zone.size_kg.high - zone.size_kg.value
    return (
        str(zone.zone),
        str(zone.bands) if zone.bands else "–",
        zone.name or reader.say(zone.kind),
        reader.say(zone.number),
        " · ".join(reader.say(part) for part in zone.leave).replace("×", "x"),
        reader.number(zone.vines),
        reader.say(Message("terminal.size", {"vine_size_kg": zone.size_kg.value, "error_kg": error})),
        "" if zone.condition is None else reader.say(zone.condition),
    )
