"""The shortest round on foot through chosen places of a block: along the rows, across only at their ends.

Rows are walls. One walks in the alleys between them, and from an alley reaches the vines of the rows on both sides. For a
set of parallel alleys joined at both ends the shortest closed round is found exactly, alley by alley, in a time that grows
with the number of alleys alone (Ratliff & Rosenthal 1983, Operations Research 31:507-521, order picking in a warehouse).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Edge = tuple[str, int]  # a place: "head" or "foot" of an alley, or a stop
State = tuple[int, int, int]  # ends met at head and foot (0 none, 1 odd, 2 even), separate parts


@dataclass(frozen=True)
class Alley:
    """An alley that is walked: the stops reached from it, their places along it, and its length (m)."""

    stops: tuple[int, ...]
    along_m: tuple[float, ...]
    length_m: float


@dataclass(frozen=True)
class Walk:
    """A closed round: order (n,) of the stops, its length in m, and whether it begins at the end of vine 1 ("head")."""

    order: Integers
    length_m: float
    begins: str


def plan_walk(rows: NDArray[np.object_], row_order: Integers, points: Floats) -> Walk:
    """Find the shortest closed round through stops.

    Parameters
    ----------
    rows : array of LineString, (R,)
        All rows in their order across the block, vine 1 first.
    row_order : (n,)
        Position in `rows` of the row each stop stands in.
    points : (n, 2)
        Easting and northing of the stops, m.

    Returns
    -------
    Walk
        Exact for alleys joined at both ends; which alley a vine is reached from is settled before, so that the fewest
        alleys are walked. The width of an alley is not counted.
    """
    lines = _one_way(rows)
    alleys, of_alley = _alleys(lines, row_order, points)
    ends = [shapely.get_coordinates(shapely.line_interpolate_point(lines[of_alley], e, normalized=True)) for e in (0.0, 1.0)]
    across = [np.hypot(*np.diff(end, axis=0).T) for end in ends]
    length, edges = _shortest(alleys, *across)
    order, begins = _follow(edges, alleys)
    return Walk(np.array(order, dtype=np.int64), length, begins)


def _one_way(rows: NDArray[np.object_]) -> NDArray[np.object_]:
    """The rows, all running the way of the longest."""
    ends = shapely.get_coordinates(
        shapely.line_interpolate_point(np.repeat(rows, 2), np.tile([0.0, 1.0], len(rows)), normalized=True)
    )
    along = ends[1::2] - ends[::2]
    against = along @ along[np.hypot(*along.T).argmax()] < 0
    return np.where(against, shapely.reverse(rows), rows)


def _alleys(lines: NDArray[np.object_], row_order: Integers, points: Floats) -> tuple[list[Alley], Integers]:
    """The fewest alleys from which all stops are reached, and the row on the near side of each."""
    alleys, near = [], []
    wanted = np.unique(row_order)
    while len(wanted):
        row = int(wanted[0])
        stops = np.flatnonzero((row_order == row) | (row_order == row + 1))
        along = shapely.line_locate_point(lines[row], shapely.points(points[stops]))
        order = np.argsort(along, kind="stable")
        alleys.append(Alley(tuple(stops[order].tolist()), tuple(along[order].tolist()), float(shapely.length(lines[row]))))
        near.append(row)
        wanted = wanted[wanted > row + 1]
    return alleys, np.array(near, dtype=np.int64)


def _shortest(alleys: list[Alley], heads: Floats, feet: Floats) -> tuple[float, list[tuple[Edge, Edge]]]:
    """Length of the shortest round and the ways it takes, each as often as it is walked."""
    states: dict[State, tuple[float, list[tuple[Edge, Edge]]]] = {(0, 0, 0): (0.0, [])}
    for k, alley in enumerate(alleys):
        reached: dict[State, tuple[float, list[tuple[Edge, Edge]]]] = {}
        served = _within(alley, k)
        for state, (cost, edges) in states.items():
            for added, more, ways in served:
                _keep(reached, _joined(state, added), cost + more, edges, ways)
        if k == len(alleys) - 1:
            return min((v for s, v in reached.items() if s[0] != 1 and s[1] != 1 and s[2] == 1), key=lambda v: v[0])
        states = {}
        for state, (cost, edges) in reached.items():
            for head, foot in ((1, 1), (2, 0), (0, 2), (2, 2)):
                if _may_cross(state, head, foot):
                    ways = [(("head", k), ("head", k + 1))] * head + [(("foot", k), ("foot", k + 1))] * foot
                    more = head * heads[k] + foot * feet[k]
                    _keep(states, (head, foot, state[2]), cost + float(more), edges, ways)
    raise ValueError("there is no stop to walk to")


def _keep(
    states: dict[State, tuple[float, list[tuple[Edge, Edge]]]],
    state: State,
    cost: float,
    edges: list[tuple[Edge, Edge]],
    ways: list[tuple[Edge, Edge]],
) -> None:
    if state not in states or cost < states[state][0] - 1e-9:
        states[state] = (cost, edges + ways)


def _within(alley: Alley, k: int) -> list[tuple[State, float, list[tuple[Edge, Edge]]]]:
    """The ways to serve an alley: through once or twice, from its head, from its foot, or from both up to the widest gap."""
    nodes: list[Edge] = [("head", k), *(("stop", stop) for stop in alley.stops), ("foot", k)]
    places = np.array([0.0, *alley.along_m, alley.length_m])
    steps = list(itertools.pairwise(nodes))
    gaps = np.diff(places)
    found = [((1, 1, 1), alley.length_m, steps), ((2, 2, 1), 2 * alley.length_m, steps * 2)]
    widest = 1 + int(gaps[1:-1].argmax()) if len(gaps) > 2 else -1
    for gap, ends in ((len(gaps) - 1, (2, 0, 1)), (0, (0, 2, 1)), (widest, (2, 2, 2))):
        if gap >= 0:
            found.append((ends, float(2 * (alley.length_m - gaps[gap])), (steps[:gap] + steps[gap + 1 :]) * 2))
    return found


def _joined(state: State, added: State) -> State:
    """Ends and parts after the ways of an alley are added to what came before it."""
    head, foot, parts = state
    ends = [2 if (a + b) % 2 == 0 and a + b else (a + b) % 2 for a, b in ((head, added[0]), (foot, added[1]))]
    if parts == 0:
        return ends[0], ends[1], added[2]
    if added[:2] in ((1, 1), (2, 2)) and added[2] == 1:
        return ends[0], ends[1], 1
    loose = (added[0] > 0 and head == 0) + (added[1] > 0 and foot == 0)
    return ends[0], ends[1], parts + loose


def _may_cross(state: State, head: int, foot: int) -> bool:
    """Whether these ways to the next alley leave nothing behind: every end even, no part cut off, none begun in the air."""
    even = (state[0] + head) % 2 == 0 and (state[1] + foot) % 2 == 0
    held = not (state[2] == 2 and 0 in (head, foot))
    return even and held and not (head and not state[0]) and not (foot and not state[1])


def _follow(edges: list[tuple[Edge, Edge]], alleys: list[Alley]) -> tuple[list[int], str]:
    """Walk every way once (Hierholzer) from the first alley, and list the stops as they are first come to."""
    ways: dict[Edge, list[tuple[Edge, int]]] = {}
    for number, (one, other) in enumerate(edges):
        ways.setdefault(one, []).append((other, number))
        ways.setdefault(other, []).append((one, number))
    start: Edge = ("head", 0) if ("head", 0) in ways else ("foot", 0)
    walked: set[int] = set()
    stack, circuit = [start], []
    while stack:
        at = stack[-1]
        while ways[at] and ways[at][-1][1] in walked:
            ways[at].pop()
        if ways[at]:
            onward, number = ways[at].pop()
            walked.add(number)
            stack.append(onward)
        else:
            circuit.append(stack.pop())
    order = list(dict.fromkeys(number for kind, number in circuit if kind == "stop"))
    assert len(order) == sum(len(alley.stops) for alley in alleys)
    return order, start[0]
