"""What a crew can follow: no islands, no zone too small, no short runs. Mending never breaks another limit."""

from __future__ import annotations

import numpy as np

from geoprune.zones.graph import PanelGraph
from geoprune.zones.options import Floats, Labels, ZoneOptions
from geoprune.zones.runs import labelling_cost
from geoprune.zones.saying import Message


def dissolve_parts(
    loss: Floats, labels: Labels, graph: PanelGraph, price: Floats, neighbour_price: Floats, *, min_part: int
) -> Labels:
    """Give each connected piece of fewer than `min_part` panels to the neighbour that costs least, smallest first.

    A whole piece changes its label, so every run of it either keeps its length or joins another: runs do not get
    shorter, rows do not get more changes. A piece of land that small with no neighbour stays as it is.
    """
    labels = labels.copy()
    edges = np.vstack([graph.along, graph.across])
    stuck: set[int] = set()
    while True:
        part = graph.parts(labels)
        size = np.bincount(part)
        small = [p for p in np.flatnonzero(size < min_part) if int(np.argmax(part == p)) not in stuck]
        if not small:
            return labels
        members = part == min(small, key=lambda p: size[p])
        border = edges[members[edges[:, 0]] != members[edges[:, 1]]]
        beside = np.unique(labels[border])
        beside = beside[beside != labels[members][0]]
        if not len(beside):
            stuck.add(int(np.argmax(members)))
            continue
        trials = [np.where(members, label, labels) for label in beside]
        labels = min(trials, key=lambda trial: labelling_cost(loss, trial, graph, price, neighbour_price))


def zones_large_enough(labels: Labels, zones: int, graph: PanelGraph, options: ZoneOptions) -> bool:
    """Return whether every zone 0..zones-1 has the least number of panels and the least area."""
    panels = np.bincount(labels, minlength=zones)
    area = np.bincount(labels, graph.area_ha, minlength=zones)
    return bool((panels >= options.min_zone_panels).all() and (area >= options.min_zone_ha).all())


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
    short = len(np.unique(graph.row_of[~long_enough(labels, graph, options.min_run_panels)]))
    if short:
        messages.append(Message("zones.limit_runs", {"rows": short, "panels": options.min_run_panels}))
    many = int((graph.changes_per_row(labels) > options.max_changes_per_row).sum())
    if many:
        messages.append(Message("zones.limit_changes", {"rows": many, "changes": options.max_changes_per_row}))
    islands = int((np.bincount(graph.parts(labels)) < options.min_part_panels).sum())
    if islands:
        messages.append(Message("zones.limit_parts", {"parts": islands, "panels": options.min_part_panels}))
    if not zones_large_enough(labels, int(labels.max()) + 1, graph, options):
        fields = {"panels": options.min_zone_panels, "area_ha": options.min_zone_ha}
        messages.append(Message("zones.limit_zone", fields))
    return tuple(messages)
