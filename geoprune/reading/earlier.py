"""What earlier results say of range and nugget share, from their summary.json."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from geoprune.errors import DataError, Problem
from geoprune.layers import Source

FAMILY = "exponential"


def read_earlier(paths: Sequence[Path], now: Iterable[Source] = ()) -> list[dict[str, Any]]:
    """Read `model.learned` of every block that had a map, as `surface.Prior(earlier=...)` takes it.

    Parameters
    ----------
    paths : sequence of Path
        Files `summary.json` that `geoprune prescribe` wrote.
    now : iterable of Source
        Files of the present run: weights must not speak twice.

    Raises
    ------
    DataError
        With every file that is no such summary, was made from the same weights, is given twice, or has no block with
        a map.
    """
    present = {source.sha256 for source in now}
    usable: list[dict[str, Any]] = []
    problems: list[Problem] = []
    seen: set[Any] = set()
    for path in paths:
        digests, learned = _read(path)
        sound = [one for one in learned or () if _is_sound(one)]
        same = digests or json.dumps(learned)
        if learned is None:
            fault = ("it is not a summary of earlier results", "Give the summary.json of an earlier run")
        elif present and present <= digests:
            fault = ("it was made from the same files", "Give results of other blocks, or of earlier winters")
        elif same in seen:
            fault = ("it was made from the same files as another one given", "Give each result once")
        elif not sound:
            fault = ("no block in it had a map", "Leave it out, or give results of blocks with a map")
        else:
            seen.add(same)
            usable += sound
            continue
        problems.append(Problem(path.name, "earlier results", "", *fault))
    if problems:
        raise DataError(problems)
    return usable


def _read(path: Path) -> tuple[frozenset[str], list[Any] | None]:
    """Digests of what a summary was made from, and what its blocks learned; None where it is no summary."""
    try:
        summary = json.loads(path.read_text(encoding="utf-8"))
        digests = frozenset(str(entry["sha256"]) for entry in summary["inputs"])
        return digests, [block["model"]["learned"] for block in summary["blocks"].values() if block["model"].get("learned")]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return frozenset(), None


def _is_sound(one: Any) -> bool:
    try:
        ranges, shares = np.array(one["ranges_m"], dtype=float), np.array(one["nugget_shares"], dtype=float)
        likelihood = np.array(one["likelihood"], dtype=float)
    except (KeyError, TypeError, ValueError, OverflowError, RecursionError):
        return False
    shaped = ranges.ndim == shares.ndim == 1 and likelihood.shape == (len(ranges), len(shares))
    if not shaped or one.get("model") != FAMILY or min(likelihood.shape) < 2:
        return False
    rising = (np.diff(ranges) > 0).all() and (np.diff(shares) > 0).all() and ranges[0] > 0 and shares[0] >= 0
    total = likelihood.sum()
    told = (likelihood >= 0).all() and np.isfinite(total) and total > 0
    return bool(rising and shares[-1] <= 1 and np.isfinite(ranges[-1]) and told)
