"""Training systems as data: the wood a vine carries, its wires and its drawing."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

from geoprune.errors import DataError, Problem
from geoprune.rules.rule import fold


@dataclass(frozen=True)
class Training:
    """One training system; lengths in m. See `training.toml` for the meaning of each key and its source.

    `canes`, `buds_per_cane` and `buds_per_spur` are (usual or fewest, most); `buds_per_cane_aim` is the cane
    length that sets the number of canes where it is free (0 where canes have their places on the wires).
    """

    id: str
    drawing: str
    kind: str
    canopies: int
    shoots: str
    wires_m: tuple[float, ...]
    renewal_spurs: int
    buds_per_renewal_spur: int
    source: str
    tag: str
    also_called: tuple[str, ...] = ()
    suggested_for: tuple[str, ...] = ()
    cordon_per_spacing: float = 0.0
    spur_spacing_m: float = 0.0
    spur_spacing_range_m: tuple[float, float] = (0.0, 0.0)
    buds_per_spur: tuple[int, int] = (0, 0)
    reach: float = 0.0
    gap_m: float = 0.0
    canes: tuple[int, int] = (0, 0)
    buds_per_cane: tuple[int, int] = (0, 0)
    node_spacing_m: float = 0.0
    buds_per_cane_aim: int = 0

    def cane_length_m(self, vine_spacing_m: float) -> float:
        """Room for one cane along the wire, m; infinite where canes hang free."""
        return self.reach * (vine_spacing_m - self.gap_m) if self.reach else float("inf")


@cache
def load_trainings() -> dict[str, Training]:
    """All training systems, by name."""
    data = tomllib.loads(files("geoprune.rules").joinpath("training.toml").read_text("utf-8"))
    return {entry["id"]: Training(**_frozen(entry)) for entry in data["training"]}


def find_training(name: str) -> Training:
    """Return the training of that name, or also called so; case, hyphens and spacing do not matter.

    Raises
    ------
    DataError
        If there is none of that name; those it may mean, or the nearest, are suggested, none is guessed.
    """
    known = load_trainings()
    taken = {fold(other): training for training in known.values() for other in (training.id, *training.also_called)}
    if fold(name) in taken:
        return taken[fold(name)]
    leads = {called: [training.id] for called, training in taken.items()}
    for training in known.values():
        for other in training.suggested_for:
            leads.setdefault(fold(other), []).append(training.id)
    hits = [fold(name)] if fold(name) in leads else get_close_matches(fold(name), leads, n=1, cutoff=0.6)
    near = list(dict.fromkeys(lead for hit in hits for lead in leads[hit]))
    asked = f"Did you mean {' or '.join(repr(lead) for lead in near)}? " if near else ""
    raise DataError([Problem("", "blocks", "", f"unknown training '{name}'", f"{asked}Known: {', '.join(known)}")])


def _frozen(entry: dict[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in entry.items()}
