"""What is said at the end of a run: as one would read it aloud, a few lines a block."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geoprune.cli.console import print_table
from geoprune.errors import Message
from geoprune.maps import zone_recipes
from geoprune.plan import estate_stop_message, stop_message, young_messages
from geoprune.text import one_line
from geoprune.units import NINETY
from geoprune.words import say

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console

    from geoprune.plan import BlockPlan, EstatePlan

Tell = Callable[[Message], str]
#: Changes of number a row, on average over a block, from which tape is much work; and how many times dearer a change is
#: then suggested to be. Three zones usually change 1.9 times a row (docs/method-zones.md). Both are choices of ours.
MANY_CHANGES = 2.0
CALMER_TIMES = 4.0
HEADS = ("zone", "tape", "vines_are", "buds", "leave", "vines", "size", "diagnosis")


def print_summary(console: Console, estate: EstatePlan, out: Path, *, language: str, units: str) -> None:
    """Print each block's verdict, numbers and reasons, the caution, and where the results are."""
    tell = partial(say, language=language, units=units)
    stop = estate_stop_message(estate.blocks)
    if stop is not None:
        console.print(one_line(tell(stop)), style="bold reverse")
        console.print()
    for plan in estate.blocks:
        _print_block(console, plan, tell, language=language, change_cost=estate.options.zones.change_cost)
    for key in ("cautions.guide", "cautions.local_rules"):
        console.print(tell(Message(key)))
    console.print(tell(Message("terminal.results", {"path": one_line(out / "index.html")})))


def print_remarks(console: Console, estate: EstatePlan, *, language: str, units: str) -> None:
    """Print what was assumed, dropped or extrapolated, the vineyard's first and then each block's."""
    tell = partial(say, language=language, units=units)
    for remark in estate.remarks:
        console.print(one_line(tell(remark.message)), style="bold" if remark.kind in ("dropped", "warning") else "dim")
    for plan in estate.blocks:
        for remark in plan.remarks:
            told = {"block": plan.name, "kind": Message(f"terminal.kind_{remark.kind}"), "text": remark.message}
            console.print(one_line(tell(Message("terminal.remark", told))), style="dim")


def _print_block(console: Console, plan: BlockPlan, tell: Tell, *, language: str, change_cost: float) -> None:
    console.print(one_line(tell(verdict_message(plan))), style="bold")
    recipes = {zone: told.replace("×", "x") for zone, told in zone_recipes(plan, language).items()}
    names = {zone: one_line(name) for zone, name in plan.zone_names.items()}
    lines = [
        _zone_line(line, tell, name=names.get(line["zone"], ""), recipe=recipes[line["zone"]], taped=plan.taped)
        for line in plan.zones.to_dict("records")
    ]
    heads = [tell(Message(f"terminal.head_{head}")) for head in HEADS]
    print_table(console, heads, lines, numbers=(0, 1, 3, 5, 6))
    for reason in (
        *young_messages(plan),
        *plan.verdict_reasons,
        *plan.notes,
        *(calmer(plan.runs, plan.zones, change_cost=change_cost) if plan.taped else ()),
    ):
        console.print(f"  {one_line(tell(reason))}")
    console.print()


def verdict_message(plan: BlockPlan) -> Message:
    """The verdict of a block as a sentence."""
    stop = stop_message(plan)
    if stop is not None:
        return Message("terminal.verdict_stop", {"block": plan.name, "stop": stop})
    fields = {"block": plan.name, "zones": len(plan.zones), "buds": plan.buds_per_vine}
    return Message(f"terminal.verdict_{plan.headline}", fields)


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


def _zone_line(line: dict[str, Any], tell: Tell, *, name: str, recipe: str, taped: bool) -> tuple[str, ...]:
    buds = float(line["buds_per_vine"])
    size = {"vine_size_kg": float(line["vine_size_kg"]), "error_kg": NINETY * float(line["vine_size_se_kg"])}
    return (
        str(line["zone"]),
        str(line["zone"]) if taped else "–",
        name or tell(Message(f"map.class_{line['class'].replace(' ', '_')}")),
        tell(Message("map.stop_word")) if buds != buds else f"{buds:.0f}",
        recipe,
        str(line["vines"]),
        tell(Message("terminal.size", size)),
        "" if buds != buds else tell(Message(f"map.diagnosis_{line['diagnosis'].replace(' ', '_')}")),
    )
