"""What zones cost and what they are worth, in minutes, so that a block of small vines and one of large are judged alike.

A saving of buds is given as a share of the block's number: one bud is a tenth of the number of a 10-bud vine and a hundredth
of that of a 100-bud vine. A per cent of the number is worth `ZoneOptions.worth` per cent of the minutes of pruning; marks
to be tied, and the walking, cost minutes. Every number of zones, one among them, is judged by what is left over.
"""

from __future__ import annotations

import numpy as np

from geoprune.zones.drawing import Task
from geoprune.zones.graph import PanelGraph
from geoprune.zones.options import Labels, ZoneOptions
from geoprune.zones.result import Worth

#: A walking pace, 4.2 km an hour, in m a minute (common practice, no source).
PACE_M = 70.0
#: An alley serves the rows on both its sides.
ROWS_AN_ALLEY = 2


def count_marks(labels: Labels, graph: PanelGraph) -> int:
    """Marks to be tied for labels of panels: one at each end of every row, and one at each change of number.

    The mark at a change carries both neighbours' numbers. One number needs none.
    """
    if len(np.unique(labels)) == 1:
        return 0
    return 2 * len(graph.lengths) + int(graph.changes_per_row(labels).sum())


def marking_minutes(labels: Labels, graph: PanelGraph, options: ZoneOptions) -> float:
    """Minutes to tie the marks: `minutes_per_mark` each, and the way at a walking pace.

    Rows whose number changes are walked from end to end, two from the alley between them; the end posts of the others are
    reached along both headlands.
    """
    marks = count_marks(labels, graph)
    if not marks:
        return 0.0
    walked = graph.changes_per_row(labels) > 0
    along = np.bincount(graph.row_of, graph.length_m, minlength=len(graph.lengths))[walked].sum()
    headlands = 2 * len(graph.lengths) * graph.row_spacing_m
    return float(options.minutes_per_mark * marks + (along / ROWS_AN_ALLEY + headlands) / PACE_M)


def judge_worth(saving_buds: float, labels: Labels, task: Task, number: float) -> Worth:
    """What zones are worth against one number.

    Parameters
    ----------
    saving_buds : mean misfit of one number less that of the zones, buds per vine
    labels : (P,) zones of the panels
    number : the block's one number
    """
    options = task.options
    minutes = marking_minutes(labels, task.graph, options)
    pruning = options.minutes_per_vine * float(task.counted.sum())
    gain = options.worth * saving_buds / max(number, 1.0) * pruning
    return Worth(count_marks(labels, task.graph), minutes, gain - minutes)
