"""The count as wood: so many canes of so many buds, so many spurs, on a given trellis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from geoprune.errors import DataError, Message, Problem
from geoprune.rules.training import Training, find_training
from geoprune.rules.wood import CANE_FROM, Part, Wood, cane_wood, countable, even_counts, in_units, share_out, spur_wood

#: Vine spacings outside this range are taken for a slip of the pen, m.
SPACING_RANGE_M = (0.3, 10.0)
#: What wood can be: lengths in m, and numbers, which are whole where their limits are.
WOOD_LIMITS: dict[str, tuple[float, float]] = {
    "cordon_length_m": (0.2, 20.0),
    "spur_spacing_m": (0.03, 1.0),
    "cane_length_m": (0.2, 5.0),
    "node_spacing_m": (0.02, 0.3),
    "buds_per_spur": (1, 8),
    "canes": (1, 12),
    "buds_per_cane": (CANE_FROM, 40),
    "renewal_spurs": (0, 20),
    "buds_per_renewal_spur": (1, 3),
}
#: No vine is left more buds than these: a slip of the pen (design choice).
MOST_BUDS = 1000


@dataclass(frozen=True)
class Recipe:
    """How a count is left on the vine.

    Attributes
    ----------
    training : Training
    requested, total : int
        Buds asked for, and buds of the parts; they are equal when `exact`.
    parts : tuple of Part
        Canes or spurs first, renewal spurs last. Empty when the buds do not fit.
    fits, exact : bool
        Whether the buds fit the wood, and whether the parts add up to the count exactly.
    capacity : int
        Most buds that fit.
    below, above : int or None
        Nearest counts with all canes (or spurs) alike, below and above the count.
    buds_per_m_row, buds_per_m_canopy : float
        Of the count asked for. A divided canopy has 2 m of canopy per m of row.
    spur_spacing_m : float
        Mean distance from spur to spur along the cordon; NaN for canes.
    reasons : tuple of Message
        Why it does not fit, is not exact, or what to mind.
    """

    training: Training
    requested: int
    total: int
    parts: tuple[Part, ...]
    fits: bool
    exact: bool
    capacity: int
    below: int | None
    above: int | None
    buds_per_m_row: float
    buds_per_m_canopy: float
    spur_spacing_m: float
    reasons: tuple[Message, ...] = ()

    @property
    def text(self) -> str:
        """The parts in figures: "4 × 9 + 2 × 2"; "" when there are none."""
        return " + ".join(f"{part.count} × {part.buds}" for part in self.parts)

    @property
    def sentence(self) -> Message:
        """The parts as a sentence for any language."""
        main = [part for part in self.parts if part.kind != "renewal"]
        renewal = [part for part in self.parts if part.kind == "renewal"]
        if not main:
            return Message("recipe.does_not_fit" if not self.fits else "recipe.no_wood", self._fields())
        fields = self._fields() | {"pieces": main[0].count, "buds_each": main[0].buds}
        key = "canes" if main[0].kind == "cane" else "spurs"
        if len(main) > 1:
            key += "_mixed"
            fields |= {"more_pieces": main[1].count, "more_buds_each": main[1].buds}
        if renewal:
            key += "_renewal"
            fields |= {"renewal_spurs": renewal[0].count, "buds_per_renewal_spur": renewal[0].buds}
        return Message(f"recipe.{key}", fields)

    @property
    def messages(self) -> tuple[Message, ...]:
        """The parts, the buds per length of row and of canopy, and the nearest counts with all pieces alike."""
        lengths = {"row_per_m": self.buds_per_m_row, "canopy_per_m": self.buds_per_m_canopy}
        said = [self.sentence, Message("recipe.per_length", lengths)]
        counts = [count for count in (self.below, self.above) if count is not None]
        alike = len({part.buds for part in self.parts if part.kind != "renewal"}) == 1
        if not alike and len(counts) == 2:
            said.append(Message("recipe.nearest_two", {"below": counts[0], "above": counts[1]}))
        elif not alike and counts:
            said.append(Message("recipe.nearest_one", {"nearest": counts[0]}))
        return tuple(said)

    def count(self, kind: str) -> int:
        """Pieces of one kind: "cane", "spur" or "renewal"."""
        return sum(part.count for part in self.parts if part.kind == kind)

    def _fields(self) -> dict[str, int]:
        return {"buds": self.requested, "total": self.total, "capacity": self.capacity}


def fit_recipe(
    buds: int,
    training: str | Training,
    vine_spacing_m: float,
    *,
    cordon_length_m: float | None = None,
    spur_spacing_m: float | None = None,
    buds_per_spur: int | None = None,
    cane_length_m: float | None = None,
    node_spacing_m: float | None = None,
    canes: int | None = None,
    buds_per_cane: int | None = None,
    renewal_spurs: int | None = None,
    buds_per_renewal_spur: int | None = None,
    unit_buds: int = 0,
) -> Recipe:
    """Turn a count into whole canes and spurs that add up to it on this trellis.

    Renewal spurs are counted: their buds are taken off first and the rest is shared among the canes (common
    advice, gardenguides.com, second-hand). Pieces differ by one bud at most. A count that fits is met exactly,
    unless `buds_per_cane` or `buds_per_spur` is fixed: then the nearest whole number of pieces is prescribed.

    Parameters
    ----------
    buds : int
        Buds per vine.
    training : str or Training
        A name that `find_training` knows, or a training of `load_trainings`.
    vine_spacing_m : float
        Spacing of vines in the row, m.
    cordon_length_m, spur_spacing_m, cane_length_m, node_spacing_m : float, optional
        Lengths of this vineyard, m; the training's own are used where none is given.
    buds_per_spur, canes, buds_per_cane, renewal_spurs, buds_per_renewal_spur : int, optional
        Fixed by the grower; else chosen within what the training allows.
    unit_buds : int
        Buds of each bearing unit in the trial that the block's rule comes from; 0 where it names none. Aimed at where
        the training allows it, and the grower has not fixed the pieces.

    Returns
    -------
    Recipe

    Raises
    ------
    DataError
        If the training is unknown, the count negative, or a length or number absurd; with all faults.

    Examples
    --------
    >>> fit_recipe(40, "four-cane", 2.4).text
    '4 × 8 + 4 × 2'
    """
    given = {
        "cordon_length_m": cordon_length_m,
        "spur_spacing_m": spur_spacing_m,
        "buds_per_spur": buds_per_spur,
        "cane_length_m": cane_length_m,
        "node_spacing_m": node_spacing_m,
        "canes": canes,
        "buds_per_cane": buds_per_cane,
        "renewal_spurs": renewal_spurs,
        "buds_per_renewal_spur": buds_per_renewal_spur,
    }
    system = find_training(training)
    _check(buds, {"vine_spacing_m": vine_spacing_m, **given})
    wood = _find_wood(system, vine_spacing_m, given, unit_buds)
    return _recipe(int(buds), system, wood, vine_spacing_m)


def countable_counts(
    training: str | Training, vine_spacing_m: float, *, unit_buds: int = 0, **wood: float
) -> tuple[int, ...]:
    """Counts that a crew keeps count of on this wood, rising: all canes, or all spurs, alike.

    Of four canes or more the upper half may be a bud longer than the lower. Any other count is left with a bud more on some
    pieces, which a pruner has to think about at every vine (a design choice). The steps are those of the wood: a bud more
    on every cane or every second, or a spur more.

    Parameters
    ----------
    training, vine_spacing_m, unit_buds
        As for `fit_recipe`.
    **wood : float
        Lengths and numbers of this vineyard's wood, keywords of `fit_recipe`.

    Raises
    ------
    DataError
        As `fit_recipe`.

    Examples
    --------
    >>> countable_counts("four-cane", 2.4)[-6:]
    (58, 60, 62, 64, 66, 68)
    """
    system = find_training(training)
    _check(0, {"vine_spacing_m": vine_spacing_m, **wood})
    return tuple(count for count in countable(_find_wood(system, vine_spacing_m, wood, unit_buds)) if count <= MOST_BUDS)


def _find_wood(system: Training, vine_spacing_m: float, given: Mapping[str, Any], unit_buds: int) -> Wood:
    """The wood of a vine: the training's own, but for the lengths and numbers that are given."""
    stated = {name: value for name, value in given.items() if value is not None}
    renewal = (
        stated.get("renewal_spurs", system.renewal_spurs),
        stated.get("buds_per_renewal_spur", system.buds_per_renewal_spur),
    )
    if system.kind == "spur":
        length = stated.get("cordon_length_m", system.cordon_length_m(vine_spacing_m))
        apart = stated.get("spur_spacing_m", system.spur_spacing_m)
        wood = spur_wood(system, length, apart, stated.get("buds_per_spur"), renewal)
    else:
        length = stated.get("cane_length_m", system.cane_length_m(vine_spacing_m))
        apart = stated.get("node_spacing_m", system.node_spacing_m)
        wood = cane_wood(system, length, apart, stated.get("buds_per_cane"), renewal)
        wood = replace(wood, pieces=(stated["canes"], stated["canes"]), aim=0) if "canes" in stated else wood
    return in_units(wood, unit_buds) if unit_buds and "canes" not in stated else wood


def recipe(buds: int, training: str, vine_spacing_m: float | None = None) -> str:
    """The count in plain figures, "4 x 8 + 4 x 2"; without a spacing the room on the wires is not checked.

    Raises
    ------
    DataError
        As `fit_recipe`.
    """
    if vine_spacing_m is not None:
        return fit_recipe(buds, training, vine_spacing_m).text.replace("×", "x")
    system = find_training(training)
    _check(buds, {})
    fewest = CANE_FROM if system.kind == "cane" else system.buds_per_spur[0]
    pieces = system.canes if system.kind == "cane" else (1, max(int(buds), 1))
    each = (fewest, max(int(buds), fewest))
    renewal = (system.renewal_spurs, system.buds_per_renewal_spur)
    wood = Wood(system.kind, pieces, each, *renewal, float("nan"), system.buds_per_cane_aim)
    return " + ".join(f"{part.count} x {part.buds}" for part in share_out(int(buds), wood))


def _recipe(buds: int, system: Training, wood: Wood, vine_spacing_m: float) -> Recipe:
    fits = buds <= wood.capacity
    parts = share_out(buds, wood) if fits else ()
    total = sum(part.count * part.buds for part in parts)
    below, above = even_counts(buds, wood)
    spurs = sum(part.count for part in parts if part.kind == "spur")
    return Recipe(
        training=system,
        requested=buds,
        total=total,
        parts=parts,
        fits=fits,
        exact=fits and total == buds,
        capacity=wood.capacity,
        below=below,
        above=above,
        buds_per_m_row=buds / vine_spacing_m,
        buds_per_m_canopy=buds / vine_spacing_m / system.canopies,
        spur_spacing_m=wood.length_m / spurs if wood.kind == "spur" and spurs else float("nan"),
        reasons=_reasons(buds, system, wood, total, parts),
    )


def _reasons(buds: int, system: Training, wood: Wood, total: int, parts: tuple[Part, ...]) -> tuple[Message, ...]:
    if buds > wood.capacity:
        key = "recipe.over_capacity_spurs" if wood.kind == "spur" else "recipe.over_capacity_canes"
        fields = {
            "buds": buds,
            "capacity": wood.capacity,
            "pieces": wood.pieces[1],
            "buds_each": wood.buds_each[1],
        }
        return (Message(key, fields),)
    said = [Message(f"recipe.{system.mind}")] if system.mind else []
    if total != buds:
        said.append(Message("recipe.not_exact", {"buds": buds, "total": total}))
    if system.id == "four-cane":
        said += _longer_above(parts)
    if wood.kind == "cane" and not wood.aim and sum(p.count for p in parts if p.kind == "cane") > wood.pieces[0]:
        said.append(Message("recipe.more_canes", {"usual": wood.pieces[0]}))
    return tuple(said)


def _longer_above(parts: tuple[Part, ...]) -> list[Message]:
    """How four canes share their buds with the upper two 4 to 6 buds longer (Hedrick); nothing where the lower two would
    be no canes any more."""
    canes = [part for part in parts if part.kind == "cane"]
    if sum(part.count for part in canes) != 4:
        return []
    total = sum(part.count * part.buds for part in canes)
    for apart in (10, 9, 8):  # the upper two together; 4 to 6 buds a cane
        lower = (total - apart) // 2
        if lower >= 2 * CANE_FROM:
            return [Message("recipe.top_canes_longer", {"upper": total - lower, "lower": lower})]
    return []


def wood_fault(name: str, value: float) -> str:
    """Return what is wrong with a length or number of wood, or with the vine spacing; "" when nothing is."""
    low, high = WOOD_LIMITS.get(name, SPACING_RANGE_M)
    if not low <= value <= high:
        return f"`{name}` is {value:g}, outside {low:g} to {high:g}"
    return f"`{name}` is {value:g}, not whole" if isinstance(low, int) and value != int(value) else ""


def _check(buds: int, given: dict[str, float | None]) -> None:
    faults = []
    if not np.isfinite(buds) or buds < 0 or buds != int(buds) or buds > MOST_BUDS:
        faults.append(Problem("", "", "recipe", f"{buds} is not a number of buds per vine", "Give a whole number"))
    unfit = (wood_fault(name, value) for name, value in given.items() if value is not None)
    faults += [Problem("", "", "recipe", what, "Check the value and its unit") for what in unfit if what]
    if faults:
        raise DataError(faults)
