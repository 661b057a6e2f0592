"""Pruning rules as data, winter bud injury, and the count told as canes and spurs."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import beta

from geoprune.errors import DataError, Problem
from geoprune.units import KG_PER_LB

Floats = NDArray[np.float64]
#: What every map and sheet says.
CAUTIONS = {
    "en": (
        "The number is a guide: look at each vine before you cut.",
        "Wear eye protection and gloves; keep shears sharp, locked when carried; rest and change tasks.",
        "Prune in dry weather; keep wounds small; take dead and diseased wood out.",
        "Local rules and a licensed adviser come first.",
    ),
    "es": (
        "El número es una guía: mire cada cepa antes de cortar.",
        "Use lentes y guantes; tijeras afiladas y cerradas al llevarlas; descanse y cambie de tarea.",
        "Pode con tiempo seco; heridas pequeñas; saque la madera muerta o enferma.",
        "Primero van las reglas locales y un asesor con licencia.",
    ),
}


@dataclass(frozen=True)
class Rule:
    """`first` buds for the first pound of prunings, `further` for each pound after it."""

    name: str
    first: float
    further: float
    source: str

    def buds(self, weight_kg: Floats) -> Floats:
        """Buds for prunings in kg: first*w up to one pound (prorated), then first + further*(w - 1).

        Linear between pounds: common practice, no source. Prorating below one pound is a design choice.
        """
        pounds = np.asarray(weight_kg, dtype=float) / KG_PER_LB
        return np.where(pounds <= 1.0, self.first * pounds, self.first + self.further * (pounds - 1.0))


def load_rules() -> dict[str, dict[str, object]]:
    """Named rules with their sources, by name."""
    return tomllib.loads(files("geoprune.rules").joinpath("rules.toml").read_text(encoding="utf-8"))


def resolve_rule(text: str, *, block: str = "") -> Rule:
    """Turn "20+20", "44/kg" or a rule's name into a `Rule`.

    Raises
    ------
    DataError
        For an unknown or missing rule; the nearest names are suggested, none is guessed.
    """
    plus = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*\+\s*(\d+(?:\.\d+)?)\s*", text)
    if plus:
        return Rule(text.strip(), float(plus[1]), float(plus[2]), "given in the vineyard file")
    per_kg = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*/\s*kg\s*", text)
    if per_kg:
        each = float(per_kg[1]) * KG_PER_LB
        return Rule(text.strip(), each, each, "given in the vineyard file")
    rules = load_rules()
    key = re.sub(r"[\s_]+", "-", text.strip().lower())
    if key in rules:
        entry = rules[key]
        return Rule(key, float(str(entry["first"])), float(str(entry["further"])), str(entry["source"]))
    near = get_close_matches(key, rules, n=3, cutoff=0.0)
    mend = f"Write it like 20+20, or name one of: {', '.join(near)}"
    raise DataError([Problem("", "blocks", f"block '{block}'", f"unknown rule '{text}'", mend)])


@dataclass(frozen=True)
class Injury:
    """Winter bud injury: share of dead primaries, exact 95 % interval, factor on the count, stop."""

    share: float
    low: float
    high: float
    factor: float
    stop: bool
    buds_cut: int


def assess_injury(bud_checks: pd.DataFrame | None) -> Injury:
    """Pool the counts of a block and apply the Cornell rule (Martinson 2014, Cornell Cooperative Extension).

    Under 20 % nothing is added, 20-80 % the share is added to the count (35 % -> 35 % more), over 80 % no number.
    It is the default because it is the most complete of the rules in print. Interval: Clopper & Pearson 1934; buds
    of one cane are not independent, so the true error is larger.
    """
    if bud_checks is None or not len(bud_checks):
        return Injury(float("nan"), float("nan"), float("nan"), 1.0, False, 0)
    cut, dead = int(bud_checks["buds_cut"].sum()), int(bud_checks["primary_dead"].sum())
    share = dead / cut
    low = 0.0 if dead == 0 else float(beta.ppf(0.025, dead, cut - dead + 1))
    high = 1.0 if dead == cut else float(beta.ppf(0.975, dead + 1, cut - dead))
    return Injury(share, low, high, 1.0 + share if share >= 0.2 else 1.0, share > 0.8, cut)


def bud_need(rule: Rule, injury: Injury) -> Callable[[Floats], Floats]:
    """Buds each vine needs, from its weight in kg: the rule, then the injury factor."""
    return lambda weight_kg: rule.buds(weight_kg) * injury.factor


#: Training -> (canes, renewal spurs of 2 buds); None = cordon with 2-bud spurs. Common practice, no source.
CANES: dict[str, tuple[int, int] | None] = {
    "top-wire cordon": None,
    "low cordon": None,
    "divided horizontal": None,
    "flat cane": (2, 2),
    "arched cane": (4, 2),
    "four-cane": (4, 4),
    "divided vertical": (4, 2),
}


def recipe(buds: int, training: str) -> str:
    """How a count is left on the vine, in figures that add up to it exactly: "4 x 8 + 4 x 2".

    Renewal spurs count: they are taken off first, the rest is shared among the canes.
    """
    shape = CANES[training]
    if shape is None:
        return f"{buds // 2} x 2" + (" + 1" if buds % 2 else "")
    canes, spurs = shape
    rest = buds - 2 * spurs
    if rest < canes:
        return f"{buds // 2} x 2" + (" + 1" if buds % 2 else "")
    short, longer = rest // canes, rest % canes
    parts = [f"{longer} x {short + 1}"] if longer else []
    return " + ".join([*parts, f"{canes - longer} x {short}", f"{spurs} x 2"])
