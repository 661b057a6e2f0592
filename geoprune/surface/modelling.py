"""The fitted model of a block's readings: field, covariates that earn their place, and what was tested on the way."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from geoprune.geostat import EXACT_SAMPLES, AveragedKriging, LocalKriging, fit_averaged, fit_local
from geoprune.geostat.averaging import SPECTRA_WITH_ROWS
from geoprune.surface.covariate_choice import Choice, choose_covariates
from geoprune.surface.estate import PERSISTENT
from geoprune.surface.held_out import Nodes, make_nodes
from geoprune.surface.layers_at_vines import Columns
from geoprune.surface.observations import Observations
from geoprune.surface.prior import SHARES, Prior
from geoprune.surface.row_effect import RowEffect, find_row_effect, map_rows, tell_rows
from geoprune.surface.shape import PLAIN, Shape, choose_scale
from geoprune.surface.slips import PASSES, chance_of_slip, noise_factor
from geoprune.surface.support import FieldFit
from geoprune.surface.verdict import Structure, find_structure

Floats = NDArray[np.float64]
#: Tests, and the parameters of the local method, see no more samples than this.
MOST_TO_TEST = 600


@dataclass(frozen=True)
class Fitted:
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


def average(
    observations: Observations, drift: Floats, prior: Prior, shape: Shape = PLAIN, *, rows: bool = False
) -> AveragedKriging:
    """Kriging averaged over the REML surface under a prior; drift (n, p), its first columns the seasons' levels.

    rows : with an effect of whole rows beside the field
    """
    ranges, log_prior = shape.grid(observations.across_m, prior)
    return fit_averaged(
        **_readings(observations, drift, shape),
        target_drift=np.eye(drift.shape[1])[0],
        ranges=ranges,
        shares=SHARES,
        log_prior=log_prior,
        persistent_shares=PERSISTENT,
        row=observations.row if rows else None,
        persistent_log_prior=prior.lasting,
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


def fit_model(
    observations: Observations, layers: Mapping[str, Columns], shape: Shape, prior: Prior, *, alpha: float, seed: int
) -> Fitted:
    """Fit level, covariates that earn their place and field to the readings, and test for a pattern and for whole rows.

    `layers` are covariates by name; `alpha` the level of the tests. Tests see `MOST_TO_TEST` readings at most.
    """
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
    in_rows = None
    if tell_rows(sound.row) and len(sound.values) <= SPECTRA_WITH_ROWS:
        in_rows = make_nodes(average(sound, sound.levels, prior, usual, rows=True))
    structure = find_structure(tested, tested.design.residual, seed=seed, with_rows=in_rows)
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

    of_few = beside(few.levels, few.place + few.centre)
    if kept:
        learned = average(few, of_few, prior, shape)
    nodes, local = make_nodes(learned), len(observations.values) > EXACT_SAMPLES
    rows = find_row_effect(nodes, nodes.design.residual, few.row, seed=seed + 2)
    if not local:
        rows, learned = map_rows(rows, learned, lambda: average(few, of_few, prior, shape, rows=True))
    fit = cast(FieldFit, learned)
    if len(few.values) < len(observations.values):
        drift = beside(observations.levels, observations.place + observations.centre)
        if local:
            fit = fit_local(**_readings(observations, drift, shape), learned=learned)
        else:
            fit = average(observations, drift, prior, shape, rows=rows.mapped)
    seen = few if isinstance(fit, LocalKriging) else observations
    drift = at(observations.vines + observations.centre)
    return Fitted(shape, fit, observations, seen, structure, tuple(choices), rows, drift, at)
