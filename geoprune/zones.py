"""Zones of whole panels a crew can follow, chosen by what they save."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis, middle_points

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]
#: Price of a change between neighbouring rows against one along a row. A step across a row is seen at the row's head and
#: needs no tape on the way, so it is cheaper. Design choice, not tuned.
ACROSS = 0.25


@dataclass(frozen=True)
class ZoneOptions:
    """How zones are drawn.

    max_zones 3: more is not followed in the field (common practice, no source). bud_step 5: people count in fives.
    over_weight 1.25: a bud too many weighs more than one too few, since over-cropping does lasting harm (design
    choice). change_cost: what a change of number costs, in buds x vines, so that zones do not fray. shortest_run:
    panels along a row before the number may change again. smallest_share: part of the block below which a zone is
    not kept. min_saving_buds 1: less is not worth the tape.
    """

    max_zones: int = 3
    bud_step: int = 5
    over_weight: float = 1.25
    change_cost: float = 8.0
    shortest_run: int = 3
    smallest_share: float = 0.05
    min_saving_buds: float = 1.0


@dataclass(frozen=True)
class Zoning:
    """panel_zone (P,) in 1..k with 1 = smallest vines; buds (k,); merit per number of zones; verdict and why."""

    panel_zone: Labels
    buds: Labels
    merit: dict[str, Any]
    verdict: str
    reason: str
    one_number: int


def _costs(points: Floats, need: Callable[[Floats], Floats], steps: Labels, over: float) -> Floats:
    """Expected loss of telling each step to a vine of each panel: (P, B)."""
    wanted = need(points)
    cost = np.empty((len(points), len(steps)))
    for b, told in enumerate(steps):
        miss = told - wanted
        cost[:, b] = np.where(miss > 0, over * miss, -miss).mean(axis=1)
    return cost


def _neighbours(trellis: Trellis) -> tuple[Labels, Labels]:
    """For each panel the nearest panel of the row before and of the row after (-1 = none)."""
    middle = middle_points(trellis.panels)
    order = trellis.panels["row_order"].to_numpy()
    found = [np.full(len(order), -1), np.full(len(order), -1)]
    members = {int(r): np.flatnonzero(order == r) for r in np.unique(order)}
    for r, here in members.items():
        for side, step in enumerate((-1, 1)):
            if r + step in members:
                there = members[r + step]
                distance, nearest = cKDTree(middle[there]).query(middle[here])
                found[side][here] = np.where(distance < 3 * trellis.row_spacing_m, there[nearest], -1)
    return found[0], found[1]


def _best_along_row(cost: Floats, change: float, run: int) -> Labels:
    """Exact labels of one row: least cost with a price per change and a shortest run (dynamic programme)."""
    count, labels = cost.shape
    run = min(run, count)
    total = np.vstack([np.zeros(labels), np.cumsum(cost, axis=0)])
    best = np.full((count + 1, labels), np.inf)
    start = np.zeros((count + 1, labels), dtype=int)
    previous = np.zeros((count + 1, labels), dtype=int)
    gain = np.full(labels, np.inf)  # best value of starting the present run, less the cost before it
    origin = np.zeros(labels, dtype=int)
    before = np.zeros(labels, dtype=int)
    for end in range(run, count + 1):
        first = end - run
        if first == 0:
            entry, source = np.zeros(labels), np.full(labels, -1)
        else:
            entry, source = np.full(labels, np.inf), np.zeros(labels, dtype=int)
            for k in range(labels):
                reach = best[first].copy()
                reach[k] = np.inf
                source[k] = int(reach.argmin()) if labels > 1 else 0
                entry[k] = reach[source[k]] + change
        value = entry - total[first]
        better = value < gain
        gain[better], origin[better], before[better] = value[better], first, source[better]
        best[end], start[end], previous[end] = total[end] + gain, origin, before
    result, end, label = np.empty(count, dtype=np.int64), count, int(best[count].argmin())
    while end > 0:
        first, source = start[end, label], previous[end, label]
        result[first:end] = label
        end, label = int(first), int(source)
    return result


def _label(unary: Floats, trellis: Trellis, sides: tuple[Labels, Labels], options: ZoneOptions) -> Labels:
    """Row by row, each exact given its neighbours, swept until nothing changes (at most 6 sweeps)."""
    labels = unary.argmin(axis=1)
    order = trellis.panels["row_order"].to_numpy()
    edges = np.flatnonzero(np.diff(order)) + 1
    members = np.split(np.arange(len(order)), edges)
    width = unary.shape[1]
    for sweep in range(6):
        before = labels.copy()
        for here in members if sweep % 2 == 0 else members[::-1]:
            cost = unary[here].copy()
            for side in sides:
                known = side[here] >= 0
                differs = labels[side[here[known]]][:, None] != np.arange(width)[None, :]
                cost[known] += options.change_cost * ACROSS * differs
            labels[here] = _best_along_row(cost, options.change_cost, options.shortest_run)
        if sweep > 0 and np.array_equal(before, labels):
            break
    return labels


def _misfits(draws: SizeDraws, need: Callable[[Floats], Floats], told: Floats, weight: Floats, step: int) -> Floats:
    """Per draw: mean absolute misfit (buds per vine) as told, told perfectly by panel, share of vines more than 5 off."""
    rows = []
    for state in draws.vines():
        wanted = need(state)
        miss = np.abs(told[:, None] - wanted)
        perfect = np.round(np.median(wanted, axis=1) / step) * step
        rows.append(
            (
                weight @ miss.mean(axis=1),
                weight @ np.abs(perfect[:, None] - wanted).mean(axis=1),
                weight @ (miss > 5).mean(axis=1),
            )
        )
    return np.array(rows)


def _interval(values: Floats) -> dict[str, float]:
    low, high = np.quantile(values, [0.05, 0.95])
    return {"value": float(values.mean()), "low": float(low), "high": float(high)}


def draw_zones(
    trellis: Trellis,
    draws: SizeDraws,
    need: Callable[[Floats], Floats],
    *,
    map_is_better: bool = True,
    options: ZoneOptions = ZoneOptions(),
) -> Zoning:
    """Choose zones and their bud counts jointly, least expected misfit under the uncertainty of vine size.

    `need` turns weights (P, k) in kg into buds. One number is the verdict when the map is not better than the mean, or
    when zones save less than `min_saving_buds` per vine.
    """
    weight = trellis.panels["counted"].to_numpy(float)
    share = weight / weight.sum()
    points = draws.vine_points()
    step = options.bud_step
    top = float(np.quantile(need(points), 0.99))
    steps = np.arange(step, step * (int(top // step) + 2), step)
    cost = _costs(points, need, steps, options.over_weight) * weight[:, None]
    one = int(steps[cost.sum(axis=0).argmin()])
    base = _misfits(draws, need, np.full(len(weight), float(one)), share, step)
    curve = [{"zones": 1, "buds": [one], "misfit": _interval(base[:, 0])}]
    chosen: tuple[Labels, Labels, Floats] | None = None
    saving = 0.0
    if map_is_better:
        sides = _neighbours(trellis)
        useful = np.unique(cost.argmin(axis=1))
        for count in range(2, options.max_zones + 1):
            found = _zones_of(cost, steps, useful, count, trellis, sides, options)
            if found is None:
                break
            labels, buds = found
            figures = _misfits(draws, need, buds[labels].astype(float), share, step)
            curve.append({"zones": count, "buds": buds.tolist(), "misfit": _interval(figures[:, 0])})
            gain = float((base[:, 0] - figures[:, 0]).mean())
            if chosen is None or gain > saving + 0.1:  # a further zone must save a tenth of a bud more
                chosen, saving = (labels, buds, figures), gain
    merit = {
        "one_number_misfit": _interval(base[:, 0]),
        "perfect_misfit": _interval(base[:, 1]),
        "one_number_share_more_than_5_off": _interval(base[:, 2]),
        "curve": curve,
        "saving": saving,
    }
    if chosen is not None and saving >= options.min_saving_buds:
        labels, buds, figures = chosen
        merit["zones_misfit"] = _interval(figures[:, 0])
        merit["zones_share_more_than_5_off"] = _interval(figures[:, 2])
        reason = f"{len(buds)} zones save {saving:.1f} buds per vine against one number."
        return Zoning(labels + 1, buds, merit, "zone", reason, one)
    merit["zones_misfit"] = merit["one_number_misfit"]
    if not map_is_better:
        reason = "The samples show no pattern that predicts vines better than the block mean: use one number."
    else:
        reason = f"Zones would save only {saving:.1f} buds per vine: use one number."
    return Zoning(np.ones(len(weight), dtype=np.int64), np.array([one]), merit, "one_number", reason, one)


def _zones_of(
    cost: Floats,
    steps: Labels,
    useful: Labels,
    count: int,
    trellis: Trellis,
    sides: tuple[Labels, Labels],
    options: ZoneOptions,
) -> tuple[Labels, Labels] | None:
    """Best ordered counts for `count` zones, then labels, then counts again for the labels; None if a zone dies."""
    if len(useful) < count:
        return None
    tuples = list(combinations(useful, count))
    values = [np.minimum.reduce([cost[:, b] for b in chosen]).sum() for chosen in tuples]
    chosen = np.array(tuples[int(np.argmin(values))])
    for _ in range(2):
        labels = _label(cost[:, chosen], trellis, sides, options)
        alive = np.bincount(labels, minlength=count)
        if (alive < max(1, options.smallest_share * len(labels))).any():
            return None
        chosen = np.array([int(cost[labels == k].sum(axis=0).argmin()) for k in range(count)])
        if len(np.unique(chosen)) < count:
            return None
        rank = np.argsort(chosen)
        chosen = chosen[rank]
        labels = np.argsort(rank)[labels]
    return labels, steps[chosen]


def row_list(trellis: Trellis, panel_zone: Labels, buds: Labels) -> pd.DataFrame:
    """The crew's list in walking order: one line per run of panels with the same zone.

    Rows are walked to and fro: odd stops from vine 1, even ones from the other end. Posts are counted from the end of
    vine 1 (post 0). Returns stop, row, from_post, to_post, first_vine, last_vine, zone, bands, buds_per_vine, vines.
    """
    panels = trellis.panels.assign(zone=panel_zone)
    starts = (panels["zone"].ne(panels["zone"].shift()) | panels["row_order"].ne(panels["row_order"].shift())).cumsum()
    runs = panels.groupby(starts).agg(
        row_order=("row_order", "first"),
        row=("row", "first"),
        from_post=("panel", "min"),
        to_post=("panel", "max"),
        first_vine=("first_vine", "min"),
        last_vine=("last_vine", "max"),
        zone=("zone", "first"),
        vines=("counted", "sum"),
    )
    runs["from_post"] -= 1
    runs["bands"] = runs["zone"]
    runs["buds_per_vine"] = np.asarray(buds)[runs["zone"].to_numpy() - 1]
    back = runs["row_order"] % 2 == 1
    runs = runs.assign(_walk=np.where(back, -runs["from_post"], runs["from_post"]))
    runs.loc[back, ["from_post", "to_post"]] = runs.loc[back, ["to_post", "from_post"]].to_numpy()
    runs = runs.sort_values(["row_order", "_walk"]).reset_index(drop=True)
    runs.insert(0, "stop", np.arange(1, len(runs) + 1))
    return runs.drop(columns=["_walk", "row_order"])


def follow(runs: pd.DataFrame, trellis: Trellis) -> Labels:
    """Walk the row list and write down the zone of each panel: the inverse of `row_list`."""
    panels = trellis.panels
    zone = np.zeros(len(panels), dtype=np.int64)
    for run in runs.itertuples():
        low, high = sorted((run.from_post, run.to_post))
        inside = (panels["row"] == run.row) & (panels["panel"] > low) & (panels["panel"] <= high)
        zone[inside.to_numpy()] = run.zone
    return zone
