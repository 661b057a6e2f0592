"""From placed samples to the surface: the order of the steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from geoprune.covariates import Covariate
from geoprune.errors import Message, Remark
from geoprune.learned import Learned
from geoprune.surface.earlier_winters import worth_of_winters
from geoprune.surface.estate import say, say_lasting
from geoprune.surface.layers_at_vines import Columns, look_up
from geoprune.surface.mapping import map_surface
from geoprune.surface.modelling import average, fit_model
from geoprune.surface.observations import Observations, gather, row_bearing
from geoprune.surface.prior import SHARES, Prior, range_grid
from geoprune.surface.result import Surface
from geoprune.surface.shape import Shape, choose_shape
from geoprune.surface.verdict import ALPHA
from geoprune.surface.without_map import flat_surface, mappable
from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
#: As many weights tell other blocks of range and nugget share: more would not be heard better.
MOST_TO_SPEAK = 200


class Checked(NamedTuple):
    """What a block's surface is fitted to: its samples as arrays, and its covariates by name."""

    observations: Observations
    layers: dict[str, Columns]


@dataclass(frozen=True)
class Spoken:
    """What a block tells before it is fitted: its shape, what it says (K, K) of what all blocks have in common, and of how
    much of a pattern lasts from winter to winter (3,)."""

    shape: Shape
    said: Floats
    lasting: Floats


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
    said = say(fit.likelihood, prior.edges(range_grid(few.across_m), SHARES))
    score = np.array([surface.loglik for surface in fit.surfaces]) + fit.log_prior + fit.beliefs[:, None, None]
    lasting = np.array([surface.persistent_share for surface in fit.surfaces])
    return Spoken(shape, said, say_lasting([score[lasting == share] for share in np.unique(lasting)]))


def said_earlier(learned: Learned) -> Floats:
    """What an earlier result says (K, K) of what all blocks have in common."""
    ranges, shares, likelihood = map(np.array, (learned.ranges_m, learned.nugget_shares, learned.likelihood))
    return say(likelihood, Prior().edges(ranges, shares))


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
        return flat_surface(trellis, samples, observations, draws=draws, seed=seed, outline=outline)
    shape = shape or choose_shape(observations, bearing_deg=row_bearing(trellis))
    beliefs = prior or Prior()
    fitted = fit_model(observations, layers, shape, beliefs, alpha=alpha, seed=seed)
    worth = worth_of_winters(trellis, samples, observations, shape, beliefs)
    how: dict[str, Any] = {"draws": draws, "seed": seed, "alpha": alpha, "outline": outline}
    surface = map_surface(trellis, samples, observations, fitted, worth, **how)
    if any(layers[name].covariate.around for name in fitted.kept):
        surface = replace(surface, remarks=(*surface.remarks, Remark("assumed", Message("surface.scores_around"))))
    return surface
