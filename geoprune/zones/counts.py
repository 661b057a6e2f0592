"""Which bud counts a crew is given: those of the wood, a step that is asked for, or one that follows from the number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geoprune.sizes import SizeDraws
from geoprune.zones.options import Floats, Labels, Need, ZoneOptions, within_limits

#: Steps people count in.
STEPS = (1, 2, 5, 10)
#: Largest step as a share of the number. A number then lies within 3 % of the best one, which adds less than a hundredth
#: to the misfit of vines that vary by a fifth or more (a design choice).
LARGEST_STEP = 0.06


def usual_step(number: float) -> int:
    """Return the largest step of 1, 2, 5 or 10 buds that is at most 6 % of a number: 1 below 34, 2 from 34, 5 from 84.

    >>> [usual_step(number) for number in (11, 35, 57, 100)]
    [1, 2, 2, 5]
    """
    return max([step for step in STEPS if step <= LARGEST_STEP * number], default=STEPS[0])


def settle_step(options: ZoneOptions, draws: SizeDraws, need: Need, counted: Labels) -> ZoneOptions:
    """Options with a step that follows from the block's number, where neither step nor counts are given."""
    if options.bud_step or options.counts:
        return options
    number = need(np.maximum(draws.panel_mean.mean(axis=0), 0.0)[:, None])[:, 0] @ counted / max(counted.sum(), 1)
    return replace(options, bud_step=usual_step(float(number)))


def ladder(options: ZoneOptions, most: float, need: Need) -> Floats:
    """Counts that can be prescribed, rising, from the first to one that is not below `most`, within the need's limits."""
    step = options.bud_step or 1
    counts = np.asarray(() if options.bud_step else options.counts, dtype=float)
    if not len(counts):
        counts = step * np.arange(1.0, max(np.ceil(most / step), 1.0) + 1.0)
    return np.unique(within_limits(counts, need))


def beside(steps: Floats, wanted: Floats | float) -> tuple[Labels, Labels]:
    """Places among rising counts of the ones next to wanted numbers: at or below, and at or above."""
    above = np.minimum(np.searchsorted(steps, np.asarray(wanted) - 1e-9), len(steps) - 1)
    below = np.maximum(np.searchsorted(steps, np.asarray(wanted) + 1e-9, side="right") - 1, 0)
    return below, above
