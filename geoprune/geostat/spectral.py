"""Gaussian fields as sums of waves: frequencies drawn from each covariance's spectral law in the plane."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from geoprune.geostat.covariance import Floats

GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0
SMOOTHNESS = {"exponential": 0.5, "matern32": 1.5, "matern52": 2.5}


def frequencies(model: str, count: int, rng: np.random.Generator) -> Floats:
    """Angular frequencies (count, 2) for a range of 1, their law being the spectral measure of the covariance.

    Matern of smoothness v with correlation scale k = sqrt(2 v) / range: P(|w| > r) = (1 + r^2 / k^2)^-v, direction
    even (Lantuejoul 2002, Geostatistical Simulation, ch. 15; Stein 1999, Interpolation of Spatial Data, sec. 2.10).
    Spherical: the section of a spatial field, so a spatial frequency of even direction and radius 2 t / range, density
    of t 3 J_3/2(t)^2 / t, loses its third coordinate. Radius and direction lie on a randomly shifted lattice, which
    keeps every law exact and the covariance of few waves close to it.
    """
    order = np.arange(count)
    level = (order + rng.uniform(size=count)) / count
    bearing = 2.0 * np.pi * ((order * GOLDEN + rng.uniform()) % 1.0)
    if model == "spherical":
        height = 2.0 * ((order * np.sqrt(2.0) + rng.uniform()) % 1.0) - 1.0
        radius = _spherical_radius(level) * np.sqrt(1.0 - height**2)
    else:
        smoothness = SMOOTHNESS[model]
        radius = np.sqrt(2.0 * smoothness * (np.maximum(level, 1e-12) ** (-1.0 / smoothness) - 1.0))
    return np.column_stack([radius * np.cos(bearing), radius * np.sin(bearing)])


@cache
def _spherical_table() -> tuple[Floats, Floats]:
    """Distribution function of t = radius x range / 2: density (6 / pi) (sin t / t - cos t)^2 / t^2."""
    t = np.concatenate([np.linspace(0.0, 400.0, 400_001)])
    safe = np.maximum(t, 1e-3)
    density = 6.0 / np.pi * np.square(np.sin(safe) / safe - np.cos(safe)) / safe**2
    step = t[1] - t[0]
    law = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) * 0.5 * step)])
    return t, law


def _spherical_radius(level: Floats) -> Floats:
    """Radius for a range of 1 at levels (k,) of its distribution function; the tail is 1 - 3 / (pi t)."""
    t, law = _spherical_table()
    inside = np.interp(level, law, t)
    tail = 3.0 / (np.pi * np.maximum(1.0 - level, 1e-9))
    return 2.0 * np.where(level <= law[-1], inside, tail)


def waves(points: Floats, frequency: Floats) -> NDArray[np.float32]:
    """Cosines and sines (m, 2 k) of points (m, 2) for frequencies (k, 2), over sqrt(k), in single precision.

    With independent standard normal amplitudes their sum has variance 1.
    """
    phase = points.astype(np.float32) @ frequency.T.astype(np.float32)
    count = len(frequency)
    result = np.empty((len(points), 2 * count), dtype=np.float32)
    np.cos(phase, out=result[:, :count])
    np.sin(phase, out=result[:, count:])
    result *= np.float32(1.0 / np.sqrt(count))
    return result
