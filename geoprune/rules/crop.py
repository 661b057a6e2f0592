"""The crop to expect from the buds left, and the buds for a crop that is wanted; never without given figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geoprune.errors import DataError, Problem
from geoprune.rules.own_rules import is_number, read_entries, shown, text_faults
from geoprune.rules.rule import fold
from geoprune.text import one_line

Floats = NDArray[np.float64]

PARTS = ("budbreak", "clusters_per_shoot", "cluster_weight_g")
#: Figures outside these are taken for slips: most shoots bear at most 3-4 clusters (Martinson, Lakso & Bates 2012,
#: Cornell); the other two are plain limits.
LIMITS = {"budbreak": (0.0, 1.2), "clusters_per_shoot": (0.0, 5.0), "cluster_weight_g": (1.0, 3000.0)}


@dataclass(frozen=True)
class Range:
    """A figure with its range: triangular between `low` and `high`, highest at `likely`."""

    low: float
    likely: float
    high: float

    def quantile(self, u: ArrayLike) -> Floats:
        """Values at cumulative probabilities `u` (0 to 1), same shape; one value when low equals high."""
        u = np.asarray(u, dtype=float)
        width = self.high - self.low
        if width <= 0:
            return np.full(u.shape, self.likely)
        rise = (self.likely - self.low) / width
        left = self.low + np.sqrt(u * width * (self.likely - self.low))
        right = self.high - np.sqrt((1 - u) * width * (self.high - self.likely))
        return np.where(u < rise, left, right)


@dataclass(frozen=True)
class CropAssumptions:
    """Budbreak (shoots per bud left), clusters per shoot and cluster weight of one cultivar, with their source."""

    budbreak: Range
    clusters_per_shoot: Range
    cluster_weight_g: Range
    source: str
    variety: str = ""

    def kg_per_bud(self, draws: int = 20_000, *, seed: int = 0) -> Floats:
        """Crop of one live bud, kg: (draws,) seasons that could be, the three parts drawn independently."""
        u = np.random.default_rng(seed).random((3, draws))
        return (
            self.budbreak.quantile(u[0])
            * self.clusters_per_shoot.quantile(u[1])
            * self.cluster_weight_g.quantile(u[2])
            / 1000.0
        )


@dataclass(frozen=True, eq=False)
class Crop:
    """Expected crop, one entry per zone and one for the block: mean and 90 % interval.

    Attributes
    ----------
    kg_per_vine, total_kg, t_ha : (Z, 3) ndarray
        Low, mean, high per zone; `t_ha` is NaN without areas.
    block_kg_per_vine, block_total_kg, block_t_ha : (3,) ndarray
    chance_of_target : float
        Chance that the block reaches the target; NaN without one.
    target_t_ha : float
    source : str
        Where the figures come from.
    """

    kg_per_vine: Floats
    total_kg: Floats
    t_ha: Floats
    block_kg_per_vine: Floats
    block_total_kg: Floats
    block_t_ha: Floats
    chance_of_target: float
    target_t_ha: float
    source: str


def expect_crop(
    buds_per_vine: ArrayLike,
    vines: ArrayLike,
    assumptions: CropAssumptions,
    *,
    area_ha: ArrayLike | None = None,
    live: Sequence[Range] | None = None,
    target_t_ha: float = float("nan"),
    draws: int = 20_000,
    seed: int = 0,
) -> Crop:
    """Crop to expect: buds x live share x budbreak x clusters per shoot x cluster weight, by Monte Carlo.

    All zones see the same season: the same draws serve them all, so that the block's interval is not narrowed by
    adding zones up.

    Parameters
    ----------
    buds_per_vine, vines : (Z,) array_like
        Buds prescribed and counted vines per zone.
    assumptions : CropAssumptions
    area_ha : (Z,) array_like, optional
        Area per zone, for crops per hectare.
    live : sequence of Range, optional
        Live share of the buds per zone (injury); all alive when not given.
    target_t_ha : float
        Crop wanted, tonnes (1000 kg) per hectare.

    Returns
    -------
    Crop
    """
    buds, count = np.atleast_1d(np.asarray(buds_per_vine, float)), np.atleast_1d(np.asarray(vines, float))
    per_bud = assumptions.kg_per_bud(draws, seed=seed)
    alive = _live_draws(live, len(buds), draws, seed)
    vine_kg = buds[:, None] * alive * per_bud[None, :]
    total = vine_kg * count[:, None]
    area = np.full(len(buds), np.nan) if area_ha is None else np.atleast_1d(np.asarray(area_ha, float))
    block_t_ha = total.sum(axis=0) / 1000.0 / area.sum()
    reached = float(np.mean(block_t_ha >= target_t_ha)) if np.isfinite(target_t_ha * area.sum()) else np.nan
    return Crop(
        kg_per_vine=_summary(vine_kg),
        total_kg=_summary(total),
        t_ha=_summary(total / 1000.0 / area[:, None]),
        block_kg_per_vine=_summary(total.sum(axis=0) / count.sum()),
        block_total_kg=_summary(total.sum(axis=0)),
        block_t_ha=_summary(block_t_ha),
        chance_of_target=reached,
        target_t_ha=target_t_ha,
        source=assumptions.source,
    )


def buds_for_target(
    target_kg_per_vine: float,
    assumptions: CropAssumptions,
    *,
    live: Range | None = None,
    draws: int = 20_000,
    seed: int = 0,
) -> Range:
    """Buds per vine for a wanted crop per vine: 5, 50 and 95 % of what the season may ask for."""
    per_bud = assumptions.kg_per_bud(draws, seed=seed)
    alive = _live_draws(None if live is None else [live], 1, draws, seed)[0]
    with np.errstate(divide="ignore"):
        needed = target_kg_per_vine / (per_bud * alive)
    low, likely, high = np.quantile(needed, (0.05, 0.5, 0.95))
    return Range(float(low), float(likely), float(high))


def load_crop_assumptions(path: Path) -> tuple[CropAssumptions, ...]:
    """Read a grower's figures: one ``[[crop]]`` table per cultivar with the three parts and a `source`.

    Each part is a number or a list of low, likely and high.

    Raises
    ------
    DataError
        With every problem of the file.
    """
    path = Path(path)
    entries = read_entries(path, "crop")
    problems, known = [], set()
    for number, entry in enumerate(entries, start=1):
        faults = _faults(entry)
        variety = fold(str(entry.get("variety", "")))
        if not faults and variety in known:
            faults = [(f"the figures of '{entry['variety']}' stand twice", "Keep one [[crop]] per cultivar")]
        known.add(variety)
        problems += [Problem(path.name, "", f"crop {number}", what, mend) for what, mend in faults]
    if problems:
        raise DataError(problems)
    return tuple(_assumptions(entry) for entry in entries)


def assumptions_for(variety: str, known: Sequence[CropAssumptions]) -> CropAssumptions | None:
    """Return the figures given for a cultivar, or None: then no crop is expected."""
    return next((one for one in known if fold(one.variety) == fold(variety)), None)


def _live_draws(live: Sequence[Range] | None, zones: int, draws: int, seed: int) -> Floats:
    if live is None:
        return np.ones((zones, draws))
    u = np.random.default_rng([seed, 1]).random(draws)
    return np.clip(np.stack([share.quantile(u) for share in live]), 0.0, 1.0)


def _summary(draws: Floats) -> Floats:
    low, high = np.quantile(draws, (0.05, 0.95), axis=-1)
    return np.stack([low, draws.mean(axis=-1), high], axis=-1)


def _range(value: Any) -> Range:
    low, likely, high = value if isinstance(value, list) else (value, value, value)
    return Range(float(low), float(likely), float(high))


def _assumptions(entry: dict[str, Any]) -> CropAssumptions:
    parts = {part: _range(entry[part]) for part in PARTS}
    return CropAssumptions(**parts, source=one_line(entry["source"]), variety=one_line(entry["variety"]))


def _faults(entry: dict[str, Any]) -> list[tuple[str, str]]:
    needed = {"variety": "Name the cultivar", "source": "Say where the figures come from"}
    faults = text_faults(entry, needed)
    for key in sorted(set(entry) - {*PARTS, *needed}):
        faults.append((f"`{key}` is not known", f"Use {', '.join((*PARTS, *needed))}"))
    for part in PARTS:
        value = entry.get(part)
        values = value if isinstance(value, list) else [value]
        low, high = LIMITS[part]
        if len(values) not in (1, 3) or not all(map(is_number, values)):
            faults.append((f"`{part}` is {shown(value)}", "Give one number, or low, likely and high"))
        elif sorted(values) != values or not (low <= values[0] and values[-1] <= high):
            faults.append((f"`{part}` is {shown(value)}", f"Give rising numbers within {low:g} and {high:g}"))
    return faults
