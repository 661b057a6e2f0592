"""What was really left, zone by zone, with its interval: evidence for the next winter's plan."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import stdtrit

#: Two-sided intervals hold the true mean nine times in ten, as everywhere in the project.
COVER = 0.90


def buds_left(checked: pd.DataFrame, vines: pd.DataFrame) -> pd.DataFrame:
    """Estimate the mean number of buds left on the vines of each zone.

    The mean of the recounted vines with Student's t interval and the correction for a finite number of vines (Cochran 1977,
    Sampling Techniques, 2.5-2.8); one vine has no interval.

    Parameters
    ----------
    checked : DataFrame
        See `judging.check_counts`.
    vines : DataFrame
        All vines pruned to a number: block, zone, buds_per_vine.

    Returns
    -------
    DataFrame, one line per block and zone of `vines`
        block, zone, vines, vines_counted, buds_asked, buds_left, buds_left_low, buds_left_high, vines_off; NaN where no vine
        was counted.
    """
    keys = ["block", "zone"]
    asked = vines.groupby(keys, as_index=False).agg(vines=("buds_per_vine", "size"), buds_asked=("buds_per_vine", "mean"))
    sums = {name: ("buds_left", how) for name, how in (("vines_counted", "size"), ("buds_left", "mean"), ("sd", "std"))}
    sums_by_zone = checked.groupby(keys, as_index=False).agg(**sums, vines_off=("off", "sum"))
    found = asked.merge(sums_by_zone, on=keys, how="left")
    counted = found["vines_counted"].fillna(0).astype(int)
    many = np.maximum(counted, 1)
    error = found["sd"] * np.sqrt(np.clip(1 - many / found["vines"], 0, None) / many)
    reach = error * stdtrit(np.maximum(counted - 1, 1), (1 + COVER) / 2)
    found = found.assign(
        vines_counted=counted,
        vines_off=found["vines_off"].fillna(0).astype(int),
        buds_left_low=np.maximum(found["buds_left"] - reach, 0.0),
        buds_left_high=found["buds_left"] + reach,
    )
    names = ["vines", "vines_counted", "buds_asked", "buds_left", "buds_left_low", "buds_left_high", "vines_off"]
    return found[[*keys, *names]]
