"""Labels and bud counts chosen jointly, without the practical limits: exact, and a bound for everything else.

The cost of labels z with counts b_1 < ... < b_k is

    sum over panels of loss(p, b_z(p)) + sum over edges of weight(e) * |b_z(p) - b_z(q)|.

It is a sum over the steps between neighbouring counts: each step is a two-label problem (which panels get at
least the upper count), solved exactly by one minimum cut (Greig, Porteous & Seheult 1989, J. R. Stat. Soc. B
51:271-279; the ordered case: Ishikawa 2003, IEEE Trans. Pattern Anal. Mach. Intell. 25:1333-1336). The loss is convex
in the count and the price of a step proportional to it, so the cuts of rising steps are nested and together are a
labelling. The cost of a set of counts is therefore the length of a path through the steps, and the best set of k
counts is a shortest path of k - 1 steps: no search over labels and counts together is needed.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from geoprune.zones.options import Floats, Labels

Bools = NDArray[np.bool_]
SCALE = 10_000.0
#: Share of the cost by which counts may miss the least; it is part of the stated gap.
SLACK = 0.0005
#: Cuts after which the best known counts are taken: only steps of one or two buds have so many candidates.
MOST_CUTS = 250


def whole_scale(slope: Floats, weight: Floats) -> float:
    """Return the factor that makes costs whole numbers: 10,000, or less where their sum would not fit 31 bits."""
    return min(SCALE, 2.0**30 / max(1.0, float(np.abs(slope).sum() + weight.sum())))


def least_cut(slope: Floats, edges: Labels, weight: Floats, *, scale: float) -> Bools:
    """Return the x in {0, 1}^P with least sum(slope * x) + sum(weight * |x_p - x_q|), by maximum flow.

    Capacities are whole numbers, so the answer is exact for slopes and weights rounded to 1 / scale.
    """
    size = len(slope)
    if size == 0:
        return np.zeros(0, dtype=bool)
    costs, ties = np.rint(slope * scale).astype(np.int32), np.rint(weight * scale).astype(np.int32)
    source, sink = size, size + 1
    costly, cheap = np.flatnonzero(costs > 0), np.flatnonzero(costs < 0)
    ways, back = np.full(len(costly), source), np.full(len(cheap), sink)
    nothing = np.zeros(len(costly) + len(cheap), dtype=np.int32)
    # every way has its way back, of no room where there is none: what flows then has the graph's own pattern
    tail = np.concatenate([edges[:, 0], edges[:, 1], ways, cheap, costly, back])
    head = np.concatenate([edges[:, 1], edges[:, 0], costly, back, ways, cheap])
    room = np.concatenate([ties, ties, costs[costly], -costs[cheap], nothing])
    graph = csr_matrix((room, (tail, head)), shape=(size + 2, size + 2))
    rest = graph.copy()
    rest.data = np.maximum(graph.data - maximum_flow(graph, source, sink).flow.data, 0)
    rest.eliminate_zeros()
    kept_at_zero = np.zeros(size + 2, dtype=bool)
    kept_at_zero[breadth_first_order(rest, source, return_predecessors=False)] = True
    return ~kept_at_zero[:size]


class ThresholdCuts:
    """The two-label problems between any two candidate counts, solved when first asked for.

    Parameters
    ----------
    counts : (B,) candidate bud counts, rising
    loss : (P, B) expected loss
    edges, weight : (E, 2) and (E,) pairs of panels and their price per bud of difference
    """

    def __init__(self, counts: Labels, loss: Floats, edges: Labels, weight: Floats) -> None:
        self.counts, self.loss, self.edges, self.weight = counts, loss, edges, weight
        self.rounding = 0.0
        self._start = loss.sum(axis=0)
        self._floor = np.full((len(counts), len(counts)), -np.inf)
        np.fill_diagonal(self._floor, 0.0)
        self._solved: dict[tuple[int, int], Bools] = {}
        for low in range(len(counts) - 1):
            self.upper(low, low + 1)

    def upper(self, low: int, high: int) -> Bools:
        """Return which panels are above the step from count `low` to `high` (places in `counts`), by the least cut."""
        if (low, high) not in self._solved:
            gap = float(self.counts[high] - self.counts[low])
            slope = (self.loss[:, high] - self.loss[:, low]) / gap
            above = self._cut(slope, *self._known(low, high))
            one, other = self.edges.T
            value = gap * float(slope @ above + self.weight @ (above[one] != above[other]))
            self._solved[low, high] = above
            through = self._floor[: low + 1, low, None] + value + self._floor[high, None, high:]
            self._floor[: low + 1, high:] = np.maximum(self._floor[: low + 1, high:], through)
        return self._solved[low, high]

    def _known(self, low: int, high: int) -> tuple[Bools, Bools]:
        """Return the panels known to be below, and above, from cuts already made.

        Slopes rise with the counts, so a cut between lower counts holds every panel of this one, and a cut between
        higher counts is held by it.
        """
        below = np.zeros(len(self.loss), dtype=bool)
        above = np.zeros(len(self.loss), dtype=bool)
        for (i, j), upper in self._solved.items():
            if i <= low and j <= high:
                below |= ~upper
            if i >= low and j >= high:
                above |= upper
        return below, above & ~below

    def _cut(self, slope: Floats, below: Bools, above: Bools) -> Bools:
        """Cut among the panels whose side is not yet known; the others pull at them."""
        upper = above.copy()
        free = ~below & ~above
        place = np.cumsum(free) - 1
        one, other = self.edges.T
        inner = free[one] & free[other]
        pull = slope.copy()
        for here, there in ((one, other), (other, one)):
            border = free[here] & ~free[there]
            push = np.where(above[there[border]], -self.weight[border], self.weight[border])
            pull += np.bincount(here[border], push, minlength=len(pull))
        scale = whole_scale(pull[free], self.weight[inner])
        upper[free] = least_cut(pull[free], place[self.edges[inner]], self.weight[inner], scale=scale)
        self.rounding = max(self.rounding, (int(free.sum()) + int(inner.sum())) / scale)
        return upper

    def floor_of(self, chosen: tuple[int, ...]) -> float:
        """Return what no labelling with these counts can cost less than, as far as known.

        A step that was not cut itself costs at least as much as the cut steps it spans together.
        """
        return float(self._start[chosen[0]] + sum(self._floor[pair] for pair in pairwise(chosen)))

    def cost_of(self, chosen: tuple[int, ...]) -> float:
        """Return the least cost of one set of counts."""
        for pair in pairwise(chosen):
            self.upper(*pair)
        return self.floor_of(chosen)

    def labels(self, chosen: tuple[int, ...]) -> Labels:
        """Return the labels 0..k-1 of least cost for a set of counts: (P,)."""
        steps = [self.upper(*pair) for pair in pairwise(chosen)]
        return np.sum(steps, axis=0, dtype=np.int64) if steps else np.zeros(len(self.loss), dtype=np.int64)

    def best_counts(self, zones: int) -> tuple[float, tuple[int, ...]] | None:
        """Return a bound on the cost with this many zones, and the counts that cost least; None with fewer candidates.

        Steps are cut only when they lie on the path that is shortest by the floors, until no path can be shorter than
        the best known one by more than `SLACK` of it. The bound allows for the rounding of capacities.
        """
        if zones > len(self.counts):
            return None
        best, least = self._shortest_path(zones), np.inf
        while True:
            chosen = self._shortest_path(zones)
            floor = self.floor_of(chosen)
            if floor >= (1.0 - SLACK) * least or (len(self._solved) > MOST_CUTS and least < np.inf):
                span = float(self.counts[chosen[-1]] - self.counts[chosen[0]])
                return floor - span * self.rounding, best
            cost = self.cost_of(chosen)
            if cost < least:
                best, least = chosen, cost

    def _shortest_path(self, zones: int) -> tuple[int, ...]:
        """Return the rising set of counts whose floor is least, by a dynamic programme over steps."""
        size = len(self.counts)
        length = np.where(np.arange(size)[:, None] < np.arange(size), self._floor, np.inf)
        value, came = self._start.copy(), []
        for _ in range(zones - 1):
            through = value[:, None] + length
            came.append(through.argmin(axis=0))
            value = through.min(axis=0)
        path = [int(value.argmin())]
        for source in reversed(came):
            path.append(int(source[path[-1]]))
        return tuple(reversed(path))
