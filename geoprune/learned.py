"""What weights say of range and nugget share: from one fit, by way of summary.json, to the next."""

from __future__ import annotations

from dataclasses import dataclass

#: The covariance that ranges are comparable under.
FAMILY = "exponential"


@dataclass(frozen=True)
class Learned:
    """Likelihood of range and nugget share, whatever was believed beforehand.

    Attributes
    ----------
    ranges_m : (R,) tuple of float
        Range parameters of the exponential covariance, rising.
    nugget_shares : (S,) tuple of float
        Shares of the variance from vine to vine, rising.
    likelihood : (R, S) tuple of tuples of float
        Of each pair, summing to 1.
    """

    ranges_m: tuple[float, ...]
    nugget_shares: tuple[float, ...]
    likelihood: tuple[tuple[float, ...], ...]
