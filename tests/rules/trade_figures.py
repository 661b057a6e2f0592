"""Sums of the trade and figures in print that published examples are reckoned with; the product needs none of them."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geoprune.rules import BudNeed, Injury, Rule
from geoprune.rules.bands import BULL_DIAMETER_MM, BULL_INTERNODE_MM
from geoprune.units import M2_PER_AC, M2_PER_HA

OFFERS = Path(__file__).parents[2] / "docs" / "crop_offers.toml"


def is_bull_cane(diameter_mm: ArrayLike, internode_mm: ArrayLike) -> NDArray[np.bool_]:
    """Return which canes are bull canes: over 1/2 in thick, with internodes of 5 in or more.

    Where one of the two was not measured (NaN) the other decides; where none was, it is not called one.
    """
    thick, long = np.asarray(diameter_mm, dtype=float), np.asarray(internode_mm, dtype=float)
    is_thick = np.isnan(thick) | (thick > BULL_DIAMETER_MM)
    is_long = np.isnan(long) | (long >= BULL_INTERNODE_MM)
    return is_thick & is_long & ~(np.isnan(thick) & np.isnan(long))


@cache
def crop_offers() -> tuple[dict[str, Any], ...]:
    """Figures in print for parts of a crop, each with its source; offered, never used by themselves."""
    return tuple(tomllib.loads(OFFERS.read_text("utf-8"))["offer"])


def vines_per_ha(row_spacing_m: float, vine_spacing_m: float) -> float:
    """Vines per hectare of a full planting: 10,000 / (row spacing x vine spacing)."""
    return M2_PER_HA / (row_spacing_m * vine_spacing_m)


def vines_per_ac(row_spacing_m: float, vine_spacing_m: float) -> float:
    """Vines per acre of a full planting: 43,560 / (row ft x vine ft), exact."""
    return M2_PER_AC / (row_spacing_m * vine_spacing_m)


def bud_need(rule: Rule, injury: Injury) -> BudNeed:
    """Return the need of a block from its rule and its `Injury`, without limits of its own."""
    return BudNeed(rule, injury_factor=injury.need_factor)
