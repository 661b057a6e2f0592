"""Missing and sick vines against limits in print, and what to expect of replants."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from geoprune.errors import Message
from geoprune.rules.floors import FEWEST_REPLANTS, TWO_SIDED

#: Replants dead by year 3: 16.1 % (+- 2.4) of 7,500 plants in 44 blocks (IVES Technical Reviews 2025).
REPLANTS_LOST, REPLANTS_LOST_SPREAD = 0.161, 0.024
REPLANTS_SOURCE = "IVES Technical Reviews 2025"
#: Sicknesses with a limit in print.
CAUSES = ("leafroll", "red blotch")


def missing_share(missing: int, positions: int) -> float:
    """Share of planting positions without a living vine; 100 A / (B x C) % (common practice, no source)."""
    return missing / positions if positions else float("nan")


def replants_alive(planted: float) -> float:
    """Replants alive in year 3 of so many planted, on average."""
    return planted * (1.0 - REPLANTS_LOST)


def replant_notes(planted: int) -> tuple[Message, ...]:
    """How many of so many replants will live, and how many to plant for all gaps; nothing below `FEWEST_REPLANTS`.

    The range holds the chance of each plant and the spread between blocks that the source prints:
    ``sd^2 = n p (1 - p) + (0.024 n)^2``.
    """
    if planted < FEWEST_REPLANTS:
        return ()
    alive = replants_alive(planted)
    half = TWO_SIDED * float(np.hypot(np.sqrt(alive * REPLANTS_LOST), REPLANTS_LOST_SPREAD * planted))
    fields = {
        "planted": planted,
        "alive": alive,
        "low": max(alive - half, 0.0),
        "high": min(alive + half, planted),
        "source": REPLANTS_SOURCE,
    }
    return (Message("crop.replants", fields),)


def loss_notes(share: float, *, cause: str = "") -> tuple[Message, ...]:
    """What print says of a share of vines lost (`cause` "") or sick ("leafroll", "red blotch"), with sources.

    No published share says when pulling a part of a block pays for a plain gap: that is a sum of age, price and
    cost, and no threshold is offered for it.
    """
    return tuple(
        Message(f"crop.{limit['key']}", _fields(limit, share))
        for limit in _limits()
        if limit["cause"] == cause and limit["above"] < share <= limit.get("up_to", 1.0)
    )


def sick_notes(sick: int, positions: int) -> tuple[Message, ...]:
    """What is said of vines marked diseased: how many, that the sickness must be named, and what print says of each.

    The file does not say which sickness it is, and limits in print differ from one to the other: each is given under
    its own name, none is taken for granted. Empty where no vine is marked.
    """
    if not sick:
        return ()
    share = missing_share(sick, positions)
    messages = [Message("crop.sick_found", {"sick": sick, "vines": positions, "percent": 100 * share})]
    for cause in CAUSES:
        messages += loss_notes(share, cause=cause)
    return (*messages, Message("cautions.sick_vines"))


@cache
def _limits() -> tuple[dict[str, Any], ...]:
    return tuple(tomllib.loads(files("geoprune.rules").joinpath("losses.toml").read_text("utf-8"))["limit"])


def _fields(limit: dict[str, Any], share: float) -> dict[str, Any]:
    edge = limit.get("up_to", limit["above"])
    fields: dict[str, Any] = {"percent": 100 * share, "limit_percent": 100 * edge, "source": limit["source"]}
    if limit["cause"]:
        fields["cause"] = Message(f"crop.cause_{limit['cause'].replace(' ', '_')}")
    return fields
