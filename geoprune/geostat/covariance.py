"""Correlation of the field with distance, and distances stretched for an anisotropic field."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

Floats = NDArray[np.float64]
Anisotropy = tuple[float, float]

MODELS = ("exponential", "matern32", "matern52", "spherical")
# distance, in ranges, at which a field is effectively uncorrelated: correlation 0.05, or 0 for the spherical model
EFFECTIVE = {"exponential": 2.9957, "matern32": 2.7389, "matern52": 2.6483, "spherical": 1.0}


def check_model(model: str) -> str:
    """Return the model's name.

    Raises
    ------
    ValueError
        For a name that is not in `MODELS`.
    """
    if model not in MODELS:
        raise ValueError(f"unknown covariance model {model!r}: one of {', '.join(MODELS)}")
    return model


def correlation(distance: Floats, range_m: float, model: str = "exponential") -> Floats:
    """Correlation at a distance (any shape, m).

    exponential exp(-h/a); matern32 (1+s) exp(-s), s = sqrt(3) h/a; matern52 (1+s+s^2/3) exp(-s),
    s = sqrt(5) h/a; spherical 1 - 1.5 u + 0.5 u^3 for u = h/a < 1 (Webster & Oliver 2007, Geostatistics for
    Environmental Scientists, ch. 5; Stein 1999, Interpolation of Spatial Data, for the Matern family).

    Raises
    ------
    ValueError
        For an unknown model.
    """
    check_model(model)
    if model == "spherical":
        u = np.minimum(np.asarray(distance, dtype=float) / range_m, 1.0)
        return 1.0 + u * (0.5 * u * u - 1.5)
    scale = {"exponential": 1.0, "matern32": np.sqrt(3.0), "matern52": np.sqrt(5.0)}[model]
    s = np.asarray(distance, dtype=float) * (-scale / range_m)
    if model == "exponential":
        return np.exp(s, out=s) if isinstance(s, np.ndarray) else np.exp(s)
    decay = np.exp(s)
    if model == "matern32":
        decay *= 1.0 - s
    elif model == "matern52":
        decay *= 1.0 - s + s * s / 3.0
    return decay


def isotropic(points: Floats, anisotropy: Anisotropy | None) -> Floats:
    """Coordinates in which an anisotropic field is isotropic.

    anisotropy (bearing_deg, ratio): bearing of the longest range, degrees clockwise from north, and the range
    across it divided by the range along it. Distances across the bearing are divided by the ratio, so `range_m`
    stays the range along the bearing. points (n, 2), easting then northing; returns (n, 2).

    Raises
    ------
    ValueError
        For a ratio that is not above 0.
    """
    points = np.asarray(points, dtype=float)
    if anisotropy is None:
        return points
    bearing, ratio = np.deg2rad(anisotropy[0]), anisotropy[1]
    if not ratio > 0.0:
        raise ValueError("the ratio of an anisotropy is above 0")
    along = points @ np.array([np.sin(bearing), np.cos(bearing)])
    across = points @ np.array([np.cos(bearing), -np.sin(bearing)])
    return np.column_stack([along, across / ratio])


def distances(targets: Floats, samples: Floats) -> Floats:
    """Distances (m, n) in m between points (m, 2) and (n, 2)."""
    return cdist(targets, samples)
