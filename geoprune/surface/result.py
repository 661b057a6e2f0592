"""What the surface room gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoprune.errors import Remark
from geoprune.sizes import SizeDraws
from geoprune.surface.support import FieldFit, Support, means_of

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Surface:
    """Vine size of a block.

    panels, vines : DataFrames aligned with the trellis: vine_size_kg, vine_size_se_kg, extrapolated. A panel's size is
        the mean of the counted vines it holds; a vine's is that of a vine at its place, its own part in the error
    samples : DataFrame aligned with the placed samples: loo_kg, loo_se_kg, loo_z, outlier
    block_mean_kg, block_mean_se_kg : mean of all counted vines
    draws : equally likely states, for anything that is not linear in vine size
    map_is_better : the map must be expected to lie nearer than the block mean, by the rule in docs/method.md
    pattern : how sure a pattern is: "shown", "likely" or "none" to be seen; zones need one that is shown
    loo_rmse_kg, mean_rmse_kg : error of predicting each weighed vine by the others' map, by the others' mean
    model, merit, diagnostics : plain data for summary and report
    grid : {"transform", "vine_size_kg", "vine_size_se_kg"} on a regular grid, NaN outside the block; None without outline
    remarks : what was assumed, left out or found, with no block named
    kriging, support, groups : for means over other groups of vines; kriging is None where there is no map
    """

    panels: pd.DataFrame
    vines: pd.DataFrame
    samples: pd.DataFrame
    block_mean_kg: float
    block_mean_se_kg: float
    draws: SizeDraws
    map_is_better: bool
    pattern: str
    loo_rmse_kg: float
    mean_rmse_kg: float
    model: dict[str, Any]
    merit: dict[str, Any]
    diagnostics: dict[str, Any]
    grid: dict[str, Any] | None
    remarks: tuple[Remark, ...]
    kriging: FieldFit | None
    support: Support
    groups: Integers
    weighed: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))

    def zone_means(self, panel_zone: Integers, count: int) -> tuple[Floats, Floats]:
        """Mean size and its standard error of the vines of each zone (1..count); panel_zone (P,)."""
        if self.kriging is None or count == 1:
            return np.full(count, self.block_mean_kg), np.full(count, self.block_mean_se_kg)
        groups = np.where(self.groups >= 0, panel_zone[self.groups] - 1, -1)
        weight = np.bincount(self.groups[self.groups >= 0], minlength=len(self.panels)).astype(float)
        size = self.panels["vine_size_kg"].to_numpy()
        drawn = self.draws.panel_mean
        return means_of(self.kriging, self.support, groups, count, size, drawn, weight, self.groups)
