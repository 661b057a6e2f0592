"""What a check is asked and what it finds, as one thing each."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from geoprune.audit.judging import Tolerance
from geoprune.audit.plans import SamplingPlan, plan_by_size
from geoprune.errors import Message


@dataclass(frozen=True)
class AuditOptions:
    """What is asked of a check; all four are design choices.

    Attributes
    ----------
    aql : float
        Percent of vines off that is still good work. 6.5: one vine in fifteen.
    redo_from, certainty : float
        A block with a quarter of its vines off is found out nine times in ten. Then 50 vines are recounted of a block of
        200 vines or more, about an hour's work.
    tolerance : Tolerance
    lot : str
        What is sampled and judged as one: "block", "zone" or "row".
    seed : int
    """

    aql: float = 6.5
    redo_from: float = 0.25
    certainty: float = 0.90
    tolerance: Tolerance = field(default_factory=Tolerance)
    lot: str = "block"
    seed: int = 0


@dataclass(frozen=True, eq=False)
class Recount:
    """Vines to recount in walking order (see `audit.draw_recount`), the plan of each lot, and how many vines it has."""

    vines: pd.DataFrame
    plans: dict[tuple[Any, ...], SamplingPlan]
    lots: dict[tuple[Any, ...], int]


@dataclass(frozen=True, eq=False)
class Audit:
    """What the recount found.

    checked : one line per vine (see `audit.check_counts`), with the worker
    lots, workers : verdicts (see `audit.judge_groups`, `audit.judge_few`); workers is empty where none is named
    redo : rows to look at again (see `audit.rows_to_redo`)
    left : what was really left per zone (see `audit.buds_left`)
    remarks : what was left out or averaged
    """

    options: AuditOptions
    checked: pd.DataFrame
    lots: pd.DataFrame
    workers: pd.DataFrame
    redo: pd.DataFrame
    left: pd.DataFrame
    remarks: tuple[Message, ...]

    def plan_of(self, counted: int) -> SamplingPlan:
        """The plan by which so many recounted vines were judged."""
        return plan_by_size(counted, self.options.aql)


@dataclass(frozen=True, eq=False)
class Hours:
    """Hours by zone (see `audit.hours_by_zone`), by worker (for the manager alone), and what is to be said of them."""

    zones: pd.DataFrame
    workers: pd.DataFrame
    remarks: tuple[Message, ...]
