"""Exact labels of rows given their neighbours, under the limits a crew needs: an exact dynamic programme."""

from __future__ import annotations

import numpy as np

from geoprune.zones.graph import PanelGraph
from geoprune.zones.options import Floats, Labels

SWEEPS = 30


def label_rows(cost: Floats, lengths: Labels, price: Floats, *, shortest_run: int, most_changes: int) -> Labels:
    """Label each row at least cost, with no run shorter than `shortest_run` and at most `most_changes` changes.

    All rows are done at once. The state after t panels is (label, changes so far); a label is entered by a whole
    shortest run, and goes on panel by panel.

    Parameters
    ----------
    cost : (R, N, k) cost of each label for each panel; ignored beyond a row's length
    lengths : (R,) panels per row, 1 or more. A row shorter than `shortest_run` gets one label.
    price : (k, k) cost of a change from one label to another

    Returns
    -------
    (R, N) labels 0..k-1; -1 beyond a row's length
    """
    rows, longest, labels = cost.shape
    total = np.concatenate([np.zeros((rows, 1, labels)), np.cumsum(cost, axis=1)], axis=1)
    most = min(most_changes, max(0, longest // shortest_run - 1))
    value = np.full((longest + 1, rows, most + 1, labels), np.inf)
    came = np.full((longest + 1, rows, most + 1, labels), -1, dtype=np.int16)
    for end in range(1, longest + 1):
        begun = (end >= shortest_run) | (lengths == end)
        value[end, :, 0] = np.where(begun[:, None], total[:, end], np.inf)
        if most == 0:
            continue
        value[end, :, 1:] = value[end - 1, :, 1:] + cost[:, end - 1][:, None, :]
        start = end - shortest_run
        if start >= shortest_run:
            entry = value[start, :, :-1, :, None] + price
            source = entry.argmin(axis=2)
            fresh = np.take_along_axis(entry, source[:, :, None, :], axis=2)[:, :, 0, :]
            fresh = fresh + (total[:, end] - total[:, start])[:, None, :]
            better = fresh < value[end, :, 1:]
            value[end, :, 1:] = np.where(better, fresh, value[end, :, 1:])
            came[end, :, 1:] = np.where(better, source, -1)
    return _walk_back(value, came, lengths, shortest_run)


def _walk_back(value: Floats, came: np.ndarray, lengths: Labels, shortest_run: int) -> Labels:
    longest, rows, labels = value.shape[0] - 1, value.shape[1], value.shape[3]
    each = np.arange(rows)
    final = value[lengths, each].reshape(rows, -1).argmin(axis=1)
    change, label = np.divmod(final, labels)
    result = np.full((rows, longest), -1, dtype=np.int64)
    forced = np.zeros(rows, dtype=np.int64)  # panels still to come of the run that was entered at once
    source = np.full(rows, -1)
    for end in range(longest, 0, -1):
        inside = end <= lengths
        entered = inside & (forced == 0) & (came[end, each, change, label] >= 0)
        source = np.where(entered, came[end, each, change, label], source)
        forced = np.where(entered, shortest_run, forced)
        result[:, end - 1] = np.where(inside, label, -1)
        forced = np.where(inside & (forced > 0), forced - 1, forced)
        left = inside & (forced == 0) & (source >= 0)
        label, change = np.where(left, source, label), np.where(left, change - 1, change)
        source = np.where(left, -1, source)
    return result


def labelling_cost(loss: Floats, labels: Labels, graph: PanelGraph, price: Floats, neighbour_price: Floats) -> float:
    """Cost of labels 0..k-1: loss (P, k) plus the prices (k, k) of changes along rows and between them."""
    own = loss[np.arange(len(labels)), labels].sum()
    one, other = labels[graph.along].T
    near, far = labels[graph.across].T
    return float(own + price[one, other].sum() + graph.across_weight @ neighbour_price[near, far])


def sweep_rows(
    loss: Floats,
    labels: Labels,
    graph: PanelGraph,
    price: Floats,
    neighbour_price: Floats,
    *,
    shortest_run: int,
    most_changes: int,
    begin: Labels | None = None,
) -> Labels:
    """Relabel rows, each exactly given the rows it faces, until no row changes: the cost never rises after the first.

    Rows of one colour do not face each other and are done together. The first sweep brings every row within the
    limits, whatever the labels were; after it only rows beside a row that changed are looked at again. With `begin` (rows)
    the others are within the limits already, and only these are looked at first.
    """
    labels = labels.copy()
    there = np.concatenate([graph.across, graph.across[:, ::-1]])
    weight = np.concatenate([graph.across_weight, graph.across_weight])
    mine, facing = graph.row_of[there].T
    stale = np.full(len(graph.lengths), begin is None)
    stale[begin if begin is not None else []] = True
    for turn in range(SWEEPS * (int(graph.colours.max()) + 1)):
        now = stale & (graph.colours == turn % (int(graph.colours.max()) + 1))
        stale &= ~now
        if now.any():
            pulled = loss.copy()
            pulling = now[mine]
            pull = weight[pulling, None] * neighbour_price[labels[there[pulling, 1]]]
            np.add.at(pulled, there[pulling, 0], pull)
            before = labels.copy()
            _label_some(labels, pulled, graph, np.flatnonzero(now), price, shortest_run, most_changes)
            moved = np.zeros(len(stale), dtype=bool)
            moved[graph.row_of[labels != before]] = True
            stale[facing[moved[mine]]] = True
        elif not stale.any():
            break
    return labels


def _label_some(
    labels: Labels, cost: Floats, graph: PanelGraph, rows: Labels, price: Floats, shortest_run: int, most_changes: int
) -> None:
    """Label the rows asked for, in place."""
    panels = graph.rows[rows, : int(graph.lengths[rows].max())]
    inside = panels >= 0
    held = np.where(inside[:, :, None], cost[panels], 0.0)
    found = label_rows(held, graph.lengths[rows], price, shortest_run=shortest_run, most_changes=most_changes)
    labels[panels[inside]] = found[inside]
