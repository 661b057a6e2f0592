"""Hours and cost of pruning, from minutes per vine: an assumption that people should replace with their own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geoprune.errors import DataError, Message, Problem

#: About 4 hours per 80-vine row (winery log, Virginia, notavivavineyards.com 2008, second-hand).
MINUTES_PER_VINE = 3.0


@dataclass(frozen=True)
class Labour:
    """Hours of one person, and their cost; NaN where no wage is given."""

    hours: float
    cost: float
    minutes_per_vine: float

    @property
    def message(self) -> Message:
        """Hours, and cost where a wage is given, as a sentence."""
        fields = {"hours": self.hours, "minutes": self.minutes_per_vine, "count": max(round(self.hours), 1)}
        if np.isfinite(self.cost):
            return Message("crop.labour_cost", fields | {"cost": self.cost})
        return Message("crop.labour", fields)


def plan_labour(vines: int, *, minutes_per_vine: float = MINUTES_PER_VINE, cost_per_hour: float | None = None) -> Labour:
    """Hours (and cost) for pruning so many vines: ``vines x minutes / 60``.

    Raises
    ------
    DataError
        If minutes or cost are negative or absurd.
    """
    faults = []
    if not 0 < minutes_per_vine <= 120:
        faults.append(f"{minutes_per_vine:g} minutes per vine")
    if cost_per_hour is not None and not 0 <= cost_per_hour < float("inf"):
        faults.append(f"a cost of {cost_per_hour:g} per hour")
    if faults:
        mend = "Give minutes within 0 and 120, and a cost that is not negative"
        raise DataError([Problem("", "", "labour", f"{' and '.join(faults)} cannot be", mend)])
    hours = vines * minutes_per_vine / 60.0
    return Labour(hours, np.nan if cost_per_hour is None else hours * cost_per_hour, minutes_per_vine)
