"""What can be weighed at one stop: a bearing vine, or all vines from post to post."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
#: Only these are weighed: young vines are small for their age, not their place; missing and dead ones give nothing, and
#: are counted apart (Oger et al. 2023, OENO One 57(3): mixing them in doubled the error); a diseased vine tells of itself.
WEIGHED = "bearing"


@dataclass(frozen=True)
class Sites:
    """Places that may be chosen, in the order of rows and vines.

    vine_id (S,) position in `trellis.vines` of the vine named (of a group the middle one, of an even number the one before
    the middle, as samples are placed); vines (S,) weighed together; row (S,) position of the row; point (S, 2) easting and
    northing of the middle of the group.
    """

    vine_id: Integers
    vines: Integers
    row: Integers
    point: Floats

    def __len__(self) -> int:
        return len(self.vine_id)


def single_vines(trellis: Trellis) -> Sites:
    """Every bearing vine by itself."""
    vines = trellis.vines
    able = np.flatnonzero((vines["status"] == WEIGHED).to_numpy())
    points = shapely.get_coordinates(vines.geometry.values[able])
    return Sites(able, np.ones(len(able), dtype=np.int64), vines["row_order"].to_numpy()[able], points)


def whole_panels(trellis: Trellis, *, least: int = 2) -> Sites:
    """Panels whose vines all bear, of at least `least` vines: weighed post to post."""
    vines, panel = trellis.vines, trellis.vines["panel_id"].to_numpy()
    count = len(trellis.panels)
    bearing = np.bincount(panel, (vines["status"] == WEIGHED).to_numpy(), minlength=count)
    held = np.bincount(panel, minlength=count)
    able = np.flatnonzero((bearing == held) & (held >= least))
    first = np.searchsorted(panel, able)
    points = shapely.get_coordinates(vines.geometry.values)
    middle = np.column_stack([np.bincount(panel, points[:, axis], minlength=count) for axis in (0, 1)]) / held[:, None]
    named = first + (held[able] - 1) // 2
    return Sites(named, held[able].astype(np.int64), vines["row_order"].to_numpy()[named], middle[able])


def apart_by(words: NDArray[np.object_], span_m: float) -> Floats:
    """Columns (S, k) that set sites with unlike words so far apart that likes meet first: a stratum each.

    The local pivotal method then takes from each stratum its share of the sample, to within one.
    """
    return 10.0 * span_m * pd.get_dummies(pd.Series(words).astype(str)).to_numpy(dtype=float)


def beside_ground(values: Floats, span_m: float) -> Floats:
    """A column (S, 1) by which a covariate is spread as the ground is: its ranks, over half the block's extent.

    Ranks, because a layer's outliers would else stand alone; half (design choice), because the ground is what vine size
    is known to follow. Where the layer has nothing, its middle is taken.
    """
    known = np.isfinite(values)
    if not known.any():
        return np.zeros((len(values), 1))
    rank = pd.Series(np.where(known, values, np.median(values[known]))).rank(pct=True).to_numpy()
    return (0.5 * span_m * rank)[:, None]
