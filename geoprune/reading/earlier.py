"""What earlier results say of range and nugget share, from their summary.json."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from geoprune.errors import DataError, Problem
from geoprune.layers import Source
from geoprune.sources import LARGEST_TABLE, read_bytes
from geoprune.text import few

FAMILY = "exponential"
#: Ranges (m) that a pattern in a vineyard can have, and the least step between nodes (design choices).
RANGE_M, LEAST_STEP = (0.01, 1e6), 1e-6


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
        With every file that is no such summary, was made from the same weights, is given twice, or learned nothing that
        can be used, and why.
    """
    present = {source.sha256 for source in now}
    usable: list[dict[str, Any]] = []
    problems: list[Problem] = []
    seen: set[Any] = set()
    for path in paths:
        digests, models = _read(path)
        learned = [model["learned"] for model in models or () if model.get("learned")]
        sound = [one for one in map(_checked, learned) if one is not None]
        same = digests or json.dumps(learned)
        if models is None:
            fault = ("it is not a summary of earlier results", "Give the summary.json of an earlier run")
        elif present and present <= digests:
            fault = ("it was made from the same files", "Give results of other blocks, or of earlier winters")
        elif same in seen:
            fault = ("it was made from the same files as another one given", "Give each result once")
        elif not sound:
            fault = _why_useless(models, bool(learned))
        else:
            seen.add(same)
            usable += sound
            continue
        problems.append(Problem(path.name, "earlier results", "", *fault))
    if problems:
        raise DataError(problems)
    return usable


def _read(path: Path) -> tuple[frozenset[str], list[dict[str, Any]] | None]:
    """Digests of what a summary was made from, and the models of its blocks; None where it is no summary."""
    try:
        summary = json.loads(read_bytes(path, most=LARGEST_TABLE).decode("utf-8"))
        digests = frozenset(str(entry["sha256"]) for entry in summary["inputs"])
        return digests, [dict(block["model"]) for block in summary["blocks"].values()]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return frozenset(), None


def _why_useless(models: list[dict[str, Any]], learned: bool) -> tuple[str, str]:
    """Why nothing of a summary can be used, and what to do."""
    if learned:
        return "what its blocks learned is no likelihood over ranges and shares", "Give summary.json as it was written"
    families = sorted({str(model.get("covariance", "none")).split(",")[0] for model in models} - {"none"})
    if families:
        what = f"its patterns were fitted as {few(families)}, whose ranges say nothing of the {FAMILY} kind"
        return what, "Leave it out: nothing of it can be used"
    return "no block in it had a map: its weights were too few or all alike", "Leave it out, or give results of other blocks"


def _checked(one: Any) -> dict[str, Any] | None:
    """What a block learned, as plain numbers; None where it is no likelihood over ranges and shares."""
    try:
        ranges, shares = np.array(one["ranges_m"], dtype=float), np.array(one["nugget_shares"], dtype=float)
        likelihood = np.array(one["likelihood"], dtype=float)
        known = one.get("model") == FAMILY
    except (KeyError, TypeError, ValueError, OverflowError, RecursionError, AttributeError):
        return None
    shaped = ranges.ndim == shares.ndim == 1 and likelihood.shape == (len(ranges), len(shares))
    if not known or not shaped or min(likelihood.shape) < 2:
        return None
    placed = (ranges >= RANGE_M[0]).all() and (ranges <= RANGE_M[1]).all() and shares[0] >= 0 and shares[-1] <= 1
    if not placed or not ((np.diff(np.log(ranges)) > LEAST_STEP).all() and (np.diff(shares) > LEAST_STEP).all()):
        return None
    total = likelihood.sum()
    if not ((likelihood >= 0).all() and np.isfinite(total) and total > 0):
        return None
    return {**one, "ranges_m": ranges.tolist(), "nugget_shares": shares.tolist(), "likelihood": likelihood.tolist()}
