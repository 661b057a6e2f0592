"""Number and wood held together: the count that whole pieces make, and the wood that was measured in a block."""

from __future__ import annotations

from typing import Any

from numpy.typing import ArrayLike

from geoprune.errors import Message
from geoprune.rules.floors import Measured, measure
from geoprune.rules.recipes import WOOD_LIMITS, fit_recipe
from geoprune.rules.training import Training, find_training


def count_of_whole_pieces(buds: int, training: str | Training, vine_spacing_m: float, **wood: Any) -> int:
    """The count prescribed for a count asked for: that of the recipe's whole pieces, so that the two never differ.

    They differ only where the grower fixed the buds of each cane or spur: then whole pieces decide, and the number gives
    way. A count that does not fit the wood stays as it is, and is reported not to fit. `wood`: keywords of `fit_recipe`.
    """
    found = fit_recipe(int(buds), training, vine_spacing_m, **wood)
    return found.total if found.fits and found.parts else int(buds)


def measured_wood(internodes_mm: ArrayLike, training: str | Training) -> tuple[dict[str, float], tuple[Message, ...]]:
    """Lengths of wood from internodes measured in a block: keywords of `fit_recipe`, and what is said of them.

    Nothing where the training bears on spurs or on canes that hang free, where fewer than `floors.FEWEST_VINES` vines
    were measured, or where the mean is absurd: the training's usual spacing of buds is then used.

    Parameters
    ----------
    internodes_mm : (N,) array_like
        Mean internode of each measured vine, mm; NaN where it was not measured.
    training : str
    """
    system, found = find_training(training), measure(internodes_mm)
    low, high = WOOD_LIMITS["node_spacing_m"]
    if system.kind != "cane" or not system.reach or not found.enough or not low <= found.mean / 1000 <= high:
        return {}, ()
    return {"node_spacing_m": found.mean / 1000}, (_internodes_message(found),)


def _internodes_message(found: Measured) -> Message:
    fields = {"size_mm": found.mean, "from_mm": found.low, "to_mm": found.high, "vines": found.vines}
    return Message("recipe.internodes_measured", fields)
