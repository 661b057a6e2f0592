"""Slips: readings that may be a wrong number and not a vine. They are heard less, never changed, and named where far off."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
#: Belief that a reading is a slip, and how far slips scatter beside sound readings (design choices).
SLIPS, SCATTER = 0.05, 5.0
#: A smaller chance is taken for none, so that sound weights are left as they are (design choice).
LEAST_CHANCE = 0.3
#: Times that chances are told anew, each by a fit that hears the likely slips less.
PASSES = 2


def chance_of_slip(z: Floats) -> Floats:
    """Chance (n,) that readings are slips, by their standardised leave-one-out residuals (n,); 0 below `LEAST_CHANCE`.

    A mixture of a standard normal law and one `SCATTER` times as wide (contaminated normal: Tukey 1960, in Contributions to
    Probability and Statistics, Stanford, 448-485).
    """
    z = np.nan_to_num(z)
    odds = SLIPS / (1.0 - SLIPS) / SCATTER * np.exp(np.minimum(0.5 * np.square(z) * (1.0 - SCATTER**-2), 700.0))
    chance = odds / (1.0 + odds)
    return np.where(chance < LEAST_CHANCE, 0.0, chance)


def noise_factor(chance: Floats) -> Floats:
    """Factor (n,) of a reading's noise: the inverse of its expected precision, sound or slip (an EM step)."""
    return 1.0 / ((1.0 - chance) + chance / SCATTER**2)
