"""What a fit says of range and nugget share, and what is believed of them beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from geoprune.geostat.covariance import Floats
from geoprune.geostat.reml import LogPrior, RemlSurface


def likelihood_of(surfaces: Sequence[RemlSurface], beliefs: Floats) -> Floats:
    """Normalised likelihood (R, S) of range and nugget share, summed over persistent and row shares with their log
    beliefs (K,)."""
    score = np.array([surface.loglik for surface in surfaces]) + beliefs[:, None, None]
    likelihood = np.exp(score - score.max()).sum(axis=0)
    return np.asarray(likelihood / likelihood.sum(), dtype=float)


def surface_as_dict(surfaces: Sequence[RemlSurface], beliefs: Floats) -> dict[str, Any]:
    """`likelihood_of` with its grid, as numbers and lists."""
    return {
        "model": surfaces[0].model,
        "ranges_m": [float(r) for r in surfaces[0].ranges],
        "nugget_shares": [float(a) for a in surfaces[0].shares],
        "likelihood": likelihood_of(surfaces, beliefs).tolist(),
    }


def log_prior_on(log_prior: LogPrior | None, ranges: Floats, shares: Floats) -> Floats:
    """Log prior (R, S) on a grid of ranges and shares.

    Raises
    ------
    ValueError
        When an array has another shape, or a value is NaN or +inf, or nowhere above -inf.
    """
    if log_prior is None:
        return np.zeros((len(ranges), len(shares)))
    value = log_prior(ranges[:, None], shares[None, :]) if callable(log_prior) else log_prior
    prior = np.array(value, dtype=float)
    if prior.shape != (len(ranges), len(shares)):
        raise ValueError(f"the log prior has shape {prior.shape}, the grid {(len(ranges), len(shares))}")
    if np.isnan(prior).any() or not np.isfinite(prior.max()):
        raise ValueError("a log prior is finite, or -inf where a node is ruled out")
    return prior
