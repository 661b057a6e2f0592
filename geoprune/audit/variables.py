"""Few recounted vines judged by how far they are off, not only by how many: a sampling plan by variables.

What is measured is each vine's difference from its number as a share of the least difference that counts as off, so that
both limits lie at one. The share of the whole work that is off is estimated from the sample's mean and spread, as if
the differences were normal: the estimate of least variance (Lieberman & Resnikoff 1955), on which the standard deviation
method of MIL-STD-414 (section B, form 2, both limits together) and of ISO 3951 rests.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc

#: With fewer vines mean and spread say nothing of a share (design choice).
LEAST = 5
#: From so many vines on counting alone finds bad work as often as is wanted (design choice: the plan drawn for a block).
ENOUGH = 50
#: Work as good as the limit passes so often (the usual producer's risk, 5 %).
ACCEPT_GOOD = 0.95


def share_beyond(quality: ArrayLike, count: int) -> NDArray[np.float64]:
    """Estimate the share beyond a limit that lies `quality` standard deviations from the mean of `count` values.

    ``B(max(0, 1/2 - Q sqrt(n) / (2 (n - 1))); n/2 - 1, n/2 - 1)``, B the regularized incomplete beta function.

    Examples
    --------
    >>> share_beyond([1.59, 1.70], 5).round(4).tolist()
    [0.0219, 0.0066]
    """
    upper = 0.5 - np.asarray(quality, dtype=float) * np.sqrt(count) / (2 * (count - 1))
    return np.asarray(betainc(count / 2 - 1, count / 2 - 1, np.clip(upper, 0.0, 1.0)))


def share_off(scaled: ArrayLike) -> float:
    """Estimate the share of work that is off from a sample's differences, of which those beyond -1 and 1 are off.

    NaN with fewer than `LEAST` values.
    """
    values = np.asarray(scaled, dtype=float)
    if len(values) < LEAST:
        return float("nan")
    mean, spread = float(values.mean()), float(values.std(ddof=1))
    if spread < 1e-12:
        return float(abs(mean) > 1)
    return float(share_beyond([(1 - mean) / spread, (1 + mean) / spread], len(values)).sum())


@cache
def most_share_off(count: int, aql: float) -> float:
    """Return the estimated share off up to which work is accepted; NaN with fewer than `LEAST` values.

    That of a mean ``k`` standard deviations from one limit, with ``k`` so that work of which `aql` percent is off passes 95
    times in 100: ``k sqrt(n)`` is the 5 % point of the noncentral t distribution with n - 1 degrees of freedom and
    noncentrality ``z sqrt(n)``, z the normal deviate of `aql`.
    """
    if count < LEAST:
        return float("nan")
    from scipy.stats import nct, norm  # here for the reason of `plans.chance_to_accept`

    root = np.sqrt(count)
    acceptable = nct.ppf(1 - ACCEPT_GOOD, count - 1, norm.isf(aql / 100) * root) / root
    return float(share_beyond(acceptable, count))
