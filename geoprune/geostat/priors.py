"""Weak priors on range and nugget share, carried as plain data from earlier blocks and seasons."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from geoprune.geostat.covariance import Floats
from geoprune.geostat.reml import LogPrior, RemlSurface


def surface_as_dict(surfaces: Sequence[RemlSurface]) -> dict[str, Any]:
    """Normalised likelihood of range and nugget share, summed over persistent shares, as numbers and lists."""
    score = np.array([surface.loglik for surface in surfaces])
    likelihood = np.exp(score - score.max()).sum(axis=0)
    return {
        "model": surfaces[0].model,
        "ranges_m": [float(r) for r in surfaces[0].ranges],
        "nugget_shares": [float(a) for a in surfaces[0].shares],
        "likelihood": (likelihood / likelihood.sum()).tolist(),
    }


def prior_from(earlier: Sequence[dict[str, Any]], *, doubt: float = 0.5) -> Callable[..., Floats]:
    """Log prior from earlier fits (`AveragedKriging.as_prior`), for `fit_averaged(log_prior=...)`.

    The earlier likelihoods, each normalised, are averaged: the next block is like one of those seen. The prior density
    is (1 - doubt) x that + doubt x an even one, so whatever was seen before, no range or share loses more than a
    factor `doubt`: a weak prior. Between nodes it is bilinear in log range and share; beyond the earlier grid it takes
    the value at its edge.

    Raises
    ------
    ValueError
        For a doubt outside (0, 1], no earlier fit, or earlier fits that do not share one model.
    """
    if not 0.0 < doubt <= 1.0:
        raise ValueError("doubt is above 0 and at most 1")
    if not earlier or len({one["model"] for one in earlier}) != 1:
        raise ValueError("a prior needs earlier fits of one model")
    ranges = np.geomspace(*_span(earlier, "ranges_m"), 60)
    shares = np.linspace(*_span(earlier, "nugget_shares"), 60)
    densities = [np.exp(_log_density(one, ranges, shares)) for one in earlier]
    pooled = np.mean([density / density.mean() for density in densities], axis=0)
    mixed = np.log((1.0 - doubt) * pooled + doubt)
    table = RegularGridInterpolator((np.log(ranges), shares), mixed)

    def log_prior(range_m: Floats, share: Floats) -> Floats:
        where = np.broadcast_arrays(
            np.clip(np.log(range_m), np.log(ranges[0]), np.log(ranges[-1])), np.clip(share, shares[0], shares[-1])
        )
        return table(np.stack(where, axis=-1))

    return log_prior


def _span(earlier: Sequence[dict[str, Any]], key: str) -> tuple[float, float]:
    low, high = min(min(one[key]) for one in earlier), max(max(one[key]) for one in earlier)
    return (low, high) if high > low else (low, low * (1.0 + 1e-6) + 1e-12)


def _log_density(one: dict[str, Any], ranges: Floats, shares: Floats) -> Floats:
    """Log likelihood of an earlier fit on another grid, its edge values beyond its own."""
    log_ranges, own_shares = np.log(one["ranges_m"]), np.array(one["nugget_shares"])
    value = np.log(np.maximum(np.array(one["likelihood"]), 1e-12))
    along = np.array([np.interp(np.log(ranges), log_ranges, column) for column in value.T]).T
    return np.array([np.interp(shares, own_shares, row) for row in along])


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
