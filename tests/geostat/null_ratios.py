"""The null law of the likelihood ratio, by simulation."""

from __future__ import annotations

from typing import Any

import numpy as np

from geoprune.geostat.covariance import Anisotropy, Floats
from geoprune.geostat.design import make_design
from geoprune.geostat.reml import DEFAULT_SHARES, scan


def null_ratios(
    points: Floats,
    *,
    drift: Floats,
    noise: Floats,
    ranges: Floats,
    shares: Floats = DEFAULT_SHARES,
    model: str = "exponential",
    season: Any = None,
    persistent_shares: tuple[float, ...] = (1.0,),
    anisotropy: Anisotropy | None = None,
    simulations: int = 400,
    seed: int = 0,
) -> Floats:
    """Likelihood ratios of white noise at the same points: the null distribution of `RemlSurface.ratio`.

    The usual chi-square limits do not hold, because the range is unidentified when there is no field. With several
    persistent shares the ratio is that of the best of them. Returns (simulations,).
    """
    rng = np.random.default_rng(seed)
    values = rng.standard_normal((len(points), simulations)) * np.sqrt(noise)[:, None]
    design = make_design(points, values[:, 0], drift=drift, noise=noise, season=season, model=model, anisotropy=anisotropy)
    best = np.full(simulations, -np.inf)
    for persistent in persistent_shares if design.has_seasons else (1.0,):
        loglik, _, null = scan(design, values, np.asarray(ranges, dtype=float), shares, persistent)
        best = np.maximum(best, loglik.reshape(-1, simulations).max(axis=0))
    return 2.0 * (best - null)
