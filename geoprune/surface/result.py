"""What the surface room gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoprune.errors import Remark
from geoprune.geostat.covariance import Anisotropy
from geoprune.learned import Learned
from geoprune.sizes import SizeDraws
from geoprune.surface.covariate_choice import Choice
from geoprune.surface.row_effect import RowEffect
from geoprune.surface.support import FieldFit, Support, means_of

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Model:
    """How vine size was modelled. What only a map has is None where there is none.

    Attributes
    ----------
    covariance : str
        Family, and what was done about its parameters; "none" without a map.
    nugget_share : float
        Share of the variance that is from vine to vine.
    variance_kg2 : float
        Of a vine, in kg2 at the mean weight.
    samples_used : int
    range_m, practical_range_m : float
        The middle of the range parameter's law; the distance at which the field is effectively uncorrelated.
    anisotropy : tuple or None
        Bearing (degrees) and ratio; None where the field is alike in all directions.
    sill_kg2, nugget_kg2 : float
        Variance of the field and of a vine's own part, at the mean weight.
    no_field : float
        Belief that there is no field.
    nodes : int
        Nodes of the REML surface that are averaged over.
    likelihood_ratio, p_value : float
        Twice the log likelihood ratio against no field; of the test for a pattern.
    trend : str
    learned : Learned or None
        What the weights say of range and nugget share; None where they say it of another scale or family.
    transform : str
        Scale on which weights are added.
    seasons : tuple of int
        Winters with weights, oldest first.
    method : str
    persistent_share : float
        Part of the field that is common to all winters; None for one winter.
    row_belief, row_share, row_sd_kg : float
        Where whole rows are mapped: the belief that they differ, their share of the variance, and the standard deviation
        from row to row (kg); else None.
    earlier_winters_lower_error : mapping
        Year of each earlier winter -> by what share its weights lower the map's expected error; None for one winter.
    """

    covariance: str
    range_m: float | None = None
    practical_range_m: float | None = None
    anisotropy: Anisotropy | None = None
    sill_kg2: float | None = None
    nugget_kg2: float | None = None
    nugget_share: float
    variance_kg2: float
    no_field: float | None = None
    nodes: int | None = None
    likelihood_ratio: float | None = None
    p_value: float | None = None
    trend: str | None = None
    learned: Learned | None = None
    transform: str | None = None
    seasons: tuple[int, ...] | None = None
    samples_used: int
    method: str | None = None
    persistent_share: float | None = None
    row_belief: float | None = None
    row_share: float | None = None
    row_sd_kg: float | None = None
    earlier_winters_lower_error: Mapping[str, float] | None = None


@dataclass(frozen=True)
class MapBenefit:
    """Whether vine size has a pattern, and what a map of it is worth against the mean.

    pattern : how sure a pattern is: "shown", "likely" or "none" to be seen; zones need one that is shown
    pattern_probability, p_value, evidence : see `surface.verdict.Structure`
    map_gain : share of the variance about the mean that the map must be expected to take away
    loo_gain : share of the squared error that the map saves on vines left out
    All but the first two are None where no map was tried.
    """

    pattern: str
    pattern_probability: float
    p_value: float | None = None
    evidence: float | None = None
    map_gain: float | None = None
    loo_gain: float | None = None


@dataclass(frozen=True)
class Variogram:
    """Semivariance (kg2) of weights by distance (m) with the pairs behind it, and the fitted curve."""

    distance_m: tuple[float, ...]
    gamma_kg2: tuple[float, ...]
    pairs: tuple[int, ...]
    model_distance_m: tuple[float, ...]
    model_gamma_kg2: tuple[float, ...]


@dataclass(frozen=True)
class MoreWeighed:
    """Misfit to expect (buds per vine) if so many more vines are weighed."""

    vines: int
    misfit_buds: float


@dataclass(frozen=True)
class Diagnostics:
    """What a report shows of a fit; nothing of a block without a map.

    variogram : None without a map
    loo_coverage_90 : share of left-out weights within their 90 % interval
    covariates : what became of each layer offered
    row_effect : whether whole rows differ; None without a map
    weigh_more : what further weighing would buy, once it was asked (`surface.next_vines`)
    """

    variogram: Variogram | None = None
    loo_coverage_90: float | None = None
    covariates: tuple[Choice, ...] = ()
    row_effect: RowEffect | None = None
    weigh_more: tuple[MoreWeighed, ...] = ()


@dataclass(frozen=True)
class Surface:
    """Vine size of a block.

    panels, vines : DataFrames aligned with the trellis: vine_size_kg, vine_size_se_kg, extrapolated. A panel's size is
        the mean of the counted vines it holds; a vine's is that of a vine at its place, its own part in the error
    samples : DataFrame aligned with the placed samples: loo_kg, loo_se_kg, loo_z, outlier
    block_mean_kg, block_mean_se_kg : mean of all counted vines
    draws : equally likely states, for anything that is not linear in vine size
    map_is_better : the map must be expected to lie nearer than the block mean, by the rule in docs/method.md
    loo_rmse_kg, mean_rmse_kg : error of predicting each weighed vine by the others' map, by the others' mean
    model, benefit, diagnostics : how it was fitted, what it is worth, what a report shows of it
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
    loo_rmse_kg: float
    mean_rmse_kg: float
    model: Model
    benefit: MapBenefit
    diagnostics: Diagnostics
    grid: dict[str, Any] | None
    remarks: tuple[Remark, ...]
    kriging: FieldFit | None
    support: Support
    groups: Integers
    weighed: Integers = field(default_factory=lambda: np.empty(0, dtype=np.int64))

    @property
    def pattern(self) -> str:
        """How sure a pattern of vine size is: "shown", "likely" or "none" to be seen."""
        return self.benefit.pattern

    def zone_means(self, panel_zone: Integers, count: int) -> tuple[Floats, Floats]:
        """Mean size and its standard error of the vines of each zone (1..count); panel_zone (P,)."""
        if self.kriging is None or count == 1:
            return np.full(count, self.block_mean_kg), np.full(count, self.block_mean_se_kg)
        groups = np.where(self.groups >= 0, panel_zone[self.groups] - 1, -1)
        weight = np.bincount(self.groups[self.groups >= 0], minlength=len(self.panels)).astype(float)
        size = self.panels["vine_size_kg"].to_numpy()
        drawn = self.draws.panel_mean
        return means_of(self.kriging, self.support, groups, count, size, drawn, weight, self.groups)


def size_columns(mean: Floats, variance: Floats) -> pd.DataFrame:
    """Return vine_size_kg and vine_size_se_kg of means and variances (n,)."""
    return pd.DataFrame({"vine_size_kg": np.maximum(mean, 0.0), "vine_size_se_kg": np.sqrt(variance)})
