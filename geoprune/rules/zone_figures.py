"""One zone's figures, gathered from its line, its block and its samples for `balance.diagnose`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np
import pandas as pd

from geoprune.rules.bands import crop_load
from geoprune.rules.evidence import ZoneFigures
from geoprune.rules.floors import Measured, measure
from geoprune.rules.need import BudNeed
from geoprune.rules.shares import Shares, pool_shares
from geoprune.rules.training import system_of


class Block(Protocol):
    """What advice asks of a block's settings."""

    @property
    def variety(self) -> str:
        """Cultivar."""

    @property
    def training(self) -> str:
        """Training word."""

    @property
    def vine_spacing_m(self) -> float:
        """Spacing of vines in the row, m."""


def zone_figures(
    zone_row: Mapping[str, Any],
    settings: Block,
    *,
    need: BudNeed,
    samples: pd.DataFrame | None = None,
    yield_kg: float = float("nan"),
    block_load: float = float("nan"),
    pruning: str = "hand",
    capacity: float = float("nan"),
    injury_known: bool = True,
) -> ZoneFigures:
    """Gather a zone's figures for `diagnose`: per metre of row and of canopy, canes, bull canes, crop load, capacity.

    `injury_known`: whether enough buds were cut for the share dead to count.
    """
    system = system_of(settings)
    canopies = system.canopies
    size, buds = float(zone_row["vine_size_kg"]), float(zone_row["buds_per_vine"])
    per_m = 1.0 / settings.vine_spacing_m
    dead = float(zone_row.get("injury_share", np.nan)) if injury_known else np.nan
    own = float(crop_load(yield_kg, size * float(zone_row["vines"]), pruning=pruning)) if size > 0 else float("nan")
    of_block = not np.isfinite(own) and np.isfinite(block_load)
    counted = _cane_counts(samples)
    return ZoneFigures(
        canopy=system.canopy,
        vine_size_kg=size,
        vine_size_se_kg=float(zone_row.get("vine_size_se_kg", 0.0)),
        weighed=0 if samples is None else len(samples),
        pruning_kg_m_row=size * per_m,
        pruning_kg_m_canopy=size * per_m / canopies,
        buds_per_m_row=buds * per_m,
        buds_per_m_canopy=buds * per_m / canopies,
        live_share=1.0 if np.isnan(dead) else 1.0 - dead,
        bull_share=float(zone_row.get("bull_cane_share", np.nan)),
        bull_low=float(zone_row.get("bull_cane_low", np.nan)),
        bull_high=float(zone_row.get("bull_cane_high", np.nan)),
        bull_vines=counted[0],
        canes_counted=counted[1],
        **_cane_weight(samples),
        cane_diameter_mm=_measured(samples, "cane_diameter_mm"),
        internode_mm=_measured(samples, "internode_mm"),
        crop_load=block_load if of_block else own,
        crop_of_block=of_block,
        pruning=pruning,
        variety=settings.variety,
        group=need.rule.group,
        buds_by_rule=float(need.rule.buds(size)),
        capacity=capacity,
    )


def zone_bull_canes(samples: pd.DataFrame, sample_zone: Any, zones: int) -> Shares:
    """Share of bull canes per zone 1..`zones` with its 95 % credible interval (see `shares.pool_shares`).

    `samples` carries `canes` and `bull_canes`; `sample_zone` is the zone of each. Samples without both counts are
    left out; NaN throughout when none has them.
    """
    counted = samples["canes"].notna() & samples["bull_canes"].notna() & (samples["canes"].fillna(0) > 0)
    keep = counted.to_numpy(dtype=bool)
    return pool_shares(
        samples["bull_canes"].to_numpy(dtype=float, na_value=np.nan)[keep],
        samples["canes"].to_numpy(dtype=float, na_value=np.nan)[keep],
        np.asarray(sample_zone)[keep],
        np.arange(1, zones + 1),
    )


def _cane_counts(samples: pd.DataFrame | None) -> tuple[int, int]:
    """Vines on which canes and bull canes were counted, and how many canes."""
    if samples is None or not {"canes", "bull_canes"} <= set(samples.columns):
        return 0, 0
    counted = samples[samples["canes"].notna() & samples["bull_canes"].notna() & (samples["canes"].fillna(0) > 0)]
    return len(counted), int(counted["canes"].sum())


def _cane_weight(samples: pd.DataFrame | None) -> dict[str, Any]:
    if samples is None or not {"canes", "vine_weight_kg"} <= set(samples.columns):
        return {}
    counted = samples[samples["canes"].notna() & (samples["canes"].fillna(0) > 0)]
    if not len(counted):
        return {}
    weighed = counted["vine_weight_kg"] * counted.get("vines_weighed", 1)
    return {"cane_weight_g": 1000.0 * float(weighed.sum()) / float(counted["canes"].sum()), "cane_vines": len(counted)}


def _measured(samples: pd.DataFrame | None, column: str) -> Measured:
    if samples is None or column not in samples.columns:
        return Measured()
    return measure(samples[column].to_numpy(dtype=float, na_value=np.nan))
