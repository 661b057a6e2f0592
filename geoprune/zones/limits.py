"""What a crew can follow: no islands, no zone too small, no short runs. Mending never breaks another limit."""

from __future__ import annotations

import numpy as np

from geoprune.errors import Message
from geoprune.zones.graph import PanelGraph
from geoprune.zones.options import Floats, Labels, ZoneOptions


def dissolve_pieces(
    loss: Floats, labels: Labels, graph: PanelGraph, price: Floats, neighbour_price: Floats, *, smallest: int
) -> Labels:
    """Give each connected piece of fewer than `smallest` panels to the neighbour that costs least, smallest first.

    A whole piece changes its label, so every run of it either keeps its length or joins another: runs do not get
    shorter, rows do not get more changes. A piece of land that small with no neighbour stays as it is.
    """
    labels = labels.copy()
    edges = np.vstack([graph.along, graph.across])
    one, other = np.concatenate([edges, edges[:, ::-1]]).T
    weight = np.tile(np.concatenate([np.ones(len(graph.along)), graph.across_weight]), 2)
    kind = np.tile(np.arange(len(edges)) >= len(graph.along), 2).astype(int)
    prices = np.stack([price, neighbour_price])
    while True:
        part = graph.parts(labels)
        size = np.bincount(part)
        border = np.flatnonzero((labels[one] != labels[other]) & (size[part[one]] < smallest))
        if not len(border):
            return labels
        held = np.bincount(part, loss[np.arange(len(labels)), labels])
        pieces = np.unique(part[one[border]])
        settled = np.zeros(len(size), dtype=bool)
        for piece in pieces[np.lexsort([held[pieces], size[pieces]])]:
            mine = border[part[one[border]] == piece]
            beside = part[other[mine]]
            if settled[piece] or settled[beside].any():
                continue  # its surroundings have just changed: it is looked at anew in the next round
            members, around = part == piece, labels[other[mine]]
            choices = np.unique(around)
            costs = [loss[members, c].sum() + weight[mine] @ prices[kind[mine], c, around] for c in choices]
            settled[beside] = settled[piece] = True
            labels[members] = choices[int(np.argmin(costs))]


def zones_large_enough(labels: Labels, zones: int, graph: PanelGraph, options: ZoneOptions) -> bool:
    """Return whether every zone 0..zones-1 has the least share of panels and the least area."""
    share = np.bincount(labels, minlength=zones) / len(labels)
    area = np.bincount(labels, graph.area_ha, minlength=zones)
    return bool((share > 0).all() and (share >= options.smallest_share).all() and (area >= options.smallest_ha).all())


def run_lengths(labels: Labels, graph: PanelGraph) -> Labels:
    """Length in panels of the run each panel is part of: (P,)."""
    order = graph.rows[graph.rows >= 0]
    row, label = graph.row_of[order], labels[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = (label[1:] != label[:-1]) | (row[1:] != row[:-1])
    run = np.cumsum(new) - 1
    lengths = np.empty(len(order), dtype=np.int64)
    lengths[order] = np.bincount(run)[run]
    return lengths


def long_enough(labels: Labels, graph: PanelGraph, min_run: int) -> np.ndarray:
    """Return whether each panel is part of a run of at least `min_run` panels, or of its whole row: (P,)."""
    return run_lengths(labels, graph) >= np.minimum(min_run, graph.lengths)[graph.row_of]


def broken_limits(panel_zone: Labels, graph: PanelGraph, options: ZoneOptions) -> tuple[Message, ...]:
    """Say which practical limits labels break: for labels drawn by hand. Nothing is mended."""
    labels = np.unique(panel_zone, return_inverse=True)[1]
    messages = []
    short = len(np.unique(graph.row_of[~long_enough(labels, graph, options.shortest_run)]))
    if short:
        messages.append(Message("zones.limit_runs", {"rows": short, "panels": options.shortest_run}))
    many = int((graph.changes_per_row(labels) > options.most_changes).sum())
    if many:
        messages.append(Message("zones.limit_changes", {"rows": many, "changes": options.most_changes}))
    islands = int((np.bincount(graph.parts(labels)) < options.smallest_piece).sum())
    if islands:
        messages.append(Message("zones.limit_parts", {"parts": islands, "panels": options.smallest_piece}))
    if not zones_large_enough(labels, int(labels.max()) + 1, graph, options):
        fields = {"percent": 100 * options.smallest_share, "area_ha": options.smallest_ha}
        messages.append(Message("zones.limit_zone", fields))
    return tuple(messages)
