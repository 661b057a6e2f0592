"""The buds a vine of a given size needs: the rule, then bud injury, then floor and cap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geoprune.errors import DataError, Message, Problem
from geoprune.rules.rule import Floats, Rule
from geoprune.units import KG_PER_LB

#: Below this a vine is flagged as very small. A design choice: no published rule settles small vines.
LOW_SIZE_KG = 0.5 * KG_PER_LB
#: Below this a vine is one to renew, without a crop. A design choice, as above.
RENEW_BELOW_KG = 0.25 * KG_PER_LB


@dataclass(frozen=True, eq=False)
class BudNeed:
    """Buds needed as a function of vine size, for one block.

    Attributes
    ----------
    rule : Rule
    injury_factor : float or (P,) ndarray
        Multiplies the rule's count; one number for the block, or one per panel. 1 where nothing is known.
    floor, cap : float or None
        Fewest and most buds per vine, applied last, the cap after the floor. None takes the rule's own.
    low_size_kg, renew_below_kg : float
        Limits of the flag "very small vine" and of the class "renew, no crop", kg per vine.

    Examples
    --------
    >>> from geoprune.rules import parse_rule
    >>> BudNeed(parse_rule("30+10"), injury_factor=1.25)(2.4 * KG_PER_LB).round(6).item()
    55.0
    """

    rule: Rule
    injury_factor: float | Floats = 1.0
    floor: float | None = None
    cap: float | None = None
    low_size_kg: float = LOW_SIZE_KG
    renew_below_kg: float = RENEW_BELOW_KG

    def __post_init__(self) -> None:
        if self.floor is None:
            object.__setattr__(self, "floor", self.rule.floor)
        if self.cap is None:
            object.__setattr__(self, "cap", self.rule.cap)
        problems = _limit_problems(self.floor, self.cap, self.renew_below_kg, self.low_size_kg)
        if np.any(np.asarray(self.injury_factor) < 0) or np.ndim(self.injury_factor) > 1:
            problems.append(_option_problem("the injury factor is negative or not one per panel"))
        if problems:
            raise DataError(problems)

    def __call__(self, weights_kg: ArrayLike) -> Floats:
        """Buds per vine after injury, floor and cap; unrounded.

        Weights below the renew limit are counted in proportion like all others, because a zone's number is a
        mean over its vines; `is_renew` says which vines should carry no crop.

        Parameters
        ----------
        weights_kg : array_like
            Vine sizes, kg; the first axis is the panels when the injury factor is one per panel.

        Returns
        -------
        ndarray of float, same shape; NaN where the weight or the injury factor is NaN

        Raises
        ------
        ValueError
            If a weight is negative, or the first axis does not match the injury factors.
        """
        weights = np.asarray(weights_kg, dtype=float)
        buds = self.rule.buds(weights) * self._factor(weights)
        if self.floor is not None:
            buds = np.maximum(buds, self.floor)
        if self.cap is not None:
            buds = np.minimum(buds, self.cap)
        return buds

    def is_renew(self, weights_kg: ArrayLike) -> NDArray[np.bool_]:
        """Return which vines should be renewed and carry no crop."""
        return np.asarray(weights_kg, dtype=float) < self.renew_below_kg

    @property
    def renew_limit(self) -> dict[str, float]:
        """The limit for renewing as sentences take it: in pounds and kilograms side by side."""
        return {"pounds": self.renew_below_kg / KG_PER_LB, "kilograms": self.renew_below_kg}

    @property
    def flag_renew(self) -> Message:
        """The flag of vines to renew, with the limit."""
        return Message("rules.flag_renew", self.renew_limit)

    def explain(self, weight_kg: float, *, panel: int | None = None) -> tuple[Message, ...]:
        """Tell in steps how a vine of this size comes to its number of buds.

        `panel` (position, 0-based) is needed when the injury factor is one per panel.
        """
        factor = self._one_factor(panel)
        buds = float(self.rule.buds(weight_kg)) * factor
        said, shown = [self._rule_step(weight_kg)], self._as_shown(weight_kg)  # each step goes on from what is shown
        before, after = shown, {units: count * factor for units, count in shown.items()}
        if factor != 1.0:
            said.append(Message("injury.step_factor", {"percent": 100 * (factor - 1), "before": before, "buds": after}))
        if self.floor is not None and buds < self.floor:
            said.append(Message("rules.step_floor", {"before": after, "floor": self.floor}))
            buds, after = self.floor, dict.fromkeys(after, self.floor)
        if self.cap is not None and buds > self.cap:
            said.append(Message("rules.step_cap", {"before": after, "cap": self.cap}))
        return (*said, *self.size_flags(weight_kg))

    def size_flags(self, weight_kg: float) -> tuple[Message, ...]:
        """The flag a vine of this size carries, if any."""
        if weight_kg < self.renew_below_kg:
            return (self.flag_renew,)
        if weight_kg < self.low_size_kg:
            return (Message("rules.flag_low", {"limit_kg": self.low_size_kg}),)
        return ()

    def _rule_step(self, weight_kg: float) -> Message:
        key = "rules.step_prorated" if weight_kg < self.rule.unit_kg else "rules.step_rule"
        return Message(key, {"rule": self.rule.text, "vine_size_exact_kg": weight_kg, "buds": self._as_shown(weight_kg)})

    def _as_shown(self, weight_kg: float) -> dict[str, float]:
        """The rule's count for the weight as each reader sees it, so that a reader who counts it again gets the same."""
        shown = {"us": round(weight_kg / KG_PER_LB, 2) * KG_PER_LB, "metric": round(weight_kg, 3)}
        return {units: float(self.rule.buds(weight)) for units, weight in shown.items()}

    def _factor(self, weights: Floats) -> float | Floats:
        if np.ndim(self.injury_factor) == 0:
            return float(self.injury_factor)
        factors = np.asarray(self.injury_factor, dtype=float)
        if weights.ndim == 0 or len(weights) != len(factors):
            raise ValueError(f"{len(factors)} injury factors do not match weights of shape {weights.shape}")
        return factors.reshape(-1, *(1,) * (weights.ndim - 1))

    def _one_factor(self, panel: int | None) -> float:
        if np.ndim(self.injury_factor) == 0:
            return float(self.injury_factor)
        if panel is None:
            raise ValueError("the injury factor is one per panel: say which panel")
        return float(np.asarray(self.injury_factor)[panel])


def _option_problem(what: str) -> Problem:
    return Problem("", "", "options", what, "Check the figures given")


def _limit_problems(floor: float | None, cap: float | None, renew_below_kg: float, low_size_kg: float) -> list[Problem]:
    problems = []
    if floor is not None and not floor >= 0:
        problems.append(_option_problem(f"the floor of {floor:g} buds is negative"))
    if cap is not None and not cap > 0:
        problems.append(_option_problem(f"the cap of {cap:g} buds is not above zero"))
    if floor is not None and cap is not None and floor > cap:
        problems.append(_option_problem(f"the floor of {floor:g} buds lies above the cap of {cap:g}"))
    if not 0 <= renew_below_kg <= low_size_kg:
        problems.append(_option_problem("the limit for renewing lies above the limit for very small vines"))
    return problems
