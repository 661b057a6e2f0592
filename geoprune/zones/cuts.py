"""Labels and bud counts chosen jointly, without the practical limits: exact, and a bound for everything else.

The cost of labels z with counts b_1 < ... < b_k is

    sum over panels of loss(p, b_z(p)) + sum over edges of weight(e) * |b_z(p) - b_z(q)|.

It is a sum over the steps between neighbouring counts: each step is a two-label problem (which panels are told at
least the upper count), solved exactly by one minimum cut (Greig, Porteous & Seheult 1989, J. R. Stat. Soc. B
51:271-279; the ordered case: Ishikawa 2003, IEEE Trans. Pattern Anal. Mach. Intell. 25:1333-1336). The loss is convex
in the count and the price of a step proportional to it, so the cuts of rising steps are nested and together are a
labelling. The cost of a set of counts is therefore the length of a path through the steps, and the best set of k
counts is a shortest path of k - 1 steps: no search over labels and counts together is needed.
"""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from geoprune.zones.options import Floats, Labels

Bools = NDArray[np.bool_]
SCALE = 10_000.0


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
    tail = np.concatenate([edges[:, 0], edges[:, 1], np.full(len(costly), source), cheap])
    head = np.concatenate([edges[:, 1], edges[:, 0], costly, np.full(len(cheap), sink)])
    room = np.concatenate([ties, ties, costs[costly], -costs[cheap]])
    graph = csr_matrix((room, (tail, head)), shape=(size + 2, size + 2))
    rest = graph - maximum_flow(graph, source, sink).flow
    rest.data = np.maximum(rest.data, 0)
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
        self._solved: dict[tuple[int, int], tuple[float, Bools]] = {}
        self._steps = [self.solve(b, b + 1)[0] for b in range(len(counts) - 1)]

    def _span(self, low: int, high: int) -> tuple[Bools, Bools]:
        """Return the panels known to be below, and above, from cuts already made.

        Slopes rise with the counts, so a cut between lower counts holds every panel of this one, and a cut between
        higher counts is held by it.
        """
        below = np.zeros(len(self.loss), dtype=bool)
        above = np.zeros(len(self.loss), dtype=bool)
        for (i, j), (_, upper) in self._solved.items():
            if i <= low and j <= high:
                below |= ~upper
            if i >= low and j >= high:
                above |= upper
        return below, above & ~below

    def solve(self, low: int, high: int) -> tuple[float, Bools]:
        """Return the least cost of the step from count `low` to `high` (places in `counts`), and who is above it."""
        if (low, high) not in self._solved:
            gap = float(self.counts[high] - self.counts[low])
            slope = (self.loss[:, high] - self.loss[:, low]) / gap
            below, above = self._span(low, high)
            upper = above.copy()
            free = ~below & ~above
            place = np.cumsum(free) - 1
            one, other = self.edges.T
            inner = free[one] & free[other]
            pull = slope.copy()
            for here, there in ((one, other), (other, one)):
                border = free[here] & ~free[there]
                push = np.where(above[there[border]], -self.weight[border], self.weight[border])
                np.add.at(pull, here[border], push)
            scale = whole_scale(pull, self.weight)
            upper[free] = least_cut(pull[free], place[self.edges[inner]], self.weight[inner], scale=scale)
            value = slope @ upper + self.weight @ (upper[one] != upper[other])
            self.rounding = max(self.rounding, (len(slope) + len(self.weight)) / scale)
            self._solved[low, high] = (gap * float(value), upper)
        return self._solved[low, high]

    def _floor(self, low: int, high: int) -> float:
        """Return a bound from below on a step: its own cut if made, else the sum of the single steps it spans."""
        if (low, high) in self._solved:
            return self._solved[low, high][0]
        return float(sum(self._steps[low:high]))

    def rank(self, zones: int) -> list[tuple[float, tuple[int, ...]]]:
        """Return all sets of `zones` counts with a bound on their cost, cheapest bound first."""
        base = self.loss.sum(axis=0)
        floors = {pair: self._floor(*pair) for pair in combinations(range(len(self.counts)), 2)}
        sets = combinations(range(len(self.counts)), zones)
        return sorted((float(base[s[0]] + sum(floors[pair] for pair in pairwise(s))), s) for s in sets)

    def best_counts(self, zones: int) -> tuple[float, tuple[int, ...]] | None:
        """Return the least cost with this many zones and its set of counts; None with fewer candidates.

        Steps are cut only when they lie on the path that is cheapest by its bound.
        """
        if zones > len(self.counts):
            return None
        while True:
            cost, chosen = self.rank(zones)[0]
            open_steps = [pair for pair in pairwise(chosen) if pair not in self._solved]
            if not open_steps:
                return cost, chosen
            for pair in open_steps:
                self.solve(*pair)

    def bound(self, zones: int) -> float | None:
        """Return what no labelling with this many zones can cost less than, rounding of capacities allowed for."""
        best = self.best_counts(zones)
        if best is None:
            return None
        span = float(self.counts[best[1][-1]] - self.counts[best[1][0]])
        return best[0] - span * self.rounding

    def cost_of(self, chosen: tuple[int, ...]) -> float:
        """Return the least cost of one set of counts."""
        steps = sum(self.solve(*pair)[0] for pair in pairwise(chosen))
        return float(self.loss[:, chosen[0]].sum() + steps)

    def labels(self, chosen: tuple[int, ...]) -> Labels:
        """Return the labels 0..k-1 of least cost for a set of counts: (P,)."""
        steps = [self.solve(*pair)[1] for pair in pairwise(chosen)]
        return np.sum(steps, axis=0, dtype=np.int64) if steps else np.zeros(len(self.loss), dtype=np.int64)
