"""Draw a given number of zones: labels and bud counts, within the practical limits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from heapq import heappop, heappush
from itertools import pairwise

import numpy as np

from geoprune.errors import DataError, Problem
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis
from geoprune.zones.counts import settle_step
from geoprune.zones.cuts import ThresholdCuts
from geoprune.zones.graph import PanelGraph, build_graph
from geoprune.zones.limits import dissolve_pieces, grow_pieces, zones_large_enough
from geoprune.zones.loss import expected_loss
from geoprune.zones.options import Floats, Labels, Need, ZoneOptions
from geoprune.zones.runs import labelling_cost, sweep_rows

TRIES = 6
REFITS = 3
#: Counts that outlines are sought with: with more the search takes longer and finds no better ones.
MOST_COUNTS = 10


@dataclass(frozen=True)
class Drawn:
    """Labels 0..k-1, their counts (places among the candidates), what they cost, and a bound on the cost."""

    labels: Labels
    chosen: tuple[int, ...]
    cost: float
    lower_bound: float


@dataclass(frozen=True)
class Task:
    """What a drawing works on.

    graph : the panels; counted (P,) their vines, size_kg (P,) their expected vine size
    counts, loss : (B,) candidate bud counts and (P, B) expected loss
    """

    graph: PanelGraph
    counted: Labels
    size_kg: Floats
    counts: Labels
    loss: Floats
    options: ZoneOptions

    def prices(self, chosen: tuple[int, ...]) -> tuple[Floats, Floats]:
        """Return the price (k, k) of a change along a row, and of a difference between facing panels."""
        buds = self.counts[list(chosen)].astype(float)
        apart = np.abs(buds[:, None] - buds[None, :])
        return self.options.change_cost * apart, self.options.neighbour_cost * apart

    def panel_counts(self, drawn: Drawn) -> Floats:
        """Return the bud count of each panel: (P,)."""
        return self.counts[list(drawn.chosen)][drawn.labels].astype(float)

    def cost(self, labels: Labels, chosen: tuple[int, ...]) -> float:
        """Return the cost of labels with these counts."""
        return labelling_cost(self.loss[:, list(chosen)], labels, self.graph, *self.prices(chosen))


def set_task(trellis: Trellis, draws: SizeDraws, need: Need, options: ZoneOptions) -> Task:
    """Prepare a drawing.

    Raises
    ------
    DataError
        When no vine of the block gets a bud count.
    """
    counted = trellis.panels["counted"].to_numpy()
    if not counted.sum():
        what = "no vine of the block bears or is counted"
        raise DataError([Problem("", "vines", "", what, "Check the status of its vines")])
    options = settle_step(options, draws, need, counted)
    counts, loss = expected_loss(draws, need, counted, options=options)
    return Task(build_graph(trellis), counted, draws.vine_points().mean(axis=1), counts, loss, options)


def cut_task(task: Task) -> ThresholdCuts:
    """Set up the two-label cuts of a task."""
    options, graph = task.options, task.graph
    edges = np.vstack([graph.along, graph.across])
    weight = [np.full(len(graph.along), options.change_cost), options.neighbour_cost * graph.across_weight]
    return ThresholdCuts(task.counts, task.loss, edges, np.concatenate(weight))


def keep_rows(task: Task, labels: Labels, chosen: tuple[int, ...]) -> Labels:
    """Bring labels within the limits of rows at least cost, by exact sweeps."""
    loss, runs = task.loss[:, list(chosen)], (task.options.shortest_run, task.options.most_changes)
    return sweep_rows(loss, labels, task.graph, *task.prices(chosen), shortest_run=runs[0], most_changes=runs[1])


def keep_limits(task: Task, labels: Labels, chosen: tuple[int, ...]) -> Labels:
    """Bring labels within the practical limits at least cost: rows by exact sweeps, then islands dissolved."""
    loss, prices, options = task.loss[:, list(chosen)], task.prices(chosen), task.options
    best, least = labels, np.inf
    for _ in range(REFITS):
        swept = keep_rows(task, labels, chosen)
        labels = dissolve_pieces(loss, swept, task.graph, *prices, smallest=options.smallest_piece)
        cost = task.cost(labels, chosen)
        if cost >= least - 1e-9:
            break
        best, least = labels, cost
        if np.array_equal(swept, labels):
            break
    return best


def grow(task: Task, labels: Labels, wished: Labels, chosen: tuple[int, ...]) -> Labels:
    """Give pieces that `wished` holds and `labels` lost back, grown to the smallest size, wherever that costs less."""
    loss, prices = task.loss[:, list(chosen)], task.prices(chosen)
    return grow_pieces(loss, labels, wished, task.graph, *prices, options=task.options)


def refit_counts(task: Task, labels: Labels, zones: int) -> tuple[int, ...]:
    """Best candidate count for each label, as places among the candidates."""
    sums = np.zeros((zones, len(task.counts)))
    for label in range(zones):
        sums[label] = task.loss[labels == label].sum(axis=0)
    return tuple(int(b) for b in sums.argmin(axis=1))


def _settle(task: Task, cuts: ThresholdCuts, chosen: tuple[int, ...]) -> tuple[Labels, tuple[int, ...]] | None:
    """Labels within the limits for a set of counts, the counts refitted until they agree; None if a zone is lost."""
    labels = cuts.labels(chosen)
    best: tuple[Labels, tuple[int, ...]] | None = None
    for _ in range(REFITS):
        free, labels = labels, keep_limits(task, labels, chosen)
        if not zones_large_enough(labels, len(chosen), task.graph, task.options):
            labels = grow(task, labels, free, chosen)
        if not zones_large_enough(labels, len(chosen), task.graph, task.options):
            return best
        if best is None or task.cost(labels, chosen) < task.cost(*best):
            best = (labels, chosen)
        again = refit_counts(task, labels, len(chosen))
        if again == chosen or any(a >= b for a, b in pairwise(again)):
            return best
        if task.cost(labels, again) >= task.cost(labels, chosen):
            return best
        chosen = again
        best = (labels, chosen)
    return best


def draw_number(task: Task, cuts: ThresholdCuts, zones: int) -> Drawn | None:
    """Draw exactly `zones` zones; None when the limits do not allow that many.

    Sets of counts are tried from the best without limits outwards, one count a step at a time and the least floor
    first, until none in sight can do better, at most 6.
    """
    known = cuts.best_counts(zones)
    if known is None:
        return None
    bound, best = known
    found: Drawn | None = None
    waiting, seen = [(cuts.floor_of(best), best)], {best}
    for _ in range(TRIES):
        if not waiting or (found is not None and waiting[0][0] >= found.cost):
            break
        _, chosen = heappop(waiting)
        for near in _beside(chosen, len(task.counts)) - seen:
            seen.add(near)
            heappush(waiting, (cuts.floor_of(near), near))
        if found is not None and cuts.cost_of(chosen) >= found.cost:
            continue
        settled = _settle(task, cuts, chosen)
        if settled is not None and (found is None or task.cost(*settled) < found.cost):
            found = Drawn(*settled, task.cost(*settled), bound)
    return found and _grown(task, cuts, found)


def _grown(task: Task, cuts: ThresholdCuts, found: Drawn) -> Drawn:
    """Grow pieces that were given away, and fit the counts again."""
    chosen = found.chosen
    labels = grow(task, found.labels, keep_rows(task, cuts.labels(chosen), chosen), chosen)
    again = refit_counts(task, labels, len(chosen))
    rising = all(a < b for a, b in pairwise(again))
    best = again if rising and task.cost(labels, again) < task.cost(labels, chosen) else chosen
    return Drawn(labels, best, task.cost(labels, best), found.lower_bound)


def _beside(chosen: tuple[int, ...], counts: int) -> set[tuple[int, ...]]:
    """Return the rising sets of counts that differ from one in a single count, by one step."""
    moved = ((*chosen[:i], chosen[i] + step, *chosen[i + 1 :]) for i in range(len(chosen)) for step in (-1, 1))
    return {s for s in moved if s[0] >= 0 and s[-1] < counts and all(a < b for a, b in pairwise(s))}


def draw_all(task: Task, most: int) -> dict[int, Drawn]:
    """Draw 1, 2, ..., `most` zones; numbers the limits do not allow are left out.

    Outlines are sought with 10 candidate counts at most, spread over all; each zone then gets the best of all.
    """
    one = int(task.loss.sum(axis=0).argmin())
    cost = float(task.loss[:, one].sum())
    drawn = {1: Drawn(np.zeros(len(task.loss), dtype=np.int64), (one,), cost, cost)}
    places = np.unique(np.linspace(0, len(task.counts) - 1, min(len(task.counts), MOST_COUNTS)).round().astype(int))
    some = replace(task, counts=task.counts[places], loss=task.loss[:, places])
    cuts = cut_task(some)
    for zones in range(2, most + 1):
        found = draw_number(some, cuts, zones)
        if found is not None:
            drawn[zones] = _best_of_all(task, replace(found, chosen=tuple(int(places[at]) for at in found.chosen)))
    return drawn


def _best_of_all(task: Task, found: Drawn) -> Drawn:
    """The same outlines with the best of all counts; the bound holds for the counts that outlines were sought with."""
    again = refit_counts(task, found.labels, len(found.chosen))
    rising = all(a < b for a, b in pairwise(again))
    cost = task.cost(found.labels, again) if rising else np.inf
    if cost >= found.cost:
        return found
    return Drawn(found.labels, again, cost, min(found.lower_bound, cost))


def order_zones(labels: Labels, buds: Labels, size_kg: Floats, counted: Labels) -> tuple[Labels, Labels, Labels]:
    """Number zones from 1 by mean vine size: panel zones (P,), counts in that order (k,), old labels in that order."""
    sums = np.bincount(labels, size_kg * counted, minlength=len(buds))
    mean = sums / np.maximum(np.bincount(labels, counted, minlength=len(buds)), 1e-9)
    rank = np.lexsort([buds, mean])
    return np.argsort(rank)[labels] + 1, np.asarray(buds)[rank], rank
