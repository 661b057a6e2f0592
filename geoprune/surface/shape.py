"""Transform, covariance family and anisotropy, each by its written rule; and the way back to kilograms."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geoprune.geostat import Transform, choose_anisotropy, choose_model, choose_transform
from geoprune.geostat.covariance import EFFECTIVE, Anisotropy
from geoprune.surface.observations import Observations
from geoprune.surface.prior import SHARES, Prior, range_grid

Floats = NDArray[np.float64]
MOST_TO_CHOOSE = 200
TRANSFORMS = {1.0: "identity", 0.5: "square root", 0.0: "log"}


@dataclass(frozen=True)
class Shape:
    """What the field and the weights look like: the scale on which they are added, family and stretch of the field."""

    transform: Transform = field(default_factory=Transform)
    model: str = "exponential"
    anisotropy: Anisotropy | None = None

    @property
    def is_plain(self) -> bool:
        """Whether weights are taken as they are."""
        return self.transform.power == 1.0

    def forward(self, weights_kg: Floats) -> Floats:
        """Weights on the scale of the model; kilograms where they are taken as they are."""
        return weights_kg if self.is_plain else self.transform.forward(weights_kg)

    def mean(self, mean: Floats, variance: Floats | float) -> Floats:
        """Expected kilograms of a value with this mean and variance on the model's scale."""
        return mean if self.is_plain else self.transform.mean(mean, variance)

    def variance(self, mean: Floats, variance: Floats | float) -> Floats:
        """Variance in kg2 of a value with this mean and variance on the model's scale."""
        return variance + np.zeros_like(mean) if self.is_plain else self.transform.variance(mean, variance)

    def backward(self, values: Floats) -> Floats:
        """Kilograms of values on the model's scale."""
        return values if self.is_plain else self.transform.backward(values)

    def field_variance(self, mean: Floats, variance: Floats, nugget: float) -> Floats:
        """Variance in kg2 of the expected size of a vine, over what is not known of the field alone."""
        scale = np.exp(nugget) if self.transform.power == 0.0 else 1.0
        return scale * self.variance(mean, variance)

    def stretch(self, size_kg: Floats | float) -> Floats:
        """Kilograms for one unit of the model's scale at a size: size^(1 - power)."""
        return np.maximum(np.asarray(size_kg, dtype=float), 1e-9) ** (1.0 - self.transform.power)

    def grid(self, across_m: float, prior: Prior) -> tuple[Floats, Floats]:
        """Ranges (R,) of this family with the effective ranges of the exponential grid, and log prior (R, S)."""
        ranges = range_grid(across_m)
        return ranges * (EFFECTIVE["exponential"] / EFFECTIVE[self.model]), prior.log_density(ranges, SHARES)


PLAIN = Shape()


def choose_scale(observations: Observations) -> Transform:
    """The scale that the weights ask for whatever their places, by `geoprune.geostat.choose_transform` without a field.

    It is the same however the weights are dealt out over the places, so a test that shuffles them stays exact on it.
    """
    anywhere, none = np.array([max(observations.across_m, 1.0)]), np.array([1.0])
    settings: dict[str, Any] = {
        "drift": observations.levels,
        "noise": observations.noise,
        "ranges": anywhere,
        "shares": none,
    }
    return choose_transform(observations.place, observations.values, **settings).transform


def choose_shape(observations: Observations, *, bearing_deg: float) -> Shape:
    """Weights as they are, exponential and alike in all directions, unless the samples speak clearly for another.

    Rules: `geoprune.geostat.choose_transform` (2 log units, Jacobian included), `choose_model` (2 log units of mean
    likelihood), `choose_anisotropy` along `bearing_deg`, the rows' direction (AIC by 4, from 100 samples on). Of more
    than 200 samples, 200 decide.
    """
    few = observations.part(observations.thinned(MOST_TO_CHOOSE))
    place, weights, ranges = few.place, few.values, range_grid(few.across_m)
    settings: dict[str, Any] = {"drift": few.levels, "noise": few.noise, "shares": SHARES}
    transform = choose_transform(place, weights, ranges=ranges, **settings).transform
    values = Shape(transform).forward(weights)
    model = choose_model(place, values, **settings).model
    scaled = ranges * (EFFECTIVE["exponential"] / EFFECTIVE[model])
    chosen = choose_anisotropy(place, values, bearing_deg=bearing_deg, ranges=scaled, model=model, **settings)
    return Shape(transform, model, chosen.anisotropy)
