"""From a fitted model to the surface: sizes of panels and vines, joint draws, and what the map is worth."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.geostat import AveragedKriging
from geoprune.sizes import SizeDraws
from geoprune.surface.grid import grid_of
from geoprune.surface.modelling import Fitted, as_sound
from geoprune.surface.observations import Observations
from geoprune.surface.reporting import HeldOut, describe_model, diagnose, held_out_table, leave_out_errors, remark
from geoprune.surface.result import MapBenefit, Model, Surface, size_columns
from geoprune.surface.support import Support, field_means, means_of, vine_draws, vine_means
from geoprune.surface.verdict import expected_gain, grade_pattern
from geoprune.trellis import Trellis, middle_points

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def map_surface(
    trellis: Trellis,
    samples: gpd.GeoDataFrame,
    observations: Observations,
    fitted: Fitted,
    worth: Mapping[int, float],
    *,
    draws: int,
    seed: int,
    alpha: float,
    outline: shapely.Geometry | None,
) -> Surface:
    """Return the surface of a fitted model; arguments as in `surface.fit_surface`, `worth` of `worth_of_winters`."""
    fit, count = fitted.fit, len(trellis.panels)
    in_rows = observations.vine_row if fitted.rows.mapped else None
    support = Support(observations.vines, fitted.drift, fitted.heard.known_kg, fitted.shape, in_rows)
    mean, variance = vine_means(fit, support, observations.member, count)
    states, vine_sd = vine_draws(fit, support, observations.member, count, draws, seed=seed)
    counted = np.where(trellis.vines["counted"].to_numpy(bool), observations.member, -1)
    weight = np.bincount(counted[counted >= 0], minlength=count).astype(float)
    block_mean, block_se = means_of(fit, support, np.where(counted >= 0, 0, -1), 1, mean, states, weight, counted)
    held_out = _leave_out(fitted, observations)
    loo_rmse, mean_rmse = leave_out_errors(observations, held_out.kg)
    model = describe_model(fitted, observations, worth)
    gain = _map_gain(fitted, model, states, mean, weight)
    benefit = _benefit(fitted, gain, loo_rmse, mean_rmse, alpha=alpha)
    far = _far(observations, fitted.learned.typical.range_m, middle_points(trellis.panels) - observations.centre)
    table = held_out_table(samples, observations, held_out)
    return Surface(
        panels=size_columns(mean, variance).assign(extrapolated=far),
        vines=_single_vines(fitted, support, observations.panel, count).assign(extrapolated=far[observations.panel]),
        samples=table,
        block_mean_kg=float(block_mean[0]),
        block_mean_se_kg=float(block_se[0]),
        draws=SizeDraws(states, vine_sd),
        map_is_better=gain > 0.0,
        loo_rmse_kg=loo_rmse,
        mean_rmse_kg=mean_rmse,
        model=model,
        benefit=benefit,
        diagnostics=diagnose(fitted, observations, held_out),
        grid=None if outline is None else grid_of(outline, lambda ground: _at_points(fitted, observations, ground)),
        remarks=observations.remarks + remark(fitted, model, observations, table, far, samples),
        kriging=fit,
        support=support,
        groups=counted,
        weighed=observations.vine_id[observations.now],
    )


def _leave_out(fitted: Fitted, observations: Observations) -> HeldOut:
    """Each reading (n,) as the others tell it, taken as a sound one however little it was heard."""
    shape = fitted.shape
    mean, variance = fitted.fit.leave_one_out()
    variance = as_sound(variance, fitted.fit, fitted.heard, observations)
    z = (shape.forward(observations.values) - mean) / np.sqrt(variance)
    return HeldOut(shape.mean(mean, variance), np.sqrt(shape.variance(mean, variance)), z)


def _map_gain(fitted: Fitted, model: Model, states: Floats, mean: Floats, weight: Floats) -> float:
    """Expected gain of the map; a covariate that earned its place is a pattern already."""
    if fitted.kept:
        return expected_gain(states, mean, weight, belief=1.0, probability=1.0)
    no_field = model.no_field or 0.0
    return expected_gain(states, mean, weight, belief=1.0 - no_field, probability=fitted.structure.probability)


def _benefit(fitted: Fitted, gain: float, loo_rmse: float, mean_rmse: float, *, alpha: float) -> MapBenefit:
    structure = fitted.structure
    pattern = grade_pattern(
        structure,
        level=alpha / 2 if fitted.choices else alpha,
        earned=bool(fitted.kept),
        held_out_better=loo_rmse < mean_rmse,
    )
    loo_gain = 1.0 - (loo_rmse / max(mean_rmse, 1e-12)) ** 2
    return MapBenefit(pattern, structure.probability, structure.p_value, structure.evidence, gain, loo_gain)


def _single_vines(fitted: Fitted, support: Support, panel: Integers, count: int) -> pd.DataFrame:
    """Size of a vine at each vine's place: that of its panel (V,) by field and row, its own part in the error."""
    field, variance = field_means(fitted.fit, support, panel, count)
    alone = variance + fitted.fit.nugget
    size, spread = fitted.shape.mean(field, alone), fitted.shape.variance(field, alone)
    return size_columns(size[panel], spread[panel])


def _at_points(fitted: Fitted, observations: Observations, ground: Floats) -> tuple[Floats, Floats]:
    """Mean vine size at points of the ground (m, 2) and its standard error; NaN where a covariate has no value."""
    fit, shape, drift = fitted.fit, fitted.shape, fitted.at(ground)
    known = np.isfinite(drift).all(axis=1)
    mean, se = np.full(len(ground), np.nan), np.full(len(ground), np.nan)
    place = ground[known] - observations.centre
    if fitted.rows.mapped and isinstance(fit, AveragedKriging):
        nearest = cKDTree(observations.vines).query(place)[1]
        predicted, variance = fit.predict(place, drift[known], row=observations.vine_row[nearest])
    else:
        predicted, variance = fit.predict(place, drift[known])
    mean[known] = np.maximum(shape.mean(predicted, variance + fit.nugget), 0.0)
    se[known] = np.sqrt(shape.field_variance(predicted, variance, fit.nugget))
    return mean, se


def _far(observations: Observations, reach: float, middles: Floats) -> NDArray[np.bool_]:
    """Panels farther from every sample than the field reaches and than twice the samples' own spacing."""
    tree = cKDTree(observations.place)
    spacing = 2.0 * float(np.median(tree.query(observations.place, k=2)[0][:, 1]))
    return tree.query(middles)[0] > max(reach, spacing)
