"""What vine sizes may be, given the samples: joint uncertainty for zones and what they are worth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SizeDraws:
    """Equally likely states of a block: D joint draws of all panels, and how vines scatter within a panel.

    panel_mean : (D, P) mean of each panel's vines, drawn jointly (conditional simulation)
    vine_sd : (D,) standard deviation of one vine about its panel's mean (vine-to-vine variance plus the field's
        variation within a panel), or (D, P) where it differs from panel to panel
    """

    panel_mean: Floats
    vine_sd: Floats

    def vines(self, points: int = 9) -> Iterator[Floats]:
        """Yield, per draw, `points` equally likely vine weights of each panel: (P, points) in kg."""
        z = _likely_points(points)
        for mean, sd in zip(self.panel_mean, self.vine_sd, strict=True):
            yield np.maximum(mean[:, None] + np.reshape(sd, (-1, 1)) * z[None, :], 0.0)

    def vine_points(self, points: int = 31) -> Floats:
        """Equally likely weights of a vine of each panel, all uncertainty included: (P, points) in kg.

        The mixture over draws is matched by its first two moments.
        """
        z = _likely_points(points)
        mean = self.panel_mean.mean(axis=0)
        sd = np.sqrt(self.panel_mean.var(axis=0) + np.mean(np.square(self.vine_sd), axis=0))
        return np.maximum(mean[:, None] + sd[:, None] * z[None, :], 0.0)


def _likely_points(points: int) -> Floats:
    """Means of the standard normal law within `points` equally likely parts: mean absolute differences come out right."""
    edges = ndtri(np.linspace(0.0, 1.0, points + 1))
    density = np.exp(-np.square(edges) / 2.0) / np.sqrt(2.0 * np.pi)
    return points * (density[:-1] - density[1:])
