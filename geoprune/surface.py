"""From weighed vines to vine size everywhere, and how far to trust it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.errors import DataError, Problem
from geoprune.geostat import AveragedKriging, fit_averaged, null_ratios
from geoprune.sizes import SizeDraws
from geoprune.trellis import Trellis, middle_points

Floats = NDArray[np.float64]
FEWEST_FOR_MEAN = 5
FEWEST_FOR_MAP = 15


@dataclass(frozen=True)
class Surface:
    """Vine size of a block.

    panels, vines : DataFrames aligned with the trellis: vine_size_kg, vine_size_se_kg, extrapolated (panels)
    samples : DataFrame aligned with the placed samples: loo_kg, loo_se_kg, loo_z, outlier
    map_is_better : the map predicts held-out vines better than the block mean, by the rule in docs/method.md
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
    model: dict[str, Any]
    kriging: AveragedKriging | None
    points: Floats
    groups: NDArray[np.int64]

    def zone_means(self, panel_zone: NDArray[np.int64], count: int) -> tuple[Floats, Floats]:
        """Mean size and its standard error per zone (1..count), by block kriging over the zone's counted vines."""
        if self.kriging is None or count == 1:
            return np.full(count, self.block_mean_kg), np.full(count, self.block_mean_se_kg)
        groups = np.where(self.groups >= 0, panel_zone[self.groups] - 1, -1)
        mean, variance = self.kriging.group_means(self.points, groups, count)
        return mean, np.sqrt(variance)


def _check(used: pd.DataFrame, block: str) -> None:
    if len(used) < FEWEST_FOR_MEAN:
        what = f"{len(used)} usable samples"
        raise DataError([Problem("", "samples", f"block '{block}'", what, f"Weigh at least {FEWEST_FOR_MEAN} vines")])


def _drift(season: pd.Series) -> tuple[Floats, Floats, list[int]]:
    """A level of its own for each season; the target is the newest."""
    years = sorted({int(y) for y in season.dropna()})
    columns = [np.ones(len(season))]
    columns += [(season == year).to_numpy(float) for year in years[:-1] if 1 < (season == year).sum() < len(season)]
    target = np.zeros(len(columns))
    target[0] = 1.0
    return np.column_stack(columns), target, years


def fit_surface(
    trellis: Trellis,
    samples: gpd.GeoDataFrame,
    *,
    block: str = "",
    draws: int = 100,
    seed: int = 0,
    alpha: float = 0.05,
) -> Surface:
    """Estimate vine size from placed samples.

    Ordinary kriging (exponential covariance, vine-to-vine variance as nugget), averaged over the REML surface; a level
    per season. `map_is_better` needs both the REML likelihood ratio beyond its simulated null (level `alpha`) and a
    leave-one-out error below that of the mean of the others.

    Raises
    ------
    DataError
        With fewer than 5 usable samples.
    """
    used = samples[samples["used"]]
    _check(used, block)
    values = used["vine_weight_kg"].to_numpy(float)
    noise = 1.0 / used["vines_weighed"].to_numpy(float)
    drift, target_drift, seasons = _drift(used["season"])
    others = (values.sum() - values) / (len(values) - 1)
    mean_rmse = _rmse(values - others)
    center = shapely.get_coordinates(trellis.vines.geometry.values).mean(axis=0)
    points = shapely.get_coordinates(trellis.vines.geometry.values) - center
    place = shapely.get_coordinates(used.geometry.values) - center
    groups = np.where(trellis.vines["counted"], trellis.vines["panel_id"], -1)
    varied = len(values) >= FEWEST_FOR_MAP and float(np.ptp(values)) > 1e-9 * abs(values).max()
    if not varied:
        return _flat(trellis, samples, values, noise, others, draws, seed, points, groups)
    fit = fit_averaged(place, values, drift=drift, noise=noise, target_drift=target_drift)
    null = null_ratios(place, drift=drift, noise=noise, ranges=fit.surface.ranges, seed=seed)
    ratio = fit.surface.ratio
    p_value = float((1 + np.sum(null >= ratio)) / (1 + len(null)))
    loo, loo_variance = fit.leave_one_out()
    loo_rmse = _rmse(values - loo)
    count = len(trellis.panels)
    panel_mean, panel_variance = fit.group_means(points, groups, count)
    block_mean, block_variance = fit.group_means(points, np.where(groups >= 0, 0, -1), 1)
    vine_mean, vine_variance = (
        panel_mean[trellis.vines["panel_id"]],
        panel_variance[trellis.vines["panel_id"]],
    )
    middles = middle_points(trellis.panels) - center
    field, nuggets = fit.simulate(middles, draws, seed=seed)
    reach = float(fit.weights @ np.array([node.range_m for node in fit.nodes]))
    far = cKDTree(place).query(middles)[0] > max(reach, 2 * np.median(cKDTree(place).query(place, k=2)[0][:, 1]))
    i, j = fit.surface.peak
    return Surface(
        panels=_sizes(panel_mean, panel_variance).assign(extrapolated=far),
        vines=_sizes(vine_mean, vine_variance + fit.nugget),
        samples=_leave_one_out_table(samples, loo, np.sqrt(loo_variance)),
        block_mean_kg=float(block_mean[0]),
        block_mean_se_kg=float(np.sqrt(block_variance[0])),
        draws=SizeDraws(field, np.sqrt(nuggets)),
        map_is_better=bool(p_value <= alpha and loo_rmse < mean_rmse),
        loo_rmse_kg=loo_rmse,
        mean_rmse_kg=mean_rmse,
        model={
            "covariance": "exponential, averaged over the REML surface",
            "range_m": float(fit.surface.ranges[i]),
            "range_at_bound": bool(i in (0, len(fit.surface.ranges) - 1)),
            "nugget_share": float(fit.surface.shares[j]),
            "variance_kg2": float(fit.surface.total_variance[i, j]),
            "nodes": len(fit.nodes),
            "likelihood_ratio": ratio,
            "p_value": p_value,
            "trend": "constant" if len(target_drift) == 1 else "one level per season",
            "seasons": seasons,
            "samples_used": len(used),
        },
        kriging=fit,
        points=points,
        groups=groups,
    )


def _rmse(errors: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(errors))))


def _sizes(mean: Floats, variance: Floats) -> pd.DataFrame:
    return pd.DataFrame({"vine_size_kg": np.maximum(mean, 0.0), "vine_size_se_kg": np.sqrt(variance)})


def _leave_one_out_table(samples: gpd.GeoDataFrame, loo: Floats, se: Floats) -> pd.DataFrame:
    table = pd.DataFrame(np.nan, index=range(len(samples)), columns=["loo_kg", "loo_se_kg", "loo_z"])
    used = samples["used"].to_numpy()
    table.loc[used, "loo_kg"], table.loc[used, "loo_se_kg"] = loo, se
    table["loo_z"] = (samples["vine_weight_kg"].to_numpy() - table["loo_kg"]) / table["loo_se_kg"]
    table["outlier"] = table["loo_z"].abs() > 3.0
    return table


def _flat(
    trellis: Trellis,
    samples: gpd.GeoDataFrame,
    values: Floats,
    noise: Floats,
    others: Floats,
    draws: int,
    seed: int,
    points: Floats,
    groups: NDArray[np.int64],
) -> Surface:
    """The block mean everywhere: too few samples for a map, or all weights equal."""
    weight = (1.0 / noise) / np.sum(1.0 / noise)
    mean = float(weight @ values)
    variance = float(np.sum((1.0 / noise) * (values - mean) ** 2) / (len(values) - 1))
    se = float(np.sqrt(variance / np.sum(1.0 / noise)))
    rng = np.random.default_rng(seed)
    count = len(trellis.panels)
    panels = _sizes(np.full(count, mean), np.full(count, se**2)).assign(extrapolated=False)
    vines = _sizes(np.full(len(points), mean), np.full(len(points), variance + se**2))
    field = np.repeat(mean + se * rng.standard_normal(draws)[:, None], count, axis=1)
    model = {"covariance": "none", "nugget_share": 1.0, "variance_kg2": variance, "samples_used": len(values)}
    mean_rmse = _rmse(values - others)
    table = _leave_one_out_table(samples, others, np.full(len(values), max(np.sqrt(variance), 1e-12)))
    states = SizeDraws(field, np.full(draws, np.sqrt(variance)))
    return Surface(panels, vines, table, mean, se, states, False, mean_rmse, mean_rmse, model, None, points, groups)
