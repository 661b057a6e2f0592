"""What weighing buys: how far off the number and the map will be, against the hours it takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.special import stdtrit

from geoprune.geostat import correlation
from geoprune.geostat.covariance import distances
from geoprune.sampling.choosing import choose_sites
from geoprune.sampling.counting import CONFIDENCE
from geoprune.sampling.model import VineModel
from geoprune.sampling.sites import Sites
from geoprune.sampling.walking import plan_walk

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
#: Minutes to cut the prunings of a vine, bundle, hang and weigh them; and at each stop to find the vine and write.
#: Design choices: a person puts in the own time.
MINUTES_PER_VINE, MINUTES_PER_STOP = 4.0, 1.0
#: A person among vines, metres a minute (3 km/h; design choice).
WALKING_M_PER_MINUTE = 50.0
#: Stops shown in the curve.
COUNTS = (5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100)
#: The curve is worked out on so many places at most, and shown for as many parts of the block.
MOST_SITES, TARGETS = 400, 200
MEAN_ABSOLUTE = float(np.sqrt(2.0 / np.pi))  # of a standard normal


@dataclass(frozen=True)
class Effort:
    """One point of the curve. `number_off_buds`, `map_off_buds`: how far the block's number is from what its mean vine
    needs, a panel's number from what its vines need, on average, per vine; `number_within_buds`: 9 in 10 of the former."""

    stops: int
    vines: int
    walk_m: float
    hours: float
    number_off_buds: float
    number_within_buds: float
    map_off_buds: float


@dataclass(frozen=True)
class Work:
    """A block as what weighing buys is worked out for it.

    rows : array of LineString, all rows in their order; model : VineModel; slope : buds per kilogram of vine size, by the
    block's rule at its mean; panel_vines : vines in a panel, on average; population : vines that may be weighed;
    targets (m, 2) places that stand for the block; minutes_per_vine
    """

    rows: NDArray[np.object_]
    model: VineModel
    slope: float
    panel_vines: float
    population: float
    targets: Floats
    minutes_per_vine: float = MINUTES_PER_VINE


@dataclass(frozen=True)
class Worth:
    """The curve, its knee (a number of stops), and how far off a panel is with one true number for the block, buds."""

    curve: tuple[Effort, ...]
    knee: int
    without_map_buds: float


def hours_of(stops: int, vines: int, walk_m: float, *, minutes_per_vine: float = MINUTES_PER_VINE) -> float:
    """Hours of one person for so many stops, vines and metres."""
    return (stops * MINUTES_PER_STOP + vines * minutes_per_vine + walk_m / WALKING_M_PER_MINUTE) / 60.0


def expected_errors(
    points: Floats, targets: Floats, model: VineModel, *, vines: float, panel_vines: float, population: float
) -> tuple[float, float]:
    """Variance of the block's mean and mean standard error of a panel, kg^2 and kg, before a vine is weighed.

    Ordinary kriging with known covariance: its variances do not depend on the weights (Cressie 1993, Statistics for
    Spatial Data, 3.2). The mean is that of the `population` vines that stand there, so that weighing all of them leaves
    nothing; a panel's is that of its own `panel_vines`, whose own parts a map cannot know.

    Parameters
    ----------
    points, targets : (n, 2), (m, 2)
        Where weights are taken, and places that stand for the block.
    model : VineModel
    vines, panel_vines, population : float
        Vines weighed at a stop, in a panel, and in the block.
    """

    def field(a: Floats, b: Floats) -> Floats:
        return model.sill_kg2 * correlation(distances(a, b), model.range_m, "exponential")

    covariance = field(points, points)
    covariance[np.diag_indices_from(covariance)] += model.nugget_kg2 / vines + 1e-9 * model.sill_kg2
    cross = field(points, targets)
    factor = cho_factor(covariance, lower=True)
    solved, ones = cho_solve(factor, cross), cho_solve(factor, np.ones(len(points)))
    weight = 1.0 / ones.sum()
    lack = 1.0 - solved.sum(axis=0)
    at = model.sill_kg2 - np.einsum("nm,nm->m", cross, solved) + weight * lack**2
    whole = field(targets, targets).mean() - cross.mean(axis=1) @ solved.mean(axis=1) + weight * lack.mean() ** 2
    whole = max(float(whole) - model.nugget_kg2 / population, 0.0)
    return whole, float(np.sqrt(np.maximum(at, 0.0) + model.nugget_kg2 / panel_vines).mean())


def effort_of(work: Work, sites: Sites, chosen: Integers) -> Effort:
    """What weighing the chosen of some sites takes and buys; the walk is the shortest round through them."""
    points, targets = sites.point[chosen], work.targets
    walk_m = plan_walk(work.rows, sites.row[chosen], points).length_m
    vines, each = int(sites.vines[chosen].sum()), float(sites.vines[chosen].mean())
    whole, panel = expected_errors(
        points, targets, work.model, vines=each, panel_vines=work.panel_vines, population=work.population
    )
    off = work.slope * float(np.sqrt(whole))
    sure = float(stdtrit(max(len(chosen) - 1, 1), 0.5 + CONFIDENCE / 2))
    hours = hours_of(len(chosen), vines, walk_m, minutes_per_vine=work.minutes_per_vine)
    return Effort(len(chosen), vines, walk_m, hours, MEAN_ABSOLUTE * off, sure * off, MEAN_ABSOLUTE * work.slope * panel)


def weigh_worth(
    work: Work, sites: Sites, *, counts: Sequence[int] = COUNTS, further: Floats | None = None, seed: int = 0
) -> Worth:
    """Work out the curve of error against hours for one block.

    Parameters
    ----------
    work : Work
    sites : Sites
    counts : sequence of int
        Numbers of stops; a block with fewer sites ends the curve.
    further : as in `choose_sites`
    seed : int
    """
    rng = np.random.default_rng(seed)
    few = np.sort(rng.choice(len(sites), MOST_SITES, replace=False)) if len(sites) > MOST_SITES else np.arange(len(sites))
    part = Sites(sites.vine_id[few], sites.vines[few], sites.row[few], sites.point[few])
    beside = None if further is None else further[few]
    tried = sorted({min(count, len(part)) for count in counts if min(count, len(part)) >= 2})
    curve = tuple(effort_of(work, part, choose_sites(part, count, further=beside, rng=rng).sites) for count in tried)
    flat = np.sqrt(work.model.sill_kg2 + work.model.nugget_kg2 / work.panel_vines)
    return Worth(curve, find_knee(curve), MEAN_ABSOLUTE * work.slope * float(flat))


def stops_within(worth: Worth, buds: float) -> int | None:
    """Fewest spread stops that hold the block's number within so many buds, nine times in ten; None beyond the curve.

    Between the points of the curve the logarithms are taken as straight lines.
    """
    stops = np.log([effort.stops for effort in worth.curve])
    error = np.minimum.accumulate([max(effort.number_within_buds, 1e-9) for effort in worth.curve])
    if buds < error[-1]:
        return None
    return int(np.ceil(np.exp(np.interp(np.log(buds), np.log(error[::-1]), stops[::-1])) - 1e-9))


def find_knee(curve: Sequence[Effort], key: Callable[[Effort], float] = lambda effort: effort.number_within_buds) -> int:
    """Stops at the knee: where the curve of error against hours lies farthest below the chord of its ends (Satopaa et al.
    2011, "Kneedle", 31st Int. Conf. on Distributed Computing Systems Workshops, 166-171, from memory)."""
    hours, error = np.array([e.hours for e in curve]), np.array([key(e) for e in curve])
    if len(curve) < 3 or np.ptp(hours) <= 0 or np.ptp(error) <= 0:
        return curve[-1].stops
    across, up = (hours - hours[0]) / (hours[-1] - hours[0]), (error - error[-1]) / (error[0] - error[-1])
    return curve[int((1.0 - across - up).argmax())].stops
