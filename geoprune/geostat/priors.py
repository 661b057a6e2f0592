"""What a fit says of range and nugget share, and what is believed of them beforehand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geoprune.geostat.covariance import Floats
from geoprune.geostat.reml import RemlSurface


def likelihood_of(surfaces: Sequence[RemlSurface], beliefs: Floats) -> Floats:
    """Normalised likelihood (R, S) of range and nugget share, summed over persistent and row shares with their log
    beliefs (K,)."""
    score = np.array([surface.loglik for surface in surfaces]) + beliefs[:, None, None]
    likelihood = np.exp(score - score.max()).sum(axis=0)
    return np.asarray(likelihood / likelihood.sum(), dtype=float)


def log_prior_on(log_prior: Floats | None, ranges: Floats, shares: Floats) -> Floats:
    """Log prior (R, S) on a grid of ranges and shares.

    Raises
    ------
    ValueError
        When it has another shape, or a value is NaN or +inf, or nowhere above -inf.
    """
    if log_prior is None:
        return np.zeros((len(ranges), len(shares)))
    prior = np.array(log_prior, dtype=float)
    if prior.shape != (len(ranges), len(shares)):
        raise ValueError(f"the log prior has shape {prior.shape}, the grid {(len(ranges), len(shares))}")
    if np.isnan(prior).any() or not np.isfinite(prior.max()):
        raise ValueError("a log prior is finite, or -inf where a node is ruled out")
    return prior
