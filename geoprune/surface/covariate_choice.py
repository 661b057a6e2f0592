"""Which covariates earn their place. Arrays in, a choice out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geoprune.errors import Message
from geoprune.geostat.design import collinear_columns
from geoprune.surface.held_out import Nodes, held_out_errors, simulate_readings

Floats = NDArray[np.float64]
SIMULATIONS = 199
FEWEST_PER_COLUMN = 8


@dataclass(frozen=True)
class Choice:
    """What became of one covariate: kept or not and why; gain is the share of the leave-one-out squared error saved."""

    name: str
    kept: bool
    reason: Message
    gain: float = np.nan
    p_value: float = np.nan


def choose_covariates(
    nodes_for: Callable[[Floats], Nodes],
    base: Floats,
    offered: Mapping[str, Floats],
    *,
    level: float,
    seed: int,
) -> tuple[list[str], list[Choice]]:
    """Keep covariates one after the other, each time the one that lowers the leave-one-out error most.

    Kept when the squared leave-one-out error falls, and by more than in all but a share `level` (divided by the number
    of covariates offered) of data sets simulated without the covariate from the fitted field and vine-to-vine variance.
    Simulating from the field matters: two maps that both vary smoothly agree by chance far more often than two columns
    of dice.

    Parameters
    ----------
    nodes_for : the nodes of the samples' design with a drift (n, p)
    base : (n, p) drift without covariates
    offered : columns (n, q) at the samples of each covariate, by name
    level : chance of keeping any covariate when none has to do with vine size

    Returns
    -------
    names kept, in the order they were kept, and what became of each
    """
    decided: dict[str, Choice] = {}
    sound: dict[str, Floats] = {}
    for name, columns in offered.items():
        problem = _unfit(name, columns, base)
        if problem is None:
            sound[name] = (columns - columns.mean(axis=0)) / columns.std(axis=0)
        else:
            decided[name] = Choice(name, False, problem)
    kept: list[str] = []
    drift, left = base, dict(sound)
    while left:
        nodes = nodes_for(drift)
        without = simulate_readings(nodes, nodes.design.residual, SIMULATIONS, seed=seed)
        sets = np.column_stack([nodes.design.residual, without])
        start = _squares(nodes, sets)
        tried = {}
        for name, columns in list(left.items()):
            wider = np.hstack([drift, columns])
            if collinear_columns(wider):
                decided[name] = Choice(name, False, Message("surface.covariate_collinear", {"name": name}))
                del left[name]
                continue
            gains = 1.0 - _squares(nodes_for(wider), sets) / start
            tried[name] = (float(gains[0]), float((1 + np.sum(gains[1:] >= gains[0])) / (1 + SIMULATIONS)))
        limit = max(level / max(len(sound), 1), 1.0 / (1 + SIMULATIONS))
        for name, (gain, p_value) in tried.items():
            key = "surface.covariate_not_kept" if gain > 0 else "surface.covariate_no_help"
            decided[name] = Choice(name, False, Message(key, _fields(name, abs(gain), p_value)), gain, p_value)
        passed = [name for name, (gain, p_value) in tried.items() if gain > 0 and p_value <= limit]
        if not passed:
            break
        best = max(passed, key=lambda name: tried[name][0])
        gain, p_value = tried[best]
        decided[best] = Choice(best, True, Message("surface.covariate_kept", _fields(best, gain, p_value)), gain, p_value)
        kept.append(best)
        drift = np.hstack([drift, left.pop(best)])
    return kept, [decided[name] for name in offered]


def _fields(name: str, gain: float, p_value: float) -> dict[str, object]:
    return {"name": name, "percent": round(100.0 * gain) + 0.0, "p": p_value}


def _squares(nodes: Nodes, sets: Floats) -> Floats:
    """Sum of squared leave-one-out errors of each set, readings weighted by the vines they stand for."""
    return (1.0 / nodes.design.noise) @ np.square(held_out_errors(nodes, sets))


def _unfit(name: str, columns: Floats, base: Floats) -> Message | None:
    """Why a covariate cannot be tried at all."""
    spread = columns.std(axis=0)
    if columns.shape[1] == 0 or np.any(spread <= 1e-9 * np.maximum(np.abs(columns).max(axis=0), 1e-300)):
        return Message("surface.covariate_constant", {"name": name})
    if len(base) < base.shape[1] + FEWEST_PER_COLUMN * (1 + columns.shape[1]):
        return Message("surface.covariate_few_samples", {"name": name, "samples": len(base)})
    if collinear_columns(np.hstack([base, columns])):
        return Message("surface.covariate_collinear", {"name": name})
    return None
