"""Missing and sick vines against limits in print, and what to expect of replants."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from geoprune.errors import Message

#: Replants dead by year 3: 16.1 % (+- 2.4) of 7,500 plants in 44 blocks (IVES Technical Reviews 2025).
REPLANTS_LOST = 0.161


def missing_share(missing: int, positions: int) -> float:
    """Share of planting positions without a living vine; 100 A / (B x C) % (common practice, no source)."""
    return missing / positions if positions else float("nan")


def replants_alive(planted: float) -> float:
    """Replants alive in year 3 of so many planted, on average."""
    return planted * (1.0 - REPLANTS_LOST)


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


@cache
def _limits() -> tuple[dict[str, Any], ...]:
    return tuple(tomllib.loads(files("geoprune.rules").joinpath("losses.toml").read_text("utf-8"))["limit"])


def _fields(limit: dict[str, Any], share: float) -> dict[str, float | str]:
    edge = limit.get("up_to", limit["above"])
    return {"percent": 100 * share, "limit_percent": 100 * edge, "source": limit["source"]}
