"""What replanting costs and gives back: yearly sums, net present value and payback, by simulation.

Net present value: ``sum of f_t / (1 + r)^t`` over years 0 (the planting) to the last; payback: the first year at whose end
the sums so far, not discounted, are no longer below nothing. What is compared is always "do it" less "leave it as it is".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geoprune.replanting.prices import LOST, LOST_BY_YEAR, LOST_SPREAD, Prices

Floats = NDArray[np.float64]

DRAWS = 2000
#: Ends of an interval that holds nine times in ten.
ENDS = (0.05, 0.95)


@dataclass(frozen=True)
class Task:
    """Vines of one place, and how they are dealt with.

    gone, weak, sick : vines replaced; sound : sound vines pulled with them
    layered : how many of the gaps are filled by layering, not planting
    together : planted as a section, not each in its gap; row_length_m : length of row renewed then
    panels : line posts along it; trip : whether the place needs a visit of its own
    """

    gone: int = 0
    weak: int = 0
    sick: int = 0
    sound: int = 0
    layered: int = 0
    together: bool = False
    row_length_m: float = 0.0
    panels: int = 0
    trip: bool = True

    @property
    def replaced(self) -> int:
        """Vines that are new afterwards."""
        return self.gone + self.weak + self.sick + self.sound

    @property
    def planted(self) -> int:
        """Plants set."""
        return self.replaced - self.layered


@dataclass(frozen=True, eq=False)
class Worth:
    """What a task comes to; money in the currency of the prices.

    cost, npv, payback_years : (3,) low, middle (mean; of payback the median), high; payback infinite where it is not reached
    pays : chance that the net present value is above nothing
    flows : (D, T + 1) the yearly sums, year 0 first
    """

    cost: Floats
    npv: Floats
    payback_years: Floats
    pays: float
    flows: Floats


def weigh_up(task: Task, prices: Prices, *, draws: int = DRAWS, seed: int = 0) -> Worth:
    """Tell what a task comes to.

    All tasks of a seed see the same prices and seasons, so that their differences are those of the tasks.
    """
    drawn = prices.draws(draws, seed=seed)
    flows = yearly_sums(task, prices, drawn, alive=alive_share(task.planted, prices.whole("years"), draws, seed=seed))
    npv = present_value(flows, drawn["interest_percent"] / 100)
    back = payback(flows)
    return Worth(
        cost=_three(-flows[:, 0]),
        npv=_three(npv),
        payback_years=np.quantile(back, (ENDS[0], 0.5, ENDS[1]), method="inverted_cdf"),
        pays=float(np.mean(npv > 0)),
        flows=flows,
    )


def yearly_sums(task: Task, prices: Prices, drawn: dict[str, Floats], *, alive: Floats) -> Floats:
    """Sums of each year (D, T + 1) of doing a task less leaving things as they are.

    Parameters
    ----------
    task, prices
    drawn : name -> (D,)
        See `Prices.draws`.
    alive : (D, T)
        Share of the plants alive in years 1 to T.
    """
    years = alive.shape[1]
    full = drawn["full_kg_per_vine"] * (drawn["crop_t"] - drawn["harvest_t"]) / 1000
    delay = 0 if task.together else prices.whole("gap_delay_years")
    young = prices.by_year("young_crop", years, delay=delay) * alive
    layered = prices.by_year("layered_crop", years) * (1 - drawn["layers_lost"])[:, None]
    lost = (
        task.gone * drawn["beside_gap_crop"] + task.weak * drawn["weak_crop"] + task.sick * drawn["sick_crop"] + task.sound
    )
    crop = task.planted * young + task.layered * layered - lost[:, None]
    care = np.where(np.arange(years) < prices.whole("care_years"), 1.0, 0.0) * task.replaced
    later = full[:, None] * crop - (drawn["hour"] * drawn["care_hours"])[:, None] * care
    return np.column_stack([-first_cost(task, prices, drawn), later])


def first_cost(task: Task, prices: Prices, drawn: dict[str, Floats]) -> Floats:
    """What the planting itself costs (D,), spare plants included."""
    plants = task.planted * (1 + drawn["overage_percent"] / 100)
    goods = plants * drawn["plant"] + task.planted * (drawn["stake"] + drawn["guard"])
    setting = drawn["plant_section_hours"] if task.together else drawn["plant_gap_hours"]
    hours = task.planted * setting + task.layered * drawn["layer_hours"]
    hours = hours + (task.weak + task.sick + task.sound) * drawn["pull_vine_hours"] + task.trip * drawn["visit_hours"]
    if task.together:
        wire = task.row_length_m * prices.whole("wires") * drawn["wire_m"]
        goods = goods + drawn["trellis_renewed"] * (wire + task.panels * drawn["post"])
    return goods + hours * drawn["hour"]


def alive_share(planted: int, years: int, draws: int, *, seed: int) -> Floats:
    """Share of replants alive in years 1 to `years` (draws, years).

    Dead by year 3: 16.1 % (+- 2.4) between blocks, and the luck of each plant; 60 % of it in year 1 (IVES Technical Reviews
    2025). Taken to stand from year 3 on.
    """
    generator = np.random.default_rng([seed, 3])
    chance = np.clip(LOST + LOST_SPREAD * generator.standard_normal(draws), 0.0, 1.0)
    lost = generator.binomial(planted, chance) / planted if planted else np.zeros(draws)
    part = np.array([LOST_BY_YEAR[min(year, len(LOST_BY_YEAR) - 1)] for year in range(years)])
    return 1.0 - lost[:, None] * part


def present_value(flows: Floats, rate: Floats) -> Floats:
    """Net present value (D,) of yearly sums (D, T + 1) at yearly rates (D,)."""
    years = np.arange(flows.shape[1])
    return np.asarray((flows / (1 + rate[:, None]) ** years).sum(axis=1))


def payback(flows: Floats) -> Floats:
    """First year (D,) at whose end the sums so far are no longer below nothing; infinite where there is none."""
    covered = np.cumsum(flows, axis=1) >= 0
    covered[:, 0] = False
    return np.where(covered.any(axis=1), covered.argmax(axis=1), np.inf)


def _three(values: Floats) -> Floats:
    low, high = np.quantile(values, ENDS)
    return np.array([low, values.mean(), high])
