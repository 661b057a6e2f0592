"""The empirical variogram: for the eye, not the estimator."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import pdist

from geoprune.geostat.covariance import Anisotropy, Floats, isotropic

ESTIMATORS = ("matheron", "cressie-hawkins")


@dataclass(frozen=True)
class Variogram:
    """Semivariances by distance class: distance_m mean pair distance (B,), gamma (B,), pairs (B,); no empty class."""

    distance_m: Floats
    gamma: Floats
    pairs: NDArray[np.int64]
    estimator: str


def empirical_variogram(
    points: Floats,
    values: Floats,
    *,
    cutoff_m: float | None = None,
    bins: int = 15,
    estimator: str = "matheron",
    anisotropy: Anisotropy | None = None,
) -> Variogram:
    """Semivariance by distance class, classes open below and closed above.

    Matheron: half the mean squared difference. Cressie-Hawkins: half the fourth power of the mean root absolute
    difference over 0.457 + 0.494 / N, robust to outliers (Cressie & Hawkins 1980, Math. Geol. 12:115-125). Coincident
    pairs belong to no class. points (n, 2) in m, values (n,); cutoff_m a third of the bounding box's diagonal.

    Raises
    ------
    ValueError
        For an unknown estimator.
    """
    if estimator not in ESTIMATORS:
        raise ValueError(f"estimator is one of {', '.join(ESTIMATORS)}")
    place = isotropic(points, anisotropy)
    cutoff = float(np.hypot(*np.ptp(place, axis=0)) / 3.0) if cutoff_m is None else cutoff_m
    distance, difference = pdist(place), pdist(np.asarray(values, dtype=float)[:, None])
    label = np.ceil(distance / (cutoff / bins)).astype(np.int64) if cutoff > 0.0 else np.zeros(len(distance), np.int64)
    kept = (label > 0) & (label <= bins)
    label = label[kept]
    pairs = np.bincount(label, minlength=bins + 1)[1:]
    filled = pairs > 0
    count = np.maximum(pairs, 1)

    def means(quantity: Floats) -> Floats:
        return (np.bincount(label, quantity[kept], minlength=bins + 1)[1:] / count)[filled]

    if estimator == "matheron":
        gamma = 0.5 * means(np.square(difference))
    else:
        gamma = 0.5 * means(np.sqrt(difference)) ** 4 / (0.457 + 0.494 / pairs[filled])
    return Variogram(means(distance), gamma, pairs[filled], estimator)
