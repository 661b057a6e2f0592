"""What is minded of hard winters and frost at one cultivar: when its block is pruned, late cuts, spare wood."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from geoprune.errors import Message
from geoprune.rules.rule import fold

#: When a block is pruned, by its kind of grape (Fiola 2018, University of Maryland, Balanced Pruning 2: American, hardy
#: hybrids, tender hybrids, vinifera, the tenderest last). Other kinds get the whole order.
ORDER_OF_GROUP = {
    "American": "frost_order_first",
    "French hybrids": "frost_order_hybrid",
    "New hybrids": "frost_order_hybrid",
    "Vinifera": "frost_order_vinifera",
}
#: Kinds that hard cold after pruning hurts less: nothing is said of it there.
HARDY_GROUPS = ("American",)


@dataclass(frozen=True)
class FrostTrait:
    """What print says of a cultivar: `trait` "tender", "hardy" or "early", its `name` as the book writes it, and where."""

    trait: str
    name: str
    source: str
    tag: str


@cache
def frost_traits() -> tuple[FrostTrait, ...]:
    """Return every entry of `frost.toml`, a cultivar each."""
    table = tomllib.loads(files("geoprune.rules").joinpath("frost.toml").read_text("utf-8"))
    return tuple(
        FrostTrait(entry["trait"], name, entry["source"], entry["tag"])
        for entry in table["cultivars"]
        for name in entry["names"]
    )


def traits_of(variety: str) -> dict[str, FrostTrait]:
    """Return what print says of a cultivar, by trait; empty where nothing was read."""
    return {found.trait: found for found in frost_traits() if fold(found.name) == fold(variety)}


def frost_notes(variety: str = "", group: str = "", *, bears: bool = True) -> tuple[Message, ...]:
    """What is minded of hard winters and frost at a block of one cultivar, for the report.

    Parameters
    ----------
    variety : str
        As the grower writes it; it only finds an entry, and is not written.
    group : str
        Kind of grape of the rule book; "" where it is not known.
    bears : bool
        Whether the vines are pruned to a number: spare canes are nothing to vines that are formed or renewed.
    """
    found = traits_of(variety)
    hardy = "hardy" in found or group in HARDY_GROUPS
    said = [_order(found, group), _late(found)]
    if bears and not hardy:
        said.append(Message("cautions.frost_spare"))
    if not hardy:
        said.append(Message("cautions.frost_cold"))
    return tuple(said)


def _order(found: dict[str, FrostTrait], group: str) -> Message:
    if "tender" in found:
        return Message("cautions.frost_order_last", {"variety": found["tender"].name, "source": found["tender"].source})
    if "hardy" in found:
        return Message("cautions.frost_order_hardy", {"variety": found["hardy"].name, "source": found["hardy"].source})
    return Message(f"cautions.{ORDER_OF_GROUP.get(group, 'frost_order')}")


def _late(found: dict[str, FrostTrait]) -> Message:
    if "early" in found:
        return Message("cautions.frost_late_early", {"variety": found["early"].name, "source": found["early"].source})
    return Message("cautions.frost_late")
