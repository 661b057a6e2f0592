"""How much must be counted before a figure decides anything: below these floors it is only a remark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

#: Buds cut in a block before bud injury changes or stops a number: the least of the 50-100 that Cornell asks for per
#: block (Martinson 2014). At 35 % dead, 50 buds read as 22 to 48 %.
FEWEST_BUDS = 50
#: Vines on which canes were measured or counted, in the zone or block spoken of, before they speak for it. A design
#: choice: from five on Student's interval is about 1.2 standard deviations wide to each side, below it explodes
#: (three vines: 2.5, two: 9).
FEWEST_VINES = 5
#: Replants before it is said how many will live: of fewer the share in print says little. A design choice.
FEWEST_REPLANTS = 20
#: Coverage of every interval given.
CONFIDENCE = 0.95
#: Standard errors to each side of an estimate for that coverage.
TWO_SIDED = 1.959964


@dataclass(frozen=True)
class Measured:
    """A mean over `vines` measured vines with its 95 % interval; NaN where nothing, or too little, was measured."""

    mean: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    vines: int = 0

    @property
    def enough(self) -> bool:
        """Whether enough vines were measured for the mean to decide anything."""
        return self.vines >= FEWEST_VINES


def measure(values: ArrayLike) -> Measured:
    """Mean of one value per vine with Student's 95 % interval; NaN values are vines that were not measured.

    Parameters
    ----------
    values : (N,) array_like

    Returns
    -------
    Measured
        `low` and `high` are NaN for a single vine: one value has no spread.
    """
    found = np.asarray(values, dtype=float)
    found = found[np.isfinite(found)]
    count = len(found)
    if not count:
        return Measured()
    mean = float(found.mean())
    if count == 1:
        return Measured(mean, vines=1)
    half = float(stdtrit(count - 1, 0.5 + CONFIDENCE / 2) * found.std(ddof=1) / np.sqrt(count))
    return Measured(mean, mean - half, mean + half, count)
