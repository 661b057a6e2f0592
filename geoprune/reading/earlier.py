"""What earlier results say of range and nugget share, from their summary.json."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from geoprune.errors import DataError, Problem
from geoprune.layers import Source

FAMILY = "exponential"


def read_earlier(path: Path, now: Iterable[Source] = ()) -> list[dict[str, Any]]:
    """Read `model.learned` of every block that had a map, as `surface.Prior(earlier=...)` takes it.

    Parameters
    ----------
    path : Path
        A `summary.json` that `geoprune prescribe` wrote.
    now : iterable of Source
        Files of the present run: weights must not speak twice.

    Raises
    ------
    DataError
        If the file is no such summary, was made from the same weights, or no block of it had a map.
    """
    try:
        summary = json.loads(path.read_text(encoding="utf-8"))
        blocks, inputs = summary["blocks"].values(), summary["inputs"]
        digests = {str(entry["sha256"]) for entry in inputs}
        found = [block["model"]["learned"] for block in blocks if block["model"].get("learned")]
    except (ValueError, KeyError, TypeError, AttributeError):
        raise _refuse(path, "it is not a summary of earlier results", "Give the summary.json of an earlier run") from None
    if len({source.sha256 for source in now} & digests) > 1:
        raise _refuse(path, "it was made from the same files", "Give results of other blocks, or of earlier winters")
    usable = [one for one in found if _is_sound(one)]
    if not usable:
        raise _refuse(path, "no block in it had a map", "Leave it out, or give results of blocks with a map")
    return usable


def _is_sound(one: Any) -> bool:
    try:
        ranges, shares = np.array(one["ranges_m"], dtype=float), np.array(one["nugget_shares"], dtype=float)
        likelihood = np.array(one["likelihood"], dtype=float)
    except (KeyError, TypeError, ValueError):
        return False
    shaped = ranges.ndim == shares.ndim == 1 and likelihood.shape == (len(ranges), len(shares))
    if not shaped or one.get("model") != FAMILY or min(likelihood.shape) < 2:
        return False
    rising = (np.diff(ranges) > 0).all() and (np.diff(shares) > 0).all() and ranges[0] > 0 and shares[0] >= 0
    return bool(rising and shares[-1] <= 1 and np.isfinite(likelihood).all() and (likelihood >= 0).all())


def _refuse(path: Path, what: str, mend: str) -> DataError:
    return DataError([Problem(path.name, "earlier results", "", what, mend)])
