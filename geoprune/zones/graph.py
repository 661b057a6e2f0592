"""Panels as a graph: chains along rows, pairs across neighbouring rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from geoprune.trellis import Trellis
from geoprune.zones.options import Floats, Labels

REACH = 1.5  # row spacings: the next row but one stands at 2


@dataclass(frozen=True)
class PanelGraph:
    """Which panels follow each other along a row, and which face each other across an alley.

    rows : (R, N) panels of each row in walking order from vine 1; -1 beyond the row's end
    lengths : (R,) panels per row
    row_of : (P,) row of each panel, a place in `rows`
    along : (E, 2) panels that follow each other
    across, across_weight : (F, 2) and (F,) facing panels; the weights of a panel add up to about 1 per side
    colours : (R,) rows of one colour do not face each other
    length_m : (P,) length of each panel
    row_spacing_m : distance from row to row
    """

    rows: Labels
    lengths: Labels
    row_of: Labels
    along: Labels
    across: Labels
    across_weight: Floats
    colours: Labels
    length_m: Floats
    row_spacing_m: float

    @property
    def area_ha(self) -> Floats:
        """Ground of each panel (P,): its length times the row spacing."""
        return self.length_m * self.row_spacing_m / 10_000.0

    def parts(self, labels: Labels) -> Labels:
        """Number the connected pieces of equal label: (P,) from 0."""
        edges = np.vstack([self.along, self.across])
        edges = edges[labels[edges[:, 0]] == labels[edges[:, 1]]]
        size = len(labels)
        graph = coo_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(size, size))
        return connected_components(graph, directed=False)[1].astype(np.int64)

    def changes_per_row(self, labels: Labels) -> Labels:
        """Count the changes of label along each row: (R,)."""
        differ = labels[self.along[:, 0]] != labels[self.along[:, 1]]
        return np.bincount(self.row_of[self.along[differ, 0]], minlength=len(self.lengths))


def build_graph(trellis: Trellis) -> PanelGraph:
    """Build the graph from geometry: neither the order of rows in the file nor the direction of lines matters.

    Two panels face each other when one lies nearest to the other's middle among the panels of its row, within
    1.5 row spacings. Rows may be curved, of different length, or broken by an alley.
    """
    panels = trellis.panels
    order = np.lexsort([panels["panel"].to_numpy(), panels["row_order"].to_numpy()])
    row_order = panels["row_order"].to_numpy()[order]
    _, row, lengths = np.unique(row_order, return_inverse=True, return_counts=True)
    place = np.arange(len(order)) - np.repeat(np.cumsum(lengths) - lengths, lengths)
    rows = np.full((len(lengths), int(lengths.max())), -1, dtype=np.int64)
    rows[row, place] = order
    row_of = np.empty(len(order), dtype=np.int64)
    row_of[order] = row
    same = rows[:, 1:] >= 0
    along = np.column_stack([rows[:, :-1][same], rows[:, 1:][same]])
    lines = np.asarray(panels.geometry.values)
    across, weight = _facing(lines, row_of, REACH * trellis.row_spacing_m)
    colours = _colour(len(lengths), row_of[across])
    length_m, apart_m = shapely.length(lines), float(trellis.row_spacing_m)
    return PanelGraph(rows, lengths.astype(np.int64), row_of, along, across, weight, colours, length_m, apart_m)


def _facing(lines: np.ndarray, row_of: Labels, reach_m: float) -> tuple[Labels, Floats]:
    """Pairs of facing panels; each of the two that finds the other nearest gives half the pair's weight."""
    middles = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    one, other = shapely.STRtree(lines).query(middles, predicate="dwithin", distance=reach_m)
    keep = row_of[one] != row_of[other]
    one, other = one[keep], other[keep]
    distance = np.round(shapely.distance(middles[one], lines[other]), 6)
    apart = np.round(shapely.distance(middles[one], middles[other]), 6)  # decides where two lie equally near
    order = np.lexsort([apart, distance, row_of[other], one])
    one, other = one[order], other[order]
    first = np.ones(len(one), dtype=bool)
    first[1:] = (one[1:] != one[:-1]) | (row_of[other[1:]] != row_of[other[:-1]])
    pairs = np.sort(np.column_stack([one[first], other[first]]), axis=1).reshape(-1, 2)
    if not len(pairs):
        return np.empty((0, 2), dtype=np.int64), np.empty(0)
    unique, count = np.unique(pairs, axis=0, return_counts=True)
    return unique.astype(np.int64), count / 2.0


def _colour(rows: int, facing: Labels) -> Labels:
    """Colour rows greedily so that facing rows differ; two colours suffice for a plain block."""
    others: list[set[int]] = [set() for _ in range(rows)]
    for a, b in np.unique(np.sort(facing.reshape(-1, 2), axis=1), axis=0):
        others[a].add(int(b))
        others[b].add(int(a))
    colours = np.full(rows, -1, dtype=np.int64)
    for row in range(rows):
        taken = {int(colours[other]) for other in others[row]}
        colours[row] = next(colour for colour in range(rows + 1) if colour not in taken)
    return colours
