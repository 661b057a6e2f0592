"""Skewed weights: square root or logarithm, chosen by likelihood, and the way back without bias."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from geoprune.geostat.covariance import Floats
from geoprune.geostat.reml import reml_surface

POWERS = (1.0, 0.5, 0.0)
TRANSFORM_GAIN = 2.0
#: Most by which the mean that normal logarithms imply may differ from the plain mean.
LOG_GAP = 0.25


@dataclass(frozen=True)
class Transform:
    """y = (z^power - 1) / power, log z for power 0 (Box & Cox 1964, J. R. Stat. Soc. B 26:211-252); power 1, 1/2 or 0."""

    power: float = 1.0

    def __post_init__(self) -> None:
        if self.power not in POWERS:
            raise ValueError(f"a power is one of {POWERS}")

    def forward(self, values: Floats) -> Floats:
        """Transformed values; for power 1 the values themselves less 1.

        Raises
        ------
        ValueError
            For values not above 0, unless the power is 1.
        """
        values = np.asarray(values, dtype=float)
        if self.power == 1.0:
            return values - 1.0
        if not (values > 0.0).all():
            raise ValueError("a square root or logarithm needs values above 0")
        return np.log(values) if self.power == 0.0 else 2.0 * (np.sqrt(values) - 1.0)

    def backward(self, values: Floats) -> Floats:
        """Values whose transforms are given: medians and quantiles go back exactly. Below the root's end: 0."""
        values = np.asarray(values, dtype=float)
        if self.power == 1.0:
            return values + 1.0
        return np.exp(values) if self.power == 0.0 else np.square(np.maximum(1.0 + values / 2.0, 0.0))

    def mean(self, mean: Floats, variance: Floats | float) -> Floats:
        """Expected untransformed value when the transformed one is normal: not the median taken back."""
        if self.power == 1.0:
            return mean + 1.0
        if self.power == 0.0:
            return np.exp(mean + variance / 2.0)
        return np.square(1.0 + mean / 2.0) + variance / 4.0

    def variance(self, mean: Floats, variance: Floats | float) -> Floats:
        """Variance of the untransformed value when the transformed one is normal."""
        if self.power == 1.0:
            return variance + np.zeros_like(mean)
        if self.power == 0.0:
            return np.exp(2.0 * mean + variance) * np.expm1(variance)
        return np.square(1.0 + mean / 2.0) * variance + np.square(variance) / 8.0


@dataclass(frozen=True)
class TransformChoice:
    """The transform to use, and each power's log likelihood less that of the untransformed values."""

    transform: Transform
    gains: dict[float, float]


def choose_transform(points: Floats, values: Floats, *, gain: float = TRANSFORM_GAIN, **settings: Any) -> TransformChoice:
    """No transform, unless the profile likelihood of root or logarithm is larger by more than `gain` log units.

    The REML likelihood of the transformed values plus (n - p) (power - 1) mean(log z): the Jacobian for the n - p
    contrasts that REML sees, which makes the choice the same in pounds and kilograms. What decides is thus the skew of
    what mean and field leave, not that of the raw weights. Values not above 0 are never transformed: an absent vine is
    another process. Means of logarithms rest on the normal law far out in its tail; where the mean that this law implies
    differs from the plain mean by more than a quarter, the logarithm is not taken. (A root has no such tail: its mean
    is right whatever the law.) settings as in `reml_surface`.
    """
    values = np.asarray(values, dtype=float)
    drift = settings.get("drift")
    powers: tuple[float, ...] = POWERS if (values > 0.0).all() else (1.0,)
    if len(powers) > 1 and log_gap(values, drift) > LOG_GAP:
        powers = (1.0, 0.5)
    degrees = len(values) - (1 if drift is None else np.asarray(drift).shape[1])
    score = {}
    for power in powers:
        surface = reml_surface(points, Transform(power).forward(values), **settings)
        stretch = (power - 1.0) * degrees * float(np.mean(np.log(values))) if power != 1.0 else 0.0
        score[power] = float(surface.loglik.max()) + stretch
    gains = {power: value - score[1.0] for power, value in score.items()}
    best = max(gains, key=lambda power: gains[power])
    return TransformChoice(Transform(best if gains[best] > gain else 1.0), gains)


def log_gap(values: Floats, drift: Floats | None = None) -> float:
    """Share by which the mean that normal logarithms about a drift (n, p) imply differs from the plain mean."""
    logs = np.log(values)
    columns = np.ones((len(logs), 1)) if drift is None else np.asarray(drift, dtype=float)
    level = columns @ np.linalg.lstsq(columns, logs, rcond=None)[0]
    variance = float(np.sum(np.square(logs - level))) / max(len(logs) - columns.shape[1], 1)
    with np.errstate(over="ignore"):
        return abs(float(np.exp(level + variance / 2.0).mean() / values.mean()) - 1.0)
