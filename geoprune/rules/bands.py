"""Published bands of vine balance as data, and the indices they are for."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geoprune.rules.rule import fold
from geoprune.units import KG_PER_LB, M_PER_FT, MM_PER_IN

Floats = NDArray[np.float64]

#: A bull cane: thicker than 1/2 in, internodes of 5 in or more (eXtension Grapes, What are "bull" canes).
BULL_DIAMETER_MM = 0.5 * MM_PER_IN
BULL_INTERNODE_MM = 5.0 * MM_PER_IN

#: Values this close (relative) to an end lie on it: unit conversions round.
_SLACK = 1e-9
#: Units bands are printed in, and their size in the unit figures are in (kg/m, per m, g, mm, ratio).
_UNITS = {
    "kg/m": 1.0,
    "lb/ft": KG_PER_LB / M_PER_FT,
    "per m": 1.0,
    "per ft": 1.0 / M_PER_FT,
    "g": 1.0,
    "in": MM_PER_IN,
    "1": 1.0,
}


#: Canopies whose shoots do not stand in a wall along the row: head-trained vines and overhead arbours.
NO_WALL = ("head", "overhead")


@dataclass(frozen=True)
class Band:
    """A published range of one index, in kg/m, per m, g, mm or as a ratio; an open end is infinite.

    See `bands.toml` for the meaning of the other keys.
    """

    index: str
    canopy: str
    low: float
    high: float
    validity: str
    decides: bool
    source: str
    tag: str
    per: str = ""
    cultivars: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()

    def place(self, value: float) -> str:
        """Return "below", "inside" or "above"; the ends are inside. A NaN value is "unknown"."""
        if not np.isfinite(value):
            return "unknown"
        if value < self.low * (1 - _SLACK):
            return "below"
        return "above" if value > self.high * (1 + _SLACK) else "inside"


@cache
def load_bands() -> tuple[Band, ...]:
    """All published bands, in SI."""
    data = tomllib.loads(files("geoprune.rules").joinpath("bands.toml").read_text("utf-8"))
    return tuple(_band(entry) for entry in data["band"])


def find_bands(index: str, *, canopy: str = "single", variety: str = "", kind: str = "winegrape") -> tuple[Band, ...]:
    """Bands that apply to a canopy ("single", "divided horizontal", "divided vertical"), a cultivar and a kind of grape.

    Of a canopy that is no wall along the row (`NO_WALL`) nothing per metre is judged: all such bands were read on walls.
    `kind` is "winegrape", "American" or "" where it is not known; `grape_kind` finds it. Empty where none is published.
    """
    return tuple(
        band
        for band in load_bands()
        if band.index == index
        and band.canopy in ("any", canopy)
        and not (band.per and canopy in NO_WALL)
        and (not band.kinds or kind in band.kinds)
        and (not band.cultivars or fold(variety) in map(fold, band.cultivars))
    )


def grape_kind(group: str) -> str:
    """What kind of grape a group of the rule book is: "winegrape", "American", or "" where it is not known.

    Seedless table grapes of the eastern United States are pruned as American ones (Smith 2023: 30+10 for both).
    """
    if group in ("Vinifera", "French hybrids", "New hybrids"):
        return "winegrape"
    return "American" if group in ("American", "Seedless table") else ""


def cane_weight_g(weight_kg_m: ArrayLike, canes_per_m: ArrayLike) -> Floats:
    """Mean cane weight, g: 1000 x pruning weight per m / canes per m of the same length.

    Never mix a mean per vine with one per metre of another spacing.
    """
    return 1000.0 * np.asarray(weight_kg_m, dtype=float) / np.asarray(canes_per_m, dtype=float)


def crop_load(yield_kg: ArrayLike, pruning_weight_kg: ArrayLike, *, pruning: str = "hand") -> Floats:
    """Crop load (Ravaz index): yield over pruning weight of the same vines.

    Refused, as NaN, for `pruning` "minimal": minimally pruned vines give 48-55, which means nothing (Kliewer &
    Dokoozlian 2005, tables 4 and 5).
    """
    ratio = np.asarray(yield_kg, dtype=float) / np.asarray(pruning_weight_kg, dtype=float)
    return np.full_like(ratio, np.nan) if pruning == "minimal" else ratio


def _band(entry: dict[str, Any]) -> Band:
    size = _UNITS[entry["unit"]]
    fields = {key: value for key, value in entry.items() if key not in ("unit", "low", "high", "cultivars", "kinds")}
    return Band(
        low=entry["low"] * size if "low" in entry else float("-inf"),
        high=entry["high"] * size if "high" in entry else float("inf"),
        cultivars=tuple(entry.get("cultivars", ())),
        kinds=tuple(entry.get("kinds", ())),
        **fields,
    )
