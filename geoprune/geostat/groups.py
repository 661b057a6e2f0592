"""Averages over groups of points: the supports of panels, zones and blocks."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.sparse import csr_matrix

from geoprune.geostat.covariance import Floats, correlation, distances
from geoprune.geostat.design import Integers
from geoprune.geostat.forms import chunks
from geoprune.geostat.pairs import average_correlation
from geoprune.threads import run_parts

SMALL_GROUP = 60
PAIR_DOUBLES = 2**17
BATCH_DOUBLES = 2**21


@dataclass(frozen=True)
class Groups:
    """Points sorted by group. place (m, 2), starts (count + 1,): group g holds place[starts[g]:starts[g + 1]].

    order (m,) positions of the points as they were given; points in no group are left out.
    """

    place: Floats
    starts: Integers
    order: Integers

    @property
    def sizes(self) -> Integers:
        """Points in each group (count,)."""
        return np.diff(self.starts)

    def members(self, group: int) -> Floats:
        """Points (k, 2) of one group."""
        return self.place[self.starts[group] : self.starts[group + 1]]

    def average(self, rows: Floats) -> Floats:
        """Means (count, k) of rows (m, k) given in the order of `place`; NaN for an empty group."""
        sizes = self.sizes
        filled = np.flatnonzero(sizes > 0)
        result = np.full((len(sizes), rows.shape[1]), np.nan)
        if len(filled):
            result[filled] = np.add.reduceat(rows, self.starts[filled], axis=0) / sizes[filled, None]
        return result

    def batch(self, part: slice) -> Groups:
        """The groups of a slice of 0..count, as groups of their own."""
        starts = self.starts[part.start : part.stop + 1]
        points = slice(int(starts[0]), int(starts[-1]))
        return Groups(self.place[points], starts - starts[0], self.order[points])

    def batches(self, width: int) -> list[slice]:
        """Slices of groups whose averages, `width` doubles for each group, stay near BATCH_DOUBLES."""
        step = max(1, BATCH_DOUBLES // max(width, 1))
        return [slice(start, min(start + step, len(self.sizes))) for start in range(0, len(self.sizes), step)]

    def matrix(self, part: slice) -> csr_matrix:
        """Averaging matrix (groups touched by `part`, points of `part`); first group is that of the first point."""
        label = np.searchsorted(self.starts, np.arange(part.start, part.stop), side="right") - 1
        weight = 1.0 / self.sizes[label]
        return csr_matrix((weight, (label - label[0], np.arange(len(label)))), shape=(label[-1] - label[0] + 1, len(label)))

    def parts(self, width: int) -> list[tuple[slice, slice]]:
        """Chunks of points with the groups they touch, never splitting a group that fits in a chunk."""
        total = int(self.starts[-1])
        edges = [0]
        for part in chunks(total, width):
            edge = int(self.starts[np.searchsorted(self.starts, part.stop, side="right") - 1])
            edges.append(part.stop if edge <= edges[-1] or part.stop == total else edge)
        return [(slice(a, b), self._touched(a, b)) for a, b in pairwise(edges) if b > a]

    def _touched(self, start: int, stop: int) -> slice:
        first = int(np.searchsorted(self.starts, start, side="right")) - 1
        return slice(first, int(np.searchsorted(self.starts, stop - 1, side="right")))


def make_groups(place: Floats, groups: Integers, count: int) -> Groups:
    """Sort points (m, 2) by group (m,) in 0..count-1, -1 for none.

    Raises
    ------
    ValueError
        When lengths differ or a label is count or more.
    """
    groups = np.asarray(groups, dtype=np.int64)
    if len(groups) != len(place):
        raise ValueError("points and groups have one row per point")
    if len(groups) and groups.max() >= count:
        raise ValueError(f"a group label is {int(groups.max())}, and there are {count} groups")
    order = np.argsort(groups, kind="stable")
    order = order[groups[order] >= 0]
    return Groups(place[order], np.searchsorted(groups[order], np.arange(count + 1)).astype(np.int64), order)


def cross_averages(groups: Groups, samples: Floats, ranges: Floats, model: str) -> Floats:
    """Average correlations (R, count, n) of each group with the samples (n, 2), for each range."""
    result = np.zeros((len(ranges), len(groups.sizes), len(samples)))

    def work(item: tuple[slice, slice]) -> list[Floats]:
        points, _ = item
        distance, matrix = distances(groups.place[points], samples), groups.matrix(points)
        return [matrix @ correlation(distance, float(r), model) for r in ranges]

    items = groups.parts(len(samples) * 2)
    for (_, touched), averages in zip(items, run_parts(work, items), strict=True):
        for i, average in enumerate(averages):
            result[i, touched] += average
    return result


def row_shares(row: Integers, groups: Groups) -> csr_matrix:
    """Share (count, L + 1) of each group's points that stands in each row, by label; the last column those in none.

    row (m,) labels below L of all points, as they were given; -1 for none.
    """
    label = row[groups.order]
    last = int(row.max(initial=-1)) + 1
    group = np.repeat(np.arange(len(groups.sizes)), groups.sizes)
    share = 1.0 / groups.sizes[group]
    return csr_matrix((share, (group, np.where(label >= 0, label, last))), shape=(len(groups.sizes), last + 1))


def within_rows(shares: csr_matrix) -> Floats:
    """Share (count,) of each group's pairs that stand in one row; points in none count as in one. 1 for an empty group."""
    own = np.asarray(shares.power(2).sum(axis=1)).ravel()
    return np.where(own > 0.0, own, 1.0)


def shares_in(shares: csr_matrix, sampled: Integers) -> Floats:
    """Columns (count, q) of `row_shares` for some rows, in their order; 0 for rows without points."""
    known = np.flatnonzero(sampled < shares.shape[1] - 1)
    found = np.zeros((shares.shape[0], len(sampled)))
    found[:, known] = shares[:, sampled[known]].toarray()
    return found


def within_averages(groups: Groups, ranges: Floats, model: str) -> Floats:
    """Average correlation (R, count) among all pairs of each group, a point with itself included; 1 for an empty group."""
    sizes = groups.sizes
    result = np.ones((len(ranges), len(sizes)))
    for size in np.unique(sizes[(sizes > 1) & (sizes <= SMALL_GROUP)]):
        same = np.flatnonzero(sizes == size)
        upper = np.triu_indices(int(size), 1)
        step = max(1, PAIR_DOUBLES // len(upper[0]))
        for start in range(0, len(same), step):
            members = same[start : start + step]
            place = groups.place[groups.starts[members][:, None] + np.arange(size)]
            difference = place[:, upper[0]] - place[:, upper[1]]
            distance = np.hypot(difference[..., 0], difference[..., 1])
            for i, range_m in enumerate(ranges):
                pairs = correlation(distance, float(range_m), model).mean(axis=1)
                result[i, members] = 1.0 / size + (1.0 - 1.0 / size) * pairs
    for g in np.flatnonzero(sizes > SMALL_GROUP):
        result[:, g] = average_correlation(groups.members(int(g)), None, ranges, model)
    return result
