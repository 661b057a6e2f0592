"""summary.json of an earlier run, read back: the one place that knows its keys on the way in.

`deliver.writing.figures` writes what is read here.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from geoprune.errors import DataError
from geoprune.learned import FAMILY, Learned
from geoprune.sources import LARGEST_TABLE, read_bytes

#: Ranges (m) that a pattern in a vineyard can have, and the least step between nodes (design choices).
RANGE_M, LEAST_STEP = (0.01, 1e6), 1e-6
#: What is raised by JSON that is no summary, or of another shape than it.
NO_SUMMARY = (DataError, OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError)


@dataclass(frozen=True)
class EarlierBlock:
    """What an earlier summary says of a block; a figure is None where it is not there, NaN where it is no number.

    Attributes
    ----------
    vine_size_kg, variance_kg2, nugget_share, range_m : float or None
    covariance : str
        Family, "none" without a map.
    learned : Learned or None
    learned_amiss : bool
        Whether something stands where `learned` should, and is no likelihood over ranges and shares.
    """

    vine_size_kg: float | None = None
    variance_kg2: float | None = None
    nugget_share: float | None = None
    range_m: float | None = None
    covariance: str = "none"
    learned: Learned | None = None
    learned_amiss: bool = False


@dataclass(frozen=True)
class EarlierSummary:
    """Digests of the files it was made from, and its blocks by name."""

    digests: frozenset[str]
    blocks: Mapping[str, EarlierBlock]


def read_summary(path: Path) -> EarlierSummary | None:
    """Read an earlier `summary.json`; None where it is none."""
    try:
        summary = json.loads(read_bytes(path, most=LARGEST_TABLE).decode("utf-8"))
        if summary.get("program", "geoprune") != "geoprune":
            return None
        digests = frozenset(str(entry["sha256"]) for entry in summary.get("inputs", ()))
        return EarlierSummary(digests, {str(name): _block(dict(block)) for name, block in summary["blocks"].items()})
    except NO_SUMMARY:
        return None


def _block(block: Mapping[str, Any]) -> EarlierBlock:
    model = dict(block.get("model") or {})
    learned = _learned(model.get("learned"))
    return EarlierBlock(
        vine_size_kg=_figure(block.get("vine_size_kg")),
        **{name: _figure(model.get(name)) for name in ("variance_kg2", "nugget_share", "range_m")},
        covariance=str(model.get("covariance", "none")).split(",")[0],
        learned=learned,
        learned_amiss=bool(model.get("learned")) and learned is None,
    )


def _figure(value: Any) -> float | None:
    try:
        return None if value is None else float(value)
    except (TypeError, ValueError, OverflowError):
        return float("nan")


def _learned(one: Any) -> Learned | None:
    """What a block learned; None where it is no likelihood over ranges and shares."""
    try:
        ranges, shares = np.array(one["ranges_m"], dtype=float), np.array(one["nugget_shares"], dtype=float)
        likelihood = np.array(one["likelihood"], dtype=float)
        known = one.get("model") == FAMILY
    except NO_SUMMARY:
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
    return Learned(tuple(ranges.tolist()), tuple(shares.tolist()), tuple(map(tuple, likelihood.tolist())))
