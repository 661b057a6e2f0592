"""What vine sizes may be, given the samples: joint uncertainty for zones and merits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]


def to_weight(values: Floats, transform: str) -> Floats:
    """Bring values from the model's scale ("identity", "sqrt", "log") back to kg; never below 0."""
    if transform == "identity":
        return np.maximum(values, 0.0)
    if transform == "sqrt":
        return np.square(np.maximum(values, 0.0))
    if transform == "log":
        return np.exp(values)
    raise ValueError(f"unknown transform {transform!r}: identity, sqrt or log")


@dataclass(frozen=True)
class SizeDraws:
    """Equally likely states of a block: D joint draws of all panels, and how vines scatter within a panel.

    panel_mean : (D, P) mean of each panel's vines on the model scale, drawn jointly (conditional simulation)
    vine_sd : (D,) standard deviation of one vine about its panel's mean on the model scale (vine-to-vine
        variance plus the field's variation within a panel)
    transform : "identity", "sqrt" or "log": the scale the two are on
    """

    panel_mean: Floats
    vine_sd: Floats
    transform: str

    def vines(self, points: int = 9) -> Iterator[Floats]:
        """Yield, per draw, `points` equally likely vine weights of each panel: (P, points) in kg."""
        z = ndtri((np.arange(points) + 0.5) / points)
        for mean, sd in zip(self.panel_mean, self.vine_sd, strict=True):
            yield to_weight(mean[:, None] + sd * z[None, :], self.transform)

    def vine_points(self, points: int = 31) -> Floats:
        """Equally likely weights of a vine of each panel, all uncertainty included: (P, points) in kg.

        The mixture over draws is matched by its first two moments on the model scale.
        """
        z = ndtri((np.arange(points) + 0.5) / points)
        mean = self.panel_mean.mean(axis=0)
        sd = np.sqrt(self.panel_mean.var(axis=0) + np.mean(np.square(self.vine_sd)))
        return to_weight(mean[:, None] + sd[:, None] * z[None, :], self.transform)
