"""The surface of a block that gets no map: the mean of its weights everywhere."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from geoprune.errors import Message, Remark
from geoprune.sizes import SizeDraws
from geoprune.surface.grid import grid_of
from geoprune.surface.observations import Observations
from geoprune.surface.reporting import HeldOut, held_out_table, leave_out_errors
from geoprune.surface.result import Diagnostics, MapBenefit, Model, Surface, size_columns
from geoprune.surface.support import Support
from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
FEWEST_FOR_MAP = 15


def mappable(observations: Observations) -> bool:
    """Whether a map can be made: enough weights, and not all alike."""
    enough = len(observations.values) >= FEWEST_FOR_MAP
    return enough and bool(np.ptp(observations.values) > 1e-9 * np.abs(observations.values).max())


def flat_surface(
    trellis: Trellis,
    samples: gpd.GeoDataFrame,
    observations: Observations,
    *,
    draws: int,
    seed: int,
    outline: shapely.Geometry | None,
) -> Surface:
    """Return the mean of this season's samples everywhere: too few for a map, or all weights equal."""
    now = observations.now
    values, many = observations.values[now], 1.0 / observations.noise[now]
    mean = float(many @ values / many.sum())
    variance = float(many @ np.square(values - mean) / max(len(values) - 1, 1))
    se = float(np.sqrt(variance / many.sum()))
    count, rng = len(trellis.panels), np.random.default_rng(seed)
    held = np.bincount(observations.member[observations.member >= 0], minlength=count).astype(float)
    own = variance / np.maximum(held, 1.0)
    states = mean + se * rng.standard_normal((draws, 1)) + np.sqrt(own) * rng.standard_normal((draws, count))
    held_out = _leave_out(observations, variance)
    mean_rmse = leave_out_errors(observations, held_out.kg)[1]
    everywhere = np.zeros(len(observations.vines))
    predict = lambda ground: (np.full(len(ground), mean), np.full(len(ground), se))  # noqa: E731
    return Surface(
        panels=size_columns(np.full(count, mean), se**2 + own).assign(extrapolated=False),
        vines=size_columns(everywhere + mean, everywhere + variance + se**2).assign(extrapolated=False),
        samples=held_out_table(samples, observations, held_out),
        block_mean_kg=mean,
        block_mean_se_kg=se,
        draws=SizeDraws(states, np.full(draws, np.sqrt(variance))),
        map_is_better=False,
        loo_rmse_kg=mean_rmse,
        mean_rmse_kg=mean_rmse,
        model=Model(covariance="none", nugget_share=1.0, variance_kg2=variance, samples_used=len(observations.values)),
        benefit=MapBenefit("none", 0.0),
        diagnostics=Diagnostics(),
        grid=None if outline is None else grid_of(outline, predict),
        remarks=(*observations.remarks, _reason(observations, mean)),
        kriging=None,
        support=Support(observations.vines, np.ones((len(observations.vines), 1)), observations.known_kg),
        groups=np.where(trellis.vines["counted"].to_numpy(bool), observations.member, -1),
        weighed=observations.vine_id[now],
    )


def _leave_out(observations: Observations, variance: float) -> HeldOut:
    """Each reading (n,) of this season as the mean of the others; NaN for those of other seasons."""
    now = observations.now
    values, many = observations.values[now], 1.0 / observations.noise[now]
    others = np.full(len(observations.values), np.nan)
    others[now] = (many @ values - many * values) / np.maximum(many.sum() - many, 1e-12)
    spread = np.where(now, np.sqrt(np.maximum(variance * (observations.noise + 1.0 / many.sum()), 1e-24)), np.nan)
    return HeldOut(others, spread, (observations.values - others) / spread)


def _reason(observations: Observations, mean_kg: float) -> Remark:
    """Why there is no map."""
    if len(observations.values) < FEWEST_FOR_MAP:
        fields = {"samples": len(observations.values), "needed": FEWEST_FOR_MAP}
        return Remark("warning", Message("surface.too_few_for_map", fields))
    return Remark("assumed", Message("surface.all_equal", {"vine_size_kg": mean_kg}))
