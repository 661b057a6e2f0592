"""What each weight is expected to be from all others of its block: leave-one-out, on the scale of square roots."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial.distance import cdist
from scipy.special import gammaln, stdtr, stdtrit

from geoprune.geostat import AveragedKriging, Kriging, fit_averaged
from geoprune.surface.prior import SHARES, Prior, range_grid

Floats = NDArray[np.float64]
#: With fewer sound weights there is no pattern to fit, and their mean stands for it.
FEWEST_TO_FIT = 8
#: Fewer say nothing of each other.
FEWEST = 4
#: Tails of the law of a sound weight: Student's t with so many degrees of freedom, because some vines are odd and no slip
#: (design choice, set on simulated lists, docs/weigh-in.md).
DEGREES = 8
#: Log of Student's density at its middle; written out, because every line asks for it many times.
LOG_CONSTANT = float(gammaln((DEGREES + 1) / 2) - gammaln(DEGREES / 2) - np.log(np.pi * DEGREES) / 2)
#: Weights so many robust standard deviations from the median say nothing of the others until they are judged.
FAR = 3.0
#: Standard errors from which a weight may belong to another vine (design choice).
ODD = 2.0
#: So many weights of a block tell the pattern, spread evenly over the list; the others are judged by these. More tell hardly
#: more of a neighbour, and what is reckoned with all of them grows with their square (design choice).
MOST_HEARD = 800
#: So many weights are looked up in the pattern at a time.
AT_ONCE = 4000
#: Least coefficient of variation of sound weights believed on the scale of square roots: half of 0.15.
LEAST_CV = 0.075


@dataclass(frozen=True)
class Expected:
    """Expected square root of each weight (kg a vine) and the standard error of a reading, (n,)."""

    middle: Floats
    spread: Floats

    def log_density(self, weight_kg: Floats) -> Floats:
        """Log density of log weight (n,) at weights a vine; low, not minus infinity, for a weight of nothing."""
        root = np.sqrt(np.maximum(weight_kg, 1e-9))
        away = (root - self.middle) / self.spread
        return LOG_CONSTANT - (DEGREES + 1) / 2 * np.log1p(away**2 / DEGREES) + np.log(root / (2.0 * self.spread))

    def chance(self, weight_kg: Floats) -> Floats:
        """Chance (n,) of a sound weight as far off as this or farther."""
        return 2.0 * stdtr(DEGREES, -np.abs(np.sqrt(weight_kg) - self.middle) / self.spread)

    def interval_kg(self) -> tuple[Floats, Floats]:
        """Ends of the 90 % interval of a weight, kg a vine."""
        half = stdtrit(DEGREES, 0.95) * self.spread
        return np.square(np.maximum(self.middle - half, 0.0)), np.square(self.middle + half)


@dataclass(frozen=True, eq=False)
class Pattern:
    """A block's pattern as the weights that speak tell it: square roots (n,) of weights a vine at points (n, 2), noise (n,)
    factor of the nugget, `speaks` (n,), and the likely parameters."""

    point: Floats
    root: Floats
    noise: Floats
    speaks: NDArray[np.bool_]
    sill: float
    nugget: float
    range_m: float

    def log_density(self, weight_kg: Floats, lines: NDArray[np.int64]) -> float:
        """Joint log density of log weights a vine (m,) of lines that do not speak, given those that do (universal kriging,
        Student's multivariate t): neighbours that are low together count as one low place, not as many low vines."""
        known = np.flatnonzero(self.speaks)
        between = self.sill * np.exp(-cdist(self.point[known], self.point[lines]) / self.range_m)
        own = self._among(lines)
        factor = self._factor
        ones, solved = np.ones(len(known)), cho_solve(factor, between)
        weights = cho_solve(factor, ones)
        level = float(weights @ self.root[known] / weights.sum())
        lack = 1.0 - ones @ solved
        spread = own - between.T @ solved + np.outer(lack, lack) / weights.sum()
        root = np.sqrt(np.maximum(weight_kg, 1e-9))
        away = root - level - solved.T @ (self.root[known] - level)
        lower = cho_factor(spread, lower=True)
        square = float(away @ cho_solve(lower, away))
        size = len(lines)
        law = -(DEGREES + size) / 2 * np.log1p(square / DEGREES) - np.log(np.diag(lower[0])).sum()
        return float(law + np.log(root / 2.0).sum())

    @cached_property
    def _factor(self) -> tuple[Floats, bool]:
        """Factored covariance of the weights that speak."""
        factor: tuple[Floats, bool] = cho_factor(self._among(np.flatnonzero(self.speaks)), lower=True)
        return factor

    def _among(self, lines: NDArray[np.intp]) -> Floats:
        """Covariance (m, m) of weights of some lines among themselves."""
        covariance: Floats = self.sill * np.exp(-cdist(self.point[lines], self.point[lines]) / self.range_m)
        covariance[np.diag_indices_from(covariance)] += self.nugget * self.noise[lines]
        return covariance


def find_pattern(points: Floats, weight_kg: Floats, vines: Floats, speaks: NDArray[np.bool_]) -> Pattern | None:
    """Return the pattern that the weights tell which speak; None where they are too few, alike, or of unknown place."""
    root, noise = np.sqrt(weight_kg), 1.0 / vines
    taken = thinned(speaks & np.isfinite(points).all(axis=1))
    if taken.sum() < FEWEST_TO_FIT or np.ptp(root[taken]) == 0.0:
        return None
    here, fit = _fitted(points, root, noise, taken)
    return Pattern(here, root, noise, taken, fit.sill, fit.nugget, fit.typical.range_m)


def _fitted(points: Floats, root: Floats, noise: Floats, taken: NDArray[np.bool_]) -> tuple[Floats, AveragedKriging]:
    """Points (n, 2) about the middle of those taken, and the fit to these."""
    here = points - points[taken].mean(axis=0)
    ranges = range_grid(float(np.hypot(*np.ptp(points[taken], axis=0))))
    prior = Prior().log_density(ranges, SHARES)
    return here, fit_averaged(here[taken], root[taken], noise=noise[taken], ranges=ranges, shares=SHARES, log_prior=prior)


def thinned(chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return at most `MOST_HEARD` of those chosen (n,), evenly over the list."""
    places = np.flatnonzero(chosen)
    if len(places) <= MOST_HEARD:
        return chosen
    kept = np.zeros_like(chosen)
    kept[places[np.linspace(0, len(places) - 1, MOST_HEARD).astype(int)]] = True
    return kept


def first_sound(weight_kg: Floats) -> NDArray[np.bool_]:
    """Which weights lie near enough to the median of all to speak for the others, at first sight."""
    root = np.sqrt(weight_kg)
    middle = float(np.median(root))
    spread = max(1.4826 * float(np.median(np.abs(root - middle))), LEAST_CV * middle)
    return np.abs(root - middle) <= FAR * spread


def expect(
    points: Floats, weight_kg: Floats, vines: Floats, sound: NDArray[np.bool_], elsewhere: Floats
) -> tuple[Expected, Expected] | None:
    """What each weight is expected to be from the sound ones, itself left out, where it stands and at another place.

    None where too few are sound.

    Parameters
    ----------
    points : (n, 2)
        Where the weights stand; NaN where that is not known.
    weight_kg, vines : (n,)
        Weight a vine, and vines weighed together.
    sound : (n,)
        Which weights speak for the others.
    elsewhere : (n, 2)
        Another place for each; NaN where there is none.
    """
    root, noise = np.sqrt(weight_kg), 1.0 / vines
    taken = thinned(sound & np.isfinite(points).all(axis=1))
    if sound.sum() < FEWEST:
        return None
    if taken.sum() < FEWEST_TO_FIT or np.ptp(root[taken]) == 0.0:
        plain = _by_mean(root, sound)
        return plain, plain
    here, fit = _fitted(points, root, noise, taken)
    plain = _by_mean(root, sound)
    middle, variance = plain.middle.copy(), np.square(plain.spread)
    middle[taken], variance[taken] = fit.leave_one_out()
    # where a weight does not speak for the others, or might stand elsewhere, one likely set of parameters will do
    level = np.ones((int(taken.sum()), 1))
    plug_in = Kriging(here[taken], root[taken], level, noise[taken], fit.sill, fit.nugget, fit.typical.range_m)
    others = np.flatnonzero(~taken & np.isfinite(here).all(axis=1))
    for some in np.split(others, range(AT_ONCE, len(others), AT_ONCE)) if len(others) else ():
        middle[some], alone = plug_in.predict(here[some], target="new")
        variance[some] = alone - fit.nugget * (1.0 - noise[some])
    least = LEAST_CV * float(np.median(root[sound])) / 2
    own, other = Expected(middle, np.maximum(np.sqrt(variance), least)), Expected(middle, np.sqrt(variance))
    # asked only of weights that are odd where they stand: no other could be so much likelier elsewhere
    odd = ~taken | (np.abs(root - middle) > ODD * own.spread)
    known = odd & np.isfinite(elsewhere).all(axis=1)
    if known.any():
        far, spread = middle.copy(), np.sqrt(variance)
        far[known], alone = plug_in.predict(elsewhere[known] - points[taken].mean(axis=0), target="new")
        spread[known] = np.sqrt(alone)
        other = Expected(far, np.maximum(spread, least))
    return own, other


def expect_by_mean(weight_kg: Floats, sound: NDArray[np.bool_]) -> Expected:
    """What each weight is expected to be from the mean of the other sound ones, wherever they stand."""
    return _by_mean(np.sqrt(weight_kg), sound)


def _by_mean(root: Floats, sound: NDArray[np.bool_]) -> Expected:
    """The mean of the other sound weights."""
    count = sound.sum() - sound
    total = root[sound].sum() - np.where(sound, root, 0.0)
    middle = total / count
    spread = max(float(root[sound].std(ddof=1)), LEAST_CV * float(np.median(root[sound])))
    return Expected(middle, spread * np.sqrt(1.0 + 1.0 / count))
