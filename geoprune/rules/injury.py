"""Winter bud injury: what was found in cut buds, and what it does to the count."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from geoprune.errors import DataError, Message, Problem
from geoprune.rules.floors import FEWEST_BUDS
from geoprune.rules.injury_methods import DEFAULT_METHOD, InjuryMethod, injury_method, secondary_share
from geoprune.rules.shares import Shares, alike_p, dispersion_of, share_interval, smooth_shares

Floats = NDArray[np.float64]

#: Places are taken to differ below this p value; 1 % and not 5 %, because buds of one cane are alike.
DIFFER_P = 0.01


@dataclass(frozen=True, eq=False)
class Injury:
    """Winter bud injury of a block.

    Attributes
    ----------
    method : InjuryMethod
    buds_cut, primary_dead : int
        Totals of the block; 0 and 0 when nothing was cut.
    share, low, high : float
        Share of primaries dead and its 95 % interval; NaN when nothing was cut.
    factor, factor_low, factor_high : float
        What the count is multiplied by, at the share and at both ends; NaN where the method gives no number.
    stop : bool
        Whether the block is past the stop limit: no number, a person must judge.
    enough : bool
        Whether enough buds were cut to act on (`floors.FEWEST_BUDS`). If not, nothing is added, and nothing is stopped
        unless even the low end of the range lies past the limit; more buds must be cut before anyone prunes.
    potential : float
        Crop potential left, secondary buds included, where published for the cultivar and counted; else NaN.
    differs : bool
        Whether places differ and were mapped: then `panels` and `panel_factor` are there.
    panels : Shares or None
        Share dead per panel.
    panel_factor : (P,) ndarray or None
        Factor per panel; NaN past the stop limit.
    messages : tuple of Message
        What was found, how it was used, and what to beware of.
    """

    method: InjuryMethod
    buds_cut: int = 0
    primary_dead: int = 0
    share: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    factor: float = 1.0
    factor_low: float = 1.0
    factor_high: float = 1.0
    stop: bool = False
    enough: bool = True
    potential: float = float("nan")
    differs: bool = False
    panels: Shares | None = None
    panel_factor: Floats | None = None
    messages: tuple[Message, ...] = ()

    @property
    def need_factor(self) -> float | Floats:
        """The factor for drawing zones, always finite: per panel when mapped, else one for the block.

        Past the stop limit zones are drawn as if nothing were hurt; no number may then be given for them.
        """
        if self.stop:
            return 1.0
        if self.panel_factor is None:
            return self.factor
        at_limit = float(self.method.factor(self.method.stop_above))
        return np.where(np.isnan(self.panel_factor), at_limit, self.panel_factor)

    @property
    def live_share(self) -> float:
        """Crop left of a bud on average: potential where known, else the share alive; 1 when nothing was cut."""
        if np.isfinite(self.potential):
            return self.potential
        return 1.0 - self.share if self.buds_cut else 1.0


def assess_injury(
    bud_checks: pd.DataFrame | None,
    *,
    method: str = DEFAULT_METHOD,
    panel_midpoints: ArrayLike | None = None,
    variety: str = "",
    seed: int = 0,
) -> Injury:
    """Judge a block's winter bud injury from counts of cut buds.

    Places are first tested for a common share (`shares.alike_p`); when they differ and the panels' midpoints are
    given, the share is smoothed to the panels (`shares.smooth_shares`). The block's interval is widened by the
    scatter between places.

    Parameters
    ----------
    bud_checks : DataFrame or None
        Columns `buds_cut`, `primary_dead`, [`secondary_dead`], [geometry]. None or empty: nothing known, factor 1.
    method : str
        "cornell" (default), "michigan", "purdue" or "replace".
    panel_midpoints : (P, 2) array_like, optional
        Easting and northing of panels, m, in the CRS of the checks.
    variety : str
        Cultivar, for the crop of secondary buds where it is published.

    Raises
    ------
    DataError
        If the method is unknown or counts are impossible; with every bad row.
    """
    rule = injury_method(method)
    if bud_checks is None or not len(bud_checks):
        return Injury(rule, messages=(Message("injury.none"),))
    check_counts(bud_checks)
    cut = bud_checks["buds_cut"].to_numpy(dtype=np.int64)
    dead = bud_checks["primary_dead"].to_numpy(dtype=np.int64)
    share = float(dead.sum() / cut.sum())
    scatter = dispersion_of(dead, cut)
    low, high = share_interval(dead.sum(), cut.sum(), dispersion=scatter)
    enough = bool(cut.sum() >= FEWEST_BUDS)
    panels, differs_in_places = _map_places(bud_checks, dead, cut, panel_midpoints, seed) if enough else (None, False)
    stop = bool((share if enough else low) > rule.stop_above)
    acting = (share, low, high) if enough or stop else (0.0, 0.0, 0.0)
    factor, factor_low, factor_high = (float(rule.factor(value)) for value in acting)
    injury = Injury(
        method=rule,
        buds_cut=int(cut.sum()),
        primary_dead=int(dead.sum()),
        share=share,
        low=low,
        high=high,
        factor=factor,
        factor_low=factor_low,
        factor_high=factor_high,
        stop=stop,
        enough=enough,
        potential=crop_potential(bud_checks, variety),
        differs=panels is not None,
        panels=panels,
        panel_factor=None if panels is None else rule.factor(panels.share),
    )
    return _with_messages(injury, scatter, differs_in_places)


def check_counts(bud_checks: pd.DataFrame) -> None:
    """Raise a `DataError` with every row of bud checks whose counts are impossible."""
    problems = []
    has_secondary = "secondary_dead" in bud_checks
    for number, check in enumerate(bud_checks.to_dict("records"), start=1):
        cut, dead = check["buds_cut"], check["primary_dead"]
        second = check["secondary_dead"] if has_secondary else None
        for what in _count_faults(cut, dead, second):
            place = f"row {check.get('source_row', number)}"
            problems.append(Problem("", "bud_checks", place, what, "Check the count"))
    if problems:
        raise DataError(problems)


def crop_potential(bud_checks: pd.DataFrame, variety: str) -> float:
    """Crop potential left: live primaries, and live secondaries where the primary is dead at their share.

    ``P = live + crop_share * (dead primaries with a live secondary)`` (Howell 2002, eXtension Grapes; 35 % for
    Concord and Niagara). Dead secondaries are taken to lie under dead primaries, which die first. NaN where no
    share is published for the cultivar or no secondaries were counted.
    """
    crop_share = secondary_share(variety)
    if not np.isfinite(crop_share) or "secondary_dead" not in bud_checks:
        return float("nan")
    counted = bud_checks[bud_checks["secondary_dead"].notna()]
    if not len(counted):
        return float("nan")
    cut, dead = float(counted["buds_cut"].sum()), float(counted["primary_dead"].sum())
    second = np.minimum(counted["secondary_dead"].to_numpy(float), counted["primary_dead"].to_numpy(float))
    return (cut - dead + crop_share * (dead - float(second.sum()))) / cut


def zone_injury(injury: Injury, panel_zone: ArrayLike, panel_vines: ArrayLike) -> pd.DataFrame:
    """Injury of each zone: the mean of its panels weighted by vines, or the block's when it was not mapped.

    Parameters
    ----------
    panel_zone, panel_vines : (P,) array_like of int
        Zone (1..) and counted vines of each panel.

    Returns
    -------
    DataFrame indexed by zone: injury_share, injury_low, injury_high, injury_factor (NaN past the stop limit)
    """
    zones = np.asarray(panel_zone, dtype=int)
    vines = np.asarray(panel_vines, dtype=float)
    rows = []
    for zone in range(1, int(zones.max()) + 1):
        inside = zones == zone
        if injury.panels is None or vines[inside].sum() <= 0:
            share, low, high = injury.share, injury.low, injury.high
        else:
            share, low, high = (
                float(np.average(values[inside], weights=vines[inside]))
                for values in (injury.panels.share, injury.panels.low, injury.panels.high)
            )
        factor = float(injury.method.factor(share)) if injury.buds_cut and injury.enough else injury.factor
        rows.append((zone, share, low, high, factor))
    columns = ["zone", "injury_share", "injury_low", "injury_high", "injury_factor"]
    return pd.DataFrame(rows, columns=columns).set_index("zone")


def _count_faults(cut: Any, dead: Any, second: Any) -> list[str]:
    counts = {"buds_cut": cut, "primary_dead": dead}
    if second is not None and not pd.isna(second):
        counts["secondary_dead"] = second
    faults = []
    for name, value in counts.items():
        if pd.isna(value) or float(value) < 0 or float(value) != int(float(value)):
            faults.append(f"`{name}` is {value}, not a count")
    if faults:
        return faults
    if cut == 0:
        return ["no buds were cut"]
    return [
        f"{int(value)} in `{name}` is more than the {int(cut)} buds cut" for name, value in counts.items() if value > cut
    ]


def _map_places(
    bud_checks: pd.DataFrame, dead: NDArray, cut: NDArray, midpoints: ArrayLike | None, seed: int
) -> tuple[Shares | None, bool]:
    differ = alike_p(dead, cut, seed=seed) < DIFFER_P
    if not differ or midpoints is None or "geometry" not in bud_checks:
        return None, differ
    located = np.array([place is not None and not place.is_empty for place in bud_checks["geometry"]])
    if located.sum() < 2:
        return None, differ
    points = [place.centroid for place, known in zip(bud_checks["geometry"], located, strict=True) if known]
    places = np.array([(point.x, point.y) for point in points])
    shares = smooth_shares(dead[located], cut[located], places, np.asarray(midpoints, dtype=float))
    return (shares if np.isfinite(shares.reach_m) else None), differ


def _with_messages(injury: Injury, scatter: float, differ: bool) -> Injury:
    said = [
        Message(
            "injury.found",
            {
                "dead": injury.primary_dead,
                "cut": injury.buds_cut,
                "percent": 100 * injury.share,
                "low_percent": 100 * injury.low,
                "high_percent": 100 * injury.high,
            },
        ),
        _method_message(injury),
    ]
    if differ:
        said.append(Message("injury.mapped" if injury.differs else "injury.differ_unmapped"))
    if injury.panel_factor is not None and np.isnan(injury.panel_factor).any() and not injury.stop:
        said.append(Message("injury.stop_in_parts", {"limit_percent": 100 * injury.method.stop_above}))
    if injury.enough and not injury.stop and not np.isfinite(injury.factor_high):
        said.append(Message("injury.stop_possible", {"limit_percent": 100 * injury.method.stop_above}))
    if scatter > 1.0:
        said.append(Message("injury.widened", {"times": float(np.sqrt(scatter))}))
    if np.isfinite(injury.potential):
        said.append(Message("injury.potential", {"percent": 100 * injury.potential}))
    said.append(Message("injury.clustered"))
    return replace(injury, messages=tuple(said))


def _method_message(injury: Injury) -> Message:
    method = injury.method
    if injury.stop:
        return Message("injury.stop", {"method": method.title, "limit_percent": 100 * method.stop_above})
    if not injury.enough:
        return Message("injury.too_few", {"cut": injury.buds_cut, "dead": injury.primary_dead, "wanted": FEWEST_BUDS})
    ceiling = float(method.factor(method.stop_above))
    high = injury.factor_high if np.isfinite(injury.factor_high) else ceiling
    fields = {
        "method": method.title,
        "percent": 100 * (injury.factor - 1),
        "low_percent": 100 * (injury.factor_low - 1),
        "high_percent": 100 * (high - 1),
        "kept_percent": 100 * injury.factor * (1 - injury.share),
    }
    return Message("injury.nothing_added" if injury.factor == 1.0 else "injury.added", fields)
