"""What each earlier winter is worth to this winter's map: estimated, not assumed."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from geoprune.surface.modelling import average
from geoprune.surface.observations import Observations, gather
from geoprune.surface.prior import Prior
from geoprune.surface.shape import Shape
from geoprune.surface.support import Support, vine_means
from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
#: Of a block with more weights so many are looked at.
MOST_TO_JUDGE = 200


def worth_of_winters(
    trellis: Trellis, samples: gpd.GeoDataFrame, observations: Observations, shape: Shape, prior: Prior
) -> dict[int, float]:
    """Return by what share each earlier winter lowers the expected error of this winter's map, oldest first.

    The mean standard error of the panels with all weights, against that without the winter's, each over the spread of
    vines that it finds; both from weights alone, without covariates. Below 0 where the winter makes the map less sure.

    Parameters
    ----------
    trellis, samples : the block, and its samples as `place_samples` gives them
    observations : what `gather` made of them
    shape : of the block's surface
    prior : beliefs that it starts from
    """
    years = [year for year in observations.seasons if year != observations.target_season]
    if not years:
        return {}
    season = samples["season"].to_numpy(dtype=float)
    whole = _expected_error(observations, shape, prior)
    found = {}
    for year in years:
        without = gather(trellis, samples[season != year].reset_index(drop=True))
        found[year] = 1.0 - whole / _expected_error(without, shape, prior)
    return found


def _expected_error(observations: Observations, shape: Shape, prior: Prior) -> float:
    """Mean standard error of the panels' means over the spread of vines, so that it is the same whichever unit or winter."""
    seen = observations.part(observations.thinned(MOST_TO_JUDGE))
    fit = average(seen, seen.levels, prior, shape)
    drift = np.repeat(seen.target_levels[None, :], len(seen.vines), axis=0)
    count = int(seen.panel.max()) + 1
    _, variance = vine_means(fit, Support(seen.vines, drift, seen.known_kg, shape), seen.member, count)
    spread = float(shape.stretch(seen.values[seen.now].mean())) * np.sqrt(fit.sill + fit.nugget)
    return float(np.nanmean(np.sqrt(variance)) / spread)
