"""One balanced-pruning rule: what it says, in which unit, and how it is written in figures."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geoprune.errors import DataError, Message, Problem
from geoprune.units import KG_PER_LB

Floats = NDArray[np.float64]

#: How a figure is known.
TAGS = ("read", "second-hand", "memory", "practice", "own", "given")
#: Weight units a rule may be written in, and their size.
RULE_UNITS: dict[str, float] = {"lb": KG_PER_LB, "kg": 1.0}
#: More buds than this for one unit of weight is taken for a slip of the pen.
MOST_BUDS_PER_LB = 200.0

UNIT_WORDS = {"lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb", "kg": "kg", "kilogram": "kg"}
_NUMBER = r"(\d+(?:\.\d+)?)"
_SUM = re.compile(rf"^{_NUMBER}\s*\+\s*{_NUMBER}(?:\s*(?:/|per)\s*([a-z]+))?$")
_RATE = re.compile(rf"^{_NUMBER}\s*(?:/|per)\s*([a-z]+)$")


@dataclass(frozen=True)
class Rule:
    """Buds left for a vine's pruning weight: `first` for the first unit, `further` for each one after it.

    Attributes
    ----------
    id : str
        The name a block calls it by.
    title : str
        What it is for, in words.
    first, further : float
        Buds for the first and for each further unit of weight.
    unit : str
        "lb" or "kg"; a rule is never re-rounded into the other unit.
    group, validity, thinning : str
        Grape group, where and when the rule holds, whether its source names extra thinning.
    cultivars, aliases : tuple of str
        Cultivars it is meant for; other names it may be called by.
    source, tag : str
        Where it was published, and how it is known (one of `TAGS`).
    floor, cap : float or None
        Fewest and most buds per vine, if the rule names them.
    unit_buds : int
        Buds of each bearing unit in the trial the rule comes from, on vines of `unit_training`; 0 where it names none.
    unit_training : str
    cautions : tuple of Message
        What must be said when it is used on this block; filled in by `RuleBook.resolve`.
    """

    id: str
    title: str
    first: float
    further: float
    unit: str
    source: str
    tag: str
    group: str = ""
    validity: str = ""
    thinning: str = ""
    cultivars: tuple[str, ...] = ()
    aliases: tuple[str, ...] = ()
    floor: float | None = None
    cap: float | None = None
    unit_buds: int = 0
    unit_training: str = ""
    cautions: tuple[Message, ...] = ()

    @property
    def text(self) -> str:
        """The rule in figures: "20+20", "44/kg", "30+10/kg"."""
        if self.unit == "lb":
            return f"{self.first:g}+{self.further:g}"
        if self.first == self.further:
            return f"{self.first:g}/{self.unit}"
        return f"{self.first:g}+{self.further:g}/{self.unit}"

    @property
    def name(self) -> str:
        """The name it goes by in results: its id, which is its figures when it was given in figures."""
        return self.id

    @property
    def unit_kg(self) -> float:
        """Size of the rule's weight unit in kg (exact)."""
        return RULE_UNITS[self.unit]

    def buds(self, weight_kg: ArrayLike) -> Floats:
        """Buds for a pruning weight, before injury, floor and cap; unrounded.

        ``n = first * min(w, 1) + further * max(w - 1, 0)`` with w the weight in the rule's unit: linear
        between units (common practice, no source) and prorated below the first, so that it is continuous
        there (a choice: no source settles it).

        Parameters
        ----------
        weight_kg : array_like
            Pruning weight per vine, kg, any shape. NaN stays NaN.

        Returns
        -------
        ndarray of float, same shape

        Raises
        ------
        ValueError
            If a weight is negative.

        Examples
        --------
        >>> float(parse_rule("30+10").buds(3 * 0.45359237))
        50.0
        """
        weight = np.asarray(weight_kg, dtype=float) / self.unit_kg
        if np.any(weight < 0):
            raise ValueError("a pruning weight is negative")
        return self.first * np.minimum(weight, 1.0) + self.further * np.maximum(weight - 1.0, 0.0)

    def per_unit(self, unit: str) -> tuple[float, float, float]:
        """The same rule in another unit: weight of its first step, buds per unit within it, and after it.

        An exact conversion: in kg, 30+10 gives 66.14 buds per kg up to 0.454 kg and 22.05 per further kg.
        """
        scale = RULE_UNITS[unit] / self.unit_kg
        return 1.0 / scale, self.first * scale, self.further * scale


def parse_rule(text: str) -> Rule:
    """Return the rule written in figures, such as "20+20", "30+10/kg", "44/kg" or "20 per lb".

    Raises
    ------
    DataError
        If the text is not of that form, or its figures are impossible.
    """
    rule = figures_rule(text)
    if rule is None:
        raise single_problem(f"'{text}' is not a rule in figures", "Write it like '20+20' or '44/kg'")
    return rule


def is_figures(text: str) -> bool:
    """Return whether a text has the form of a rule in figures."""
    plain = _plain(text)
    return bool(_SUM.match(plain) or _RATE.match(plain))


def figures_rule(text: str) -> Rule | None:
    """Return the rule a text writes in figures, or None when it has not that form."""
    folded = _plain(text)
    if match := _SUM.match(folded):
        first, further, unit = float(match[1]), float(match[2]), match[3] or "lb"
    elif match := _RATE.match(folded):
        first = further = float(match[1])
        unit = match[2]
    else:
        return None
    if unit not in UNIT_WORDS:
        raise single_problem(f"the rule '{folded}' counts per '{unit}'", "Count buds per lb or per kg")
    rule = Rule(folded, folded, first, further, UNIT_WORDS[unit], "as given for the block", "given")
    if faults := impossible(rule):
        raise single_problem(f"the rule '{folded}' is impossible: {faults}", "Check the figures, such as '20+20'")
    return replace(rule, id=rule.text, title=rule.text)


def impossible(rule: Rule) -> str:
    """Say what makes a rule's figures impossible, or "" when nothing does."""
    most = MOST_BUDS_PER_LB * rule.unit_kg / KG_PER_LB
    if rule.first <= 0:
        return "no buds for the first unit of weight"
    if rule.further < 0:
        return "fewer buds for a larger vine"
    if max(rule.first, rule.further) > most:
        return f"more than {most:.0f} buds per {rule.unit}"
    if rule.floor is not None and rule.cap is not None and rule.floor > rule.cap:
        return "the floor lies above the cap"
    if min(rule.floor or 0.0, rule.cap if rule.cap is not None else 1.0) < 0 or rule.cap == 0:
        return "a floor or cap that is negative or zero"
    return ""


def _plain(text: str) -> str:
    return " ".join(str(text).casefold().split())


def fold(text: str) -> str:
    """Bring a name to lower case with single spaces, no hyphens and no commas, for comparing."""
    return " ".join(re.sub("[-_,]", " ", str(text).casefold()).split())


def rule_names(rule: Rule) -> set[str]:
    """All folded names a rule answers to."""
    return {fold(name) for name in (rule.id, rule.title, *rule.aliases)}


def single_problem(what: str, mend: str, *, file: str = "", row: str = "") -> DataError:
    """Return a `DataError` with one problem, of a file or else of the blocks layer."""
    return DataError([Problem(file, "" if file else "blocks", row, what, mend)])
