"""From placed samples to the surface: the order of the steps."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from geoprune.covariates import Covariate
from geoprune.errors import Message, Remark
from geoprune.geostat import EXACT_SAMPLES, AveragedKriging, LocalKriging, fit_averaged, fit_local
from geoprune.sizes import SizeDraws
from geoprune.surface.covariate_choice import Choice, choose_covariates
from geoprune.surface.estate import say
from geoprune.surface.grid import grid_of
from geoprune.surface.held_out import Nodes, make_nodes
from geoprune.surface.layers_at_vines import Columns, look_up
from geoprune.surface.observations import Observations, gather, row_bearing
from geoprune.surface.prior import SHARES, Prior, range_grid
from geoprune.surface.reporting import describe_model, diagnose, held_out_table, remark
from geoprune.surface.result import Surface
from geoprune.surface.row_effect import RowEffect, find_row_effect
from geoprune.surface.shape import PLAIN, Shape, choose_scale, choose_shape
from geoprune.surface.slips import PASSES, chance_of_slip, noise_factor
from geoprune.surface.support import FieldFit, Support, means_of, vine_draws, vine_means
from geoprune.surface.verdict import ALPHA, Structure, expected_gain, find_structure, grade_pattern
from geoprune.trellis import Trellis, middle_points

Floats = NDArray[np.float64]
FEWEST_FOR_MAP = 15
#: Tests, and the parameters of the local method, see no more samples than this.
MOST_TO_TEST = 600
#: As many weights tell other blocks of range and nugget share: more would not be heard better.
MOST_TO_SPEAK = 200
#: Parts of the field that may be common to all seasons: none, half, all.
PERSISTENT = (0.0, 0.5, 1.0)


@dataclass(frozen=True)
class Model:
    """A fitted model and how it was found: `heard` the samples as they were heard, slips less; `few` those its parameters
    come from; `drift` (V, p) of the mean at every vine; `at` turns points of the ground (m, 2) into that drift."""

    shape: Shape
    fit: FieldFit
    heard: Observations
    few: Observations
    structure: Structure
    choices: tuple[Choice, ...]
    rows: RowEffect
    drift: Floats
    at: Callable[[Floats], Floats]

    @property
    def learned(self) -> AveragedKriging:
        """Where the parameters come from: the fit itself, or with very many samples that of `few`."""
        if isinstance(self.fit, AveragedKriging):
            return self.fit
        assert self.fit.learned is not None
        return self.fit.learned

    @property
    def kept(self) -> list[str]:
        """Covariates that earned their place."""
        return [choice.name for choice in self.choices if choice.kept]


class Checked(NamedTuple):
    """What a block's surface is fitted to: its samples as arrays, and its covariates by name."""

    observations: Observations
    layers: dict[str, Columns]


@dataclass(frozen=True)
class Spoken:
    """What a block tells before it is fitted: its shape, and what it says (K, K) of what all blocks have in common."""

    shape: Shape
    said: Floats


def speak(observations: Observations, bearing_deg: float) -> Spoken | None:
    """What a block's weights tell other blocks; None where they are too few for a map, or all alike.

    Covariates are left out: they are looked for in the block's own fit.
    """
    if not mappable(observations):
        return None
    shape = choose_shape(observations, bearing_deg=bearing_deg)
    few = observations.part(observations.thinned(MOST_TO_SPEAK))
    prior = Prior()
    fit = average(few, few.levels, prior, shape)
    return Spoken(shape, say(fit.likelihood, prior.edges(range_grid(few.across_m), SHARES)))


def said_earlier(learned: Mapping[str, Any]) -> Floats:
    """What an earlier result says (K, K) of what all blocks have in common; `learned` as `AveragedKriging.as_prior`."""
    ranges, shares, likelihood = (np.array(learned[key]) for key in ("ranges_m", "nugget_shares", "likelihood"))
    return say(likelihood, Prior().edges(ranges, shares))


def mappable(observations: Observations) -> bool:
    """Whether a map can be made: enough weights, and not all alike."""
    enough = len(observations.values) >= FEWEST_FOR_MAP
    return enough and bool(np.ptp(observations.values) > 1e-9 * np.abs(observations.values).max())


def check_observations(
    trellis: Trellis, samples: gpd.GeoDataFrame, *, block: str = "", covariates: Sequence[Covariate] = ()
) -> Checked:
    """What samples and layers say of a block, checked before anything is estimated; see `fit_surface`."""
    observations = gather(trellis, samples, block=block)
    needed = observations.member >= 0
    needed[observations.vine_id] = True
    layers = look_up(covariates, observations.vines + observations.centre, trellis.vines.crs, needed, block=block)
    return Checked(observations, layers)


def fit_surface(
    trellis: Trellis,
    samples: gpd.GeoDataFrame,
    *,
    block: str = "",
    draws: int = 200,
    seed: int = 0,
    alpha: float = ALPHA,
    covariates: Sequence[Covariate] = (),
    prior: Prior | None = None,
    outline: shapely.Geometry | None = None,
    checked: Checked | None = None,
    shape: Shape | None = None,
) -> Surface:
    """Estimate vine size from placed samples.

    Weight = level of the season + covariates that earn their place + field + the vine's own part (nugget, divided by
    `vines_weighed`). The field has an exponential covariance, a part of it common to all seasons; everything is averaged
    over the REML surface under a weak prior. `map_is_better` goes by expected loss. A pattern is "shown" with evidence for
    a field beyond what shuffled weights give (level `alpha`), or a kept covariate, and a leave-one-out error below that of
    the mean of the others.

    Parameters
    ----------
    trellis, samples : the block, and its samples as `place_samples` gives them
    block : name for errors
    draws, seed : equally likely states, and what they start from
    covariates : layers read by `geoprune.covariates.read_covariate`, or `score_covariate`
    prior : beliefs about range and nugget share; by default weak ones
    outline : the block's polygon, for the grid
    checked : what `check_observations` gave for these samples and covariates, where it was asked before
    shape : what `speak` chose for this observations, where it was asked before

    Raises
    ------
    DataError
        With fewer than 5 usable samples, impossible weights, or a covariate that does not cover the block.
    """
    observations, layers = checked or check_observations(trellis, samples, block=block, covariates=covariates)
    if not mappable(observations):
        return _flat(trellis, samples, observations, draws=draws, seed=seed, outline=outline)
    shape = shape or choose_shape(observations, bearing_deg=row_bearing(trellis))
    model = _fit(observations, layers, shape, prior or Prior(), alpha=alpha, seed=seed)
    surface = _surface(trellis, samples, observations, model, draws=draws, seed=seed, alpha=alpha, outline=outline)
    if any(layers[name].covariate.around for name in model.kept):
        surface = replace(surface, remarks=(*surface.remarks, Remark("assumed", Message("surface.scores_around"))))
    return surface


def average(observations: Observations, drift: Floats, prior: Prior, shape: Shape = PLAIN) -> AveragedKriging:
    """Kriging averaged over the REML surface under a prior; drift (n, p), its first columns the seasons' levels."""
    ranges, log_prior = shape.grid(observations.across_m, prior)
    return fit_averaged(
        **_readings(observations, drift, shape),
        target_drift=np.eye(drift.shape[1])[0],
        ranges=ranges,
        shares=SHARES,
        log_prior=log_prior,
        persistent_shares=PERSISTENT,
    )


def hear_slips_less(
    observations: Observations, fit: AveragedKriging, prior: Prior, shape: Shape
) -> tuple[Observations, AveragedKriging]:
    """The same readings with more noise the likelier each is a slip, and their fit; a vine likelier a slip is not known.

    Both as they were given where no reading is likely enough one to matter. `fit` is that of `observations`.
    """
    heard = observations
    for _ in range(PASSES):
        mean, variance = fit.leave_one_out()
        variance = np.maximum(as_sound(variance, fit, heard, observations), 1e-300)
        chance = chance_of_slip((shape.forward(observations.values) - mean) / np.sqrt(variance))
        if heard is observations and not chance.any():
            break
        known = observations.known_kg.copy()
        known[observations.vine_id[observations.now & (chance > 0.5)]] = np.nan
        heard = replace(observations, noise=observations.noise * noise_factor(chance), known_kg=known)
        fit = average(heard, heard.levels, prior, shape)
    return heard, fit


def as_sound(variance: Floats, fit: FieldFit, heard: Observations, observations: Observations) -> Floats:
    """Leave-one-out variances (n,) of readings as sound ones, however little they were heard."""
    sound = variance - fit.nugget * (heard.noise - observations.noise)
    return np.maximum(sound, np.minimum(variance, fit.nugget * observations.noise))


def nodes_of(observations: Observations, drift: Floats, prior: Prior, shape: Shape = PLAIN) -> Nodes:
    """The nodes that `average` mixes, for tests on many sets of weights."""
    return make_nodes(average(observations, drift, prior, shape))


def _readings(observations: Observations, drift: Floats, shape: Shape) -> dict[str, Any]:
    """The readings as the engine's keywords."""
    return {
        "points": observations.place,
        "values": shape.forward(observations.values),
        "model": shape.model,
        "anisotropy": shape.anisotropy,
        "drift": drift,
        "noise": observations.noise,
        "season": observations.season,
        "target_season": observations.target_season,
    }


def _fit(
    observations: Observations, layers: dict[str, Columns], shape: Shape, prior: Prior, *, alpha: float, seed: int
) -> Model:
    few = observations.part(observations.thinned(MOST_TO_TEST))
    learned, sound = average(few, few.levels, prior, shape), few
    if len(few.values) == len(observations.values):
        few, learned = hear_slips_less(few, learned, prior, shape)
        observations = few
    # scale, family and direction were chosen on these weights in their places, which shuffled sets are not asked: the test
    # leaves family and direction out, and takes a scale that does not depend on places
    usual = Shape(choose_scale(sound))
    ready = shape == usual and few is sound
    tested = make_nodes(learned) if ready else nodes_of(sound, sound.levels, prior, usual)
    structure = find_structure(tested, tested.design.residual, seed=seed)
    taken = {name: layer.at(few.place + few.centre) for name, layer in layers.items()}
    kept, choices = choose_covariates(
        lambda drift: nodes_of(few, drift, prior, shape), few.levels, taken, level=alpha / 2, seed=seed + 1
    )

    def scaled(name: str, columns: Floats) -> Floats:
        return (columns - taken[name].mean(axis=0)) / taken[name].std(axis=0)

    def beside(levels: Floats, ground: Floats) -> Floats:
        return np.hstack([levels] + [scaled(name, layers[name].at(ground)) for name in kept])

    def at(ground: Floats) -> Floats:
        return beside(np.repeat(observations.target_levels[None, :], len(ground), axis=0), ground)

    if kept:
        learned = average(few, beside(few.levels, few.place + few.centre), prior, shape)
    nodes, fit = make_nodes(learned), cast(FieldFit, learned)
    if len(few.values) < len(observations.values):
        drift = beside(observations.levels, observations.place + observations.centre)
        if len(observations.values) > EXACT_SAMPLES:
            fit = fit_local(**_readings(observations, drift, shape), learned=learned)
        else:
            fit = average(observations, drift, prior, shape)
    rows = find_row_effect(nodes, nodes.design.residual, few.row, seed=seed + 2)
    seen = few if isinstance(fit, LocalKriging) else observations
    drift = at(observations.vines + observations.centre)
    return Model(shape, fit, observations, seen, structure, tuple(choices), rows, drift, at)


def _surface(
    trellis: Trellis,
    samples: gpd.GeoDataFrame,
    observations: Observations,
    model: Model,
    *,
    draws: int,
    seed: int,
    alpha: float,
    outline: shapely.Geometry | None,
) -> Surface:
    fit, count = model.fit, len(trellis.panels)
    shape = model.shape
    support = Support(observations.vines, model.drift, model.heard.known_kg, shape)
    mean, variance = vine_means(fit, support, observations.member, count)
    counted = np.where(trellis.vines["counted"].to_numpy(bool), observations.member, -1)
    field, field_variance = fit.group_means(observations.vines, observations.panel, count, drift=model.drift)
    alone = field_variance + fit.nugget
    states, vine_sd = vine_draws(fit, support, observations.member, count, draws, seed=seed)
    scaled, scaled_variance = fit.leave_one_out()
    scaled_variance = as_sound(scaled_variance, fit, model.heard, observations)
    loo, loo_se = shape.mean(scaled, scaled_variance), np.sqrt(shape.variance(scaled, scaled_variance))
    loo_rmse, mean_rmse = leave_out_errors(observations, loo)
    structure, earned = model.structure, bool(model.kept)
    pattern = grade_pattern(
        structure,
        level=alpha / 2 if model.choices else alpha,
        earned=earned,
        held_out_better=loo_rmse < mean_rmse,
    )
    weight = np.bincount(counted[counted >= 0], minlength=count).astype(float)
    block_mean, block_se = means_of(fit, support, np.where(counted >= 0, 0, -1), 1, mean, states, weight, counted)
    model_facts = describe_model(fit, model.learned, observations, shape, model.kept, structure)
    sure = 1.0 if earned else structure.probability  # a covariate that earned its place is a pattern already
    gain = expected_gain(states, mean, weight, belief=1.0 if earned else 1.0 - model_facts["no_field"], probability=sure)
    far = _far(observations, model.learned.typical.range_m, middle_points(trellis.panels) - observations.centre)
    z = (shape.forward(observations.values) - scaled) / np.sqrt(scaled_variance)
    table = held_out_table(samples, observations, loo, loo_se, z)
    merit = {
        "pattern": pattern,
        "pattern_probability": structure.probability,
        "p_value": structure.p_value,
        "evidence": structure.evidence,
        "map_gain": gain,
        "loo_gain": 1.0 - (loo_rmse / max(mean_rmse, 1e-12)) ** 2,
    }
    return Surface(
        panels=_sizes(mean, variance).assign(extrapolated=far),
        vines=_sizes(shape.mean(field, alone)[observations.panel], shape.variance(field, alone)[observations.panel]).assign(
            extrapolated=far[observations.panel]
        ),
        samples=table,
        block_mean_kg=float(block_mean[0]),
        block_mean_se_kg=float(block_se[0]),
        draws=SizeDraws(states, vine_sd),
        map_is_better=gain > 0.0,
        pattern=pattern,
        loo_rmse_kg=loo_rmse,
        mean_rmse_kg=mean_rmse,
        model=model_facts,
        merit=merit,
        diagnostics=diagnose(
            model.learned, model.few, observations, shape, loo, loo_se, z, model.choices, model.rows, trellis
        ),
        grid=None if outline is None else grid_of(outline, lambda ground: _at_points(fit, observations, model, ground)),
        remarks=observations.remarks + remark(observations, shape, table, far, model.choices, model.rows, samples),
        kriging=fit,
        support=support,
        groups=counted,
        weighed=observations.vine_id[observations.now],
    )


def _at_points(fit: FieldFit, observations: Observations, model: Model, ground: Floats) -> tuple[Floats, Floats]:
    """Mean vine size at points of the ground (m, 2) and its standard error; NaN where a covariate has no value."""
    drift = model.at(ground)
    known = np.isfinite(drift).all(axis=1)
    mean, se = np.full(len(ground), np.nan), np.full(len(ground), np.nan)
    predicted, variance = fit.predict(ground[known] - observations.centre, drift[known])
    mean[known] = np.maximum(model.shape.mean(predicted, variance + fit.nugget), 0.0)
    se[known] = np.sqrt(model.shape.field_variance(predicted, variance, fit.nugget))
    return mean, se


def leave_out_errors(observations: Observations, loo: Floats) -> tuple[float, float]:
    """RMSE of this season's samples predicted by the others: by the map, and by the mean of the others."""
    now = observations.now & np.isfinite(loo)
    values = observations.values[now]
    others = (values.sum() - values) / max(len(values) - 1, 1)
    return float(np.sqrt(np.mean(np.square(values - loo[now])))), float(np.sqrt(np.mean(np.square(values - others))))


def _far(observations: Observations, reach: float, middles: Floats) -> NDArray[np.bool_]:
    """Panels farther from every sample than the field reaches and than twice the samples' own spacing."""
    tree = cKDTree(observations.place)
    spacing = 2.0 * float(np.median(tree.query(observations.place, k=2)[0][:, 1]))
    return tree.query(middles)[0] > max(reach, spacing)


def _sizes(mean: Floats, variance: Floats) -> pd.DataFrame:
    return pd.DataFrame({"vine_size_kg": np.maximum(mean, 0.0), "vine_size_se_kg": np.sqrt(variance)})


def _flat(
    trellis: Trellis,
    samples: gpd.GeoDataFrame,
    observations: Observations,
    *,
    draws: int,
    seed: int,
    outline: shapely.Geometry | None,
) -> Surface:
    """The mean of this season's samples everywhere: too few for a map, or all weights equal."""
    now = observations.now
    values, many = observations.values[now], 1.0 / observations.noise[now]
    mean = float(many @ values / many.sum())
    variance = float(many @ np.square(values - mean) / max(len(values) - 1, 1))
    se = float(np.sqrt(variance / many.sum()))
    count, rng = len(trellis.panels), np.random.default_rng(seed)
    held = np.bincount(observations.member[observations.member >= 0], minlength=count).astype(float)
    own = variance / np.maximum(held, 1.0)
    states = mean + se * rng.standard_normal((draws, 1)) + np.sqrt(own) * rng.standard_normal((draws, count))
    loo = np.full(len(observations.values), np.nan)
    loo[now] = (many @ values - many * values) / np.maximum(many.sum() - many, 1e-12)
    spread = np.where(now, np.sqrt(np.maximum(variance * (observations.noise + 1.0 / many.sum()), 1e-24)), np.nan)
    table = held_out_table(samples, observations, loo, spread, (observations.values - loo) / spread)
    mean_rmse = leave_out_errors(observations, loo)[1]
    few = len(observations.values) < FEWEST_FOR_MAP
    fields = {"samples": len(observations.values), "needed": FEWEST_FOR_MAP}
    equal = Message("surface.all_equal", {"vine_size_kg": mean})
    reason = Remark("warning", Message("surface.too_few_for_map", fields)) if few else Remark("assumed", equal)
    predict = lambda ground: (np.full(len(ground), mean), np.full(len(ground), se))  # noqa: E731
    everywhere = np.zeros(len(observations.vines))
    return Surface(
        panels=_sizes(np.full(count, mean), se**2 + own).assign(extrapolated=False),
        vines=_sizes(everywhere + mean, everywhere + variance + se**2).assign(extrapolated=False),
        samples=table,
        block_mean_kg=mean,
        block_mean_se_kg=se,
        draws=SizeDraws(states, np.full(draws, np.sqrt(variance))),
        map_is_better=False,
        pattern="none",
        loo_rmse_kg=mean_rmse,
        mean_rmse_kg=mean_rmse,
        model={
            "covariance": "none",
            "nugget_share": 1.0,
            "variance_kg2": variance,
            "samples_used": len(observations.values),
        },
        merit={"pattern": "none", "pattern_probability": 0.0},
        diagnostics={},
        grid=None if outline is None else grid_of(outline, predict),
        remarks=(*observations.remarks, reason),
        kriging=None,
        support=Support(observations.vines, np.ones((len(observations.vines), 1)), observations.known_kg),
        groups=np.where(trellis.vines["counted"].to_numpy(bool), observations.member, -1),
        weighed=observations.vine_id[now],
    )
