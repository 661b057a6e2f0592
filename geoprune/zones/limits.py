"""What a crew can follow: no islands, no zone too small, no short runs. Mending never breaks another limit."""

from __future__ import annotations

import numpy as np

from geoprune.errors import Message
from geoprune.zones.graph import PanelGraph
from geoprune.zones.options import Floats, Labels, ZoneOptions
from geoprune.zones.runs import labelling_cost, sweep_rows

#: Panels looked at while pieces are grown, all trials together; those with most to gain first, none on very large blocks.
MOST_GROWN = 15_000


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


def grow_pieces(
    loss: Floats,
    labels: Labels,
    wished: Labels,
    graph: PanelGraph,
    price: Floats,
    neighbour_price: Floats,
    *,
    options: ZoneOptions,
) -> Labels:
    """Give pieces that were dissolved back and grow them to the smallest size, wherever that costs less.

    Each such piece grows into a row it faces, or along its own rows. The rows it touches are labelled anew at least
    cost around it, within the limits of rows; what is then within all limits and cheaper is kept, or what keeps a zone
    that would be lost.

    Parameters
    ----------
    labels : (P,) labels within the limits
    wished : (P,) labels whose runs are long enough, before small pieces were dissolved
    """

    budget, part, each = MOST_GROWN // len(labels), graph.parts(wished), np.arange(len(labels))
    least = _worth(loss, labels, graph, price, neighbour_price, options)
    gain = np.bincount(part, loss[each, labels] - loss[each, wished])
    small = np.flatnonzero((np.bincount(part) < options.smallest_piece) & (gain > 0))
    for piece in small[np.argsort(-gain[small], kind="stable")]:
        members = np.flatnonzero(part == piece)
        ways = growths(members, graph, options.smallest_piece) if budget > 0 else []
        budget -= len(ways)
        before = labels
        for grown in ways:
            forced = loss.copy()
            forced[grown] = loss.sum()  # dearer than all else: these panels get the label of the piece
            forced[grown, wished[members[0]]] = loss[grown, wished[members[0]]]
            tried = sweep_rows(
                forced,
                before,
                graph,
                price,
                neighbour_price,
                shortest_run=options.shortest_run,
                most_changes=options.most_changes,
                begin=np.unique(graph.row_of[grown]),
            )
            found = _worth(loss, tried, graph, price, neighbour_price, options)
            if found < least:
                labels, least = tried, found
    return labels


def _worth(
    loss: Floats, labels: Labels, graph: PanelGraph, price: Floats, neighbour_price: Floats, options: ZoneOptions
) -> tuple[int, bool, float]:
    """Return what makes labels worse, the gravest first: small pieces, a zone too small, cost."""
    lost = not zones_large_enough(labels, loss.shape[1], graph, options)
    return small_pieces(labels, graph, options), lost, labelling_cost(loss, labels, graph, price, neighbour_price)


def small_pieces(labels: Labels, graph: PanelGraph, options: ZoneOptions) -> int:
    """Count the connected pieces below the smallest size."""
    return int((np.bincount(graph.parts(labels)) < options.smallest_piece).sum())


def growths(members: Labels, graph: PanelGraph, smallest: int) -> list[Labels]:
    """Return the ways a piece (places of its panels) may grow: into each row it faces, into all, along its own rows."""
    there = np.vstack([graph.across, graph.across[:, ::-1]])
    facing = np.setdiff1d(there[np.isin(there[:, 0], members), 1], members)
    row = graph.row_of[facing]
    ways = [facing[row == one] for one in np.unique(row)]
    ways += [facing] if len(ways) > 1 else []
    for edges in (graph.along, graph.along[:, ::-1]):
        longer = members
        while len(longer) < smallest:
            ahead = np.union1d(longer, edges[np.isin(edges[:, 0], longer), 1])
            if len(ahead) == len(longer):
                break
            longer = ahead
        ways.append(longer)
    grown = [np.union1d(members, way) for way in ways]
    return [way for way in grown if len(way) >= smallest]


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
    islands = small_pieces(labels, graph, options)
    if islands:
        messages.append(Message("zones.limit_parts", {"parts": islands, "panels": options.smallest_piece}))
    if not zones_large_enough(labels, int(labels.max()) + 1, graph, options):
        fields = {"percent": 100 * options.smallest_share, "area_ha": options.smallest_ha}
        messages.append(Message("zones.limit_zone", fields))
    return tuple(messages)
