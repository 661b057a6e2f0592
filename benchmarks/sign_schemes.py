"""How many vines are told a wrong number, for ways of marking posts: walks over every row of a plan.

    python benchmarks/sign_schemes.py [RESULTS] [--repeats N]

RESULTS is a folder that `geoprune prescribe` wrote (default: demo_results). A hurried walker reads the last marked post he
passed; before the first he takes the next one ahead, or the number he has in hand from the row before. Someone who stands
looks to the nearest marked post either way. Faults: in every row the tape of one post is lost, or one set of bands is read
as one more or one fewer. Told: shares of all vines, and how many sets of bands are hung.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio

#: What hangs on a post: numbers for the side of lower and of higher vine numbers (0 = none), one number for whoever passes,
#: or two numbers without sides.
Marks = dict[float, tuple[int, ...]]
Answer = int | None  # None: in doubt


@dataclass(frozen=True)
class Row:
    """A row of panels: zone and vines of each, and whether the list walks it from vine 1 up."""

    zones: tuple[int, ...]
    vines: tuple[int, ...]
    upward: bool


@dataclass(frozen=True)
class Scheme:
    """A way of marking: `hang` gives the marks of a row, `hurried` and `careful` how they are read in a panel."""

    name: str
    hang: Callable[[Row], Marks]
    hurried: Callable[[Marks, int, int, Answer], Answer]
    careful: Callable[[Marks, int], Answer]


def starts(row: Row) -> list[int]:
    """Panels where a run begins, counted from vine 1."""
    return [i for i, zone in enumerate(row.zones) if i == 0 or zone != row.zones[i - 1]]


def runs(row: Row) -> Iterator[tuple[int, int, int]]:
    """First panel, panel after the last one, and zone of each run."""
    begins = starts(row)
    for first, after in zip(begins, [*begins[1:], len(row.zones)], strict=True):
        yield first, after, row.zones[first]


def hang_first_as_walked(row: Row) -> Marks:
    return {float(first if row.upward else after): (zone,) for first, after, zone in runs(row)}


def hang_first_from_vine_1(row: Row) -> Marks:
    return {float(first): (zone,) for first, _, zone in runs(row)}


def hang_pairs(row: Row) -> Marks:
    said: dict[float, set[int]] = {}
    for first, after, zone in runs(row):
        said.setdefault(float(first), set()).add(zone)
        said.setdefault(float(after), set()).add(zone)
    return {post: tuple(sorted(zones)) for post, zones in said.items()}


def hang_both_sides(row: Row) -> Marks:
    said: dict[float, list[int]] = {}
    for first, after, zone in runs(row):
        said.setdefault(float(first), [0, 0])[1] = zone
        said.setdefault(float(after), [0, 0])[0] = zone
    return {post: (low, high) for post, (low, high) in said.items()}


def hang_changes_only(row: Row) -> Marks:
    ends = (0.0, float(len(row.zones)))
    return {post: sides for post, sides in hang_both_sides(row).items() if post not in ends}


def hang_one_side(row: Row) -> Marks:
    return {float(first): (0, zone) for first, _, zone in runs(row)}


def hang_middles(row: Row) -> Marks:
    return {(first + after) // 2 + 0.5: (zone,) for first, after, zone in runs(row)}


def hang_every_panel(row: Row) -> Marks:
    return {panel + 0.5: (zone,) for panel, zone in enumerate(row.zones)}


def behind_and_ahead(marks: Marks, panel: int, heading: int) -> tuple[float | None, float | None]:
    """The nearest marks behind and ahead of the middle of a panel; one in the panel itself is behind."""
    at = panel + 0.5
    back = [post for post in marks if (at - post) * heading >= 0]
    front = [post for post in marks if (at - post) * heading < 0]
    return max(back, key=lambda p: p * heading, default=None), min(front, key=lambda p: p * heading, default=None)


def plain_hurried(marks: Marks, panel: int, heading: int, hand: Answer) -> Answer:
    back, front = behind_and_ahead(marks, panel, heading)
    if back is not None:
        return marks[back][0]
    return hand if hand is not None or front is None else marks[front][0]


def plain_careful(marks: Marks, panel: int) -> Answer:
    """Nothing tells which of two marks holds: the nearer one is taken."""
    nearest = min(marks, key=lambda post: abs(post - panel - 0.5), default=None)
    return None if nearest is None else marks[nearest][0]


def sides_seen(marks: Marks, panel: int, heading: int) -> tuple[int, int]:
    """What faces the panel on the marked posts behind and ahead; 0 for nothing."""
    back, front = behind_and_ahead(marks, panel, heading)
    facing = 1 if heading > 0 else 0
    return (0 if back is None else marks[back][facing]), (0 if front is None else marks[front][1 - facing])


def sided_hurried(marks: Marks, panel: int, heading: int, hand: Answer) -> Answer:
    back, front = sides_seen(marks, panel, heading)
    return back or front or hand


def sided_careful(marks: Marks, panel: int) -> Answer:
    back, front = sides_seen(marks, panel, 1)
    return None if back and front and back != front else back or front or None


def pair_hurried(marks: Marks, panel: int, heading: int, hand: Answer) -> Answer:
    """Past a post with two numbers the other one holds; without a number in hand, look the other way too."""
    back, _ = behind_and_ahead(marks, panel, heading)
    passed = () if back is None or (panel + 0.5 - back) * heading > 0.5 else marks[back]
    if not passed and hand is not None:
        return hand
    if len(passed) == 1:
        return passed[0]
    others = [zone for zone in passed if zone != hand]
    return others[0] if len(others) == 1 else pair_careful(marks, panel)


def pair_careful(marks: Marks, panel: int) -> Answer:
    seen = [set(marks[post]) for post in behind_and_ahead(marks, panel, 1) if post is not None]
    common = set.intersection(*seen) if seen else set()
    return common.pop() if len(common) == 1 else None


SCHEMES = (
    Scheme("first post of each run, as walked", hang_first_as_walked, plain_hurried, plain_careful),
    Scheme("first post of each run, from vine 1", hang_first_from_vine_1, plain_hurried, plain_careful),
    Scheme("one mark in the middle of each run", hang_middles, plain_hurried, plain_careful),
    Scheme("one end of each run, on its side", hang_one_side, sided_hurried, sided_careful),
    Scheme("changes with both numbers, no sides, and ends", hang_pairs, pair_hurried, pair_careful),
    Scheme("changes on both sides, no ends", hang_changes_only, sided_hurried, sided_careful),
    Scheme("changes on both sides, and ends", hang_both_sides, sided_hurried, sided_careful),
    Scheme("every panel", hang_every_panel, plain_hurried, plain_careful),
)


def hung(marks: Marks) -> int:
    """How many sets of bands are tied."""
    return sum(sum(1 for zone in said if zone) for said in marks.values())


def lose_one(marks: Marks, rng: np.random.Generator, zones: int) -> Marks:
    """Without the tape of one post."""
    gone = rng.choice(sorted(marks)) if marks else None
    return {post: said for post, said in marks.items() if post != gone}


def misread_one(marks: Marks, rng: np.random.Generator, zones: int) -> Marks:
    """With one set of bands read as one more or one fewer, of 1 to `zones`."""
    sets = [(post, place) for post in sorted(marks) for place, zone in enumerate(marks[post]) if zone]
    if not sets:
        return marks
    post, place = sets[rng.integers(len(sets))]
    said = list(marks[post])
    near = [zone for zone in (said[place] - 1, said[place] + 1) if 1 <= zone <= zones]
    said[place] = int(rng.choice(near))
    return marks | {post: tuple(said)}


def as_hung(marks: Marks, rng: np.random.Generator, zones: int) -> Marks:
    return marks


def walk(scheme: Scheme, marks: Marks, panels: Sequence[int], heading: int, hand: Answer = None) -> list[Answer]:
    """The number in hand in each panel of a way."""
    said = []
    for panel in panels:
        hand = scheme.hurried(marks, panel, heading, hand)
        said.append(hand)
    return said


Tally = tuple[float, float, float]  # vines told wrong, in doubt, all


def tally(row: Row, panels: Sequence[int], said: Sequence[Answer]) -> Tally:
    vines = np.array([row.vines[panel] for panel in panels], dtype=float)
    doubt = np.array([answer is None for answer in said])
    wrong = np.array([answer != row.zones[panel] for panel, answer in zip(panels, said, strict=True)]) & ~doubt
    return float(vines[wrong].sum()), float(vines[doubt].sum()), float(vines.sum())


def walked(scheme: Scheme, rows: Sequence[Row], hung_marks: Sequence[Marks], way: str, rng: np.random.Generator) -> Tally:
    """Walk all rows: as "listed", from the "other" end, from the "middle", over the "headland", or "stand" in every panel.

    Over the headland: all rows from one end, the number of the row before still in hand, as when two crews share the rows.
    """
    hand: Answer = None
    sums = np.zeros(3)
    for row, marks in zip(rows, hung_marks, strict=True):
        up = list(range(len(row.zones)))
        heading = {"listed": 1 if row.upward else -1, "other": -1 if row.upward else 1, "headland": 1, "stand": 1}.get(way)
        if way == "stand":
            sums += tally(row, up, [scheme.careful(marks, panel) for panel in up])
            continue
        if heading is None:  # from the middle, either way
            heading, begin = int(rng.choice((-1, 1))), int(rng.integers(len(up)))
            panels = up[begin:] if heading > 0 else up[begin::-1]
        else:
            panels = up if heading > 0 else up[::-1]
        said = walk(scheme, marks, panels, heading, hand if way == "headland" else None)
        hand = said[-1]
        sums += tally(row, panels, said)
    return float(sums[0]), float(sums[1]), float(sums[2])


FAULTS: Mapping[str, Callable[[Marks, np.random.Generator, int], Marks]] = {
    "": as_hung,
    "lost": lose_one,
    "misread": misread_one,
}
WALKS = ("listed", "other", "middle", "headland")


def measure(rows: Sequence[Row], *, repeats: int = 20, seed: int = 0) -> pd.DataFrame:
    """Shares of vines told wrong, and in doubt, per scheme: each walk without a fault; walks together with one."""
    rng = np.random.default_rng(seed)
    zones = max(max(row.zones) for row in rows)
    lines = []
    for scheme in SCHEMES:
        marks = [scheme.hang(row) for row in rows]
        line: dict[str, float | str] = {"scheme": scheme.name, "sets": sum(hung(said) for said in marks)}
        for fault, harm in FAULTS.items():
            found: dict[str, list[Tally]] = {way: [] for way in (*WALKS, "stand")}
            for _ in range(repeats if fault else 1):
                harmed = [harm(said, rng, zones) for said in marks]
                for way in found:
                    again = repeats if way == "middle" and not fault else 1
                    found[way] += [walked(scheme, rows, harmed, way, rng) for _ in range(again)]
            line |= shares(found, fault)
        lines.append(line)
    return pd.DataFrame(lines)


def shares(found: Mapping[str, Sequence[Tally]], fault: str) -> dict[str, float]:
    """Tallies as shares: of each walk where there is no fault, else of the walks together; and of those who stand."""

    def share(ways: Sequence[str], place: int) -> float:
        return float(np.mean([tally[place] / tally[2] for way in ways for tally in found[way]]))

    each = {way: share([way], 0) for way in WALKS} if not fault else {f"{fault}_walk": share(WALKS, 0)}
    end = f"{fault}_" if fault else ""
    return {**each, f"{end}stand": share(["stand"], 0), f"{end}stand_doubt": share(["stand"], 1)}


def rows_of(results: Path, block: str) -> list[Row]:
    """The rows of a planned block, in walking order."""
    package = results / "prescription.gpkg"
    panels = gpd.read_file(package, layer="panels", ignore_geometry=True).query("block == @block")
    listed = pyogrio.read_dataframe(package, layer="runs", read_geometry=False).query("block == @block")
    found = []
    for row, said in listed.groupby("row", sort=False):
        here = panels[panels["row"] == row].sort_values("panel")
        upward = bool(said["from_post"].iloc[0] <= said["to_post"].iloc[-1])
        found.append(Row(tuple(map(int, here["zone"])), tuple(map(int, here["vines"])), upward))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("results", type=Path, nargs="?", default=Path("demo_results"))
    parser.add_argument("--repeats", type=int, default=20)
    asked = parser.parse_args()
    panels = gpd.read_file(asked.results / "prescription.gpkg", layer="panels", ignore_geometry=True)
    for block, table in panels.groupby("block"):
        if table["zone"].nunique() > 1:
            rows = rows_of(asked.results, str(block))
            said = measure(rows, repeats=asked.repeats)
            figures = said.drop(columns=["scheme", "sets"]).mul(100).round(1)
            print(f"\n{block}: {len(rows)} rows, {sum(map(len, map(starts, rows)))} runs, shares of vines in percent")
            print(pd.concat([said[["scheme", "sets"]], figures], axis=1).to_string(index=False))


if __name__ == "__main__":
    main()
