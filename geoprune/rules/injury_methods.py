"""Published ways to allow for winter bud injury, as data, and how many buds to cut."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from geoprune.errors import DataError, Problem
from geoprune.rules.rule import fold

Floats = NDArray[np.float64]

#: The rule used when none is named: the most complete in print, with its limits for "add nothing" and "stop",
#: no gap and no overlap between them, and read in the original (Martinson 2014, Cornell).
DEFAULT_METHOD = "cornell"


@dataclass(frozen=True)
class InjuryMethod:
    """A published way to allow for dead buds; see `injury.toml` for the meaning of the keys."""

    id: str
    title: str
    form: str
    add_from: float
    stop_above: float
    choice: str
    source: str
    tag: str
    steps: tuple[tuple[float, float], ...] = ()

    def factor(self, share: ArrayLike) -> Floats:
        """What the count is multiplied by; NaN above the stop limit, where there is no number.

        Parameters
        ----------
        share : array_like
            Share of primary buds dead, 0 to 1, any shape. NaN gives NaN.
        """
        m = np.asarray(share, dtype=float)
        if self.form == "step":
            limits = np.array([limit for limit, _ in self.steps])
            factors = np.array([*(factor for _, factor in self.steps), np.nan])
            found = factors[np.searchsorted(limits, m, side="left")]
        elif self.form == "add":
            found = np.where(m >= self.add_from, 1.0 + m, 1.0)
        else:
            found = np.where(m >= self.add_from, 1.0 / np.maximum(1.0 - m, 1e-9), 1.0)
        return np.where(m <= self.stop_above, found, np.nan)


@cache
def load_methods() -> dict[str, InjuryMethod]:
    """Published ways to allow for bud injury, by name."""
    methods = {}
    for entry in _injury_data()["method"]:
        steps = tuple((float(limit), float(factor)) for limit, factor in entry.get("steps", ()))
        methods[entry["id"]] = InjuryMethod(**{**entry, "steps": steps})
    return methods


def injury_method(name: str) -> InjuryMethod:
    """Return the method of that name.

    Raises
    ------
    DataError
        If there is none; the nearest is suggested.
    """
    methods = load_methods()
    if fold(name) in methods:
        return methods[fold(name)]
    near = ", ".join(get_close_matches(fold(name), methods, n=2, cutoff=0.3) or methods)
    raise DataError([Problem("", "", "bud injury", f"there is no rule '{name}' for bud injury", f"Use one of: {near}")])


def secondary_share(variety: str) -> float:
    """Crop of a live secondary bud as a share of the primary's, where published; else NaN."""
    for entry in _injury_data()["secondary"]:
        if fold(variety) in map(fold, entry["cultivars"]):
            return float(entry["crop_share"])
    return float("nan")


def buds_to_cut(precision: float, share: float = 0.5, *, confidence: float = 0.95, cluster_factor: float = 1.0) -> int:
    """How many buds to cut for an interval of +- `precision` about `share`.

    ``n = share (1 - share) (z / precision)^2 x cluster_factor``, rounded up; the cluster factor allows for buds of
    one cane being alike.
    """
    z = float(ndtri(0.5 + confidence / 2))
    return int(np.ceil(share * (1 - share) * (z / precision) ** 2 * cluster_factor - 1e-9))


def buds_to_cut_table(*, cluster_factor: float = 1.0) -> list[dict[str, float]]:
    """Rows of how many buds to cut: share expected dead, half-width of the 95 % interval, buds."""
    return [
        {
            "share": share,
            "precision": precision,
            "buds": buds_to_cut(precision, share, cluster_factor=cluster_factor),
        }
        for share in (0.15, 0.20, 0.35, 0.50)
        for precision in (0.15, 0.10, 0.075, 0.05)
    ]


@cache
def _injury_data() -> dict[str, Any]:
    return tomllib.loads(files("geoprune.rules").joinpath("injury.toml").read_text("utf-8"))
