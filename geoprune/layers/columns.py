"""Columns as data: what is read (`incoming.toml`) and what is written (`outgoing.toml`)."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any

from geoprune.units import SUFFIXES

#: What a Shapefile leaves of a column's name.
CUT = 10


@dataclass(frozen=True)
class Column:
    """A column that is read.

    Attributes
    ----------
    layer, name : str
        `name` is the stem of a quantity, to which its unit is added.
    kind : str
        "text", "number", "whole", or a quantity of `units.SUFFIXES`.
    must : bool
        Whether there is no plan without it.
    limits : tuple of float or None
        Lowest and highest value that can be, inclusive; of a quantity in its SI unit.
    one_of : tuple of str
        The only texts there are; empty where any will do.
    also : tuple of str
        What others call it; proposed, never taken unasked.
    short : str
        Stem of a quantity in a Shapefile; "" where it has none.
    """

    layer: str
    name: str
    kind: str
    must: bool = False
    limits: tuple[float, float] | None = None
    one_of: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    short: str = ""

    @property
    def units(self) -> tuple[str, ...]:
        """Units it may be given in, the SI one first; empty where it has none."""
        return tuple(SUFFIXES.get(self.kind, ()))

    @property
    def names(self) -> tuple[str, ...]:
        """Names under which it is read, the SI one first."""
        return tuple(f"{self.name}_{unit}" for unit in self.units) or (self.name,)

    @property
    def si_name(self) -> str:
        """Name under which a checked table carries it."""
        return self.names[0]


@cache
def outgoing() -> dict[str, dict[str, list[str]]]:
    """Return layer -> column -> [kind, meaning] of what is written, in file order."""
    return tomllib.loads(files("geoprune.layers").joinpath("outgoing.toml").read_text("utf-8"))


@cache
def incoming() -> dict[str, dict[str, Column]]:
    """Return layer -> name -> column of what is read, in the order in which documentation lists them."""
    data = tomllib.loads(files("geoprune.layers").joinpath("incoming.toml").read_text("utf-8"))
    return {
        layer: {name: _column(layer, name, **entry) for name, entry in entries.items()} for layer, entries in data.items()
    }


def columns_of(layer: str) -> tuple[Column, ...]:
    """Return the columns that are read of a layer."""
    return tuple(incoming()[layer].values())


def column(layer: str, name: str) -> Column:
    """Return one column that is read; of a quantity by its stem."""
    return incoming()[layer][name]


@cache
def short_names() -> dict[str, str]:
    """Return what a Shapefile's ten letters stand for: cut long names that keep their meaning, and short ones of ours."""
    known: dict[str, str] = {}
    for entry in (entry for layer in incoming().values() for entry in layer.values()):
        if entry.short:
            known |= {f"{entry.short}_{unit}": f"{entry.name}_{unit}" for unit in entry.units}
        elif not entry.units and len(entry.name) > CUT:
            known[entry.name[:CUT]] = entry.name
    return known


def _column(layer: str, name: str, *, kind: str, need: str = "", **entry: Any) -> Column:
    limits = None
    if "low" in entry:
        high = entry.pop("high")
        limits = float(entry.pop("low")), date.today().year + 1.0 if high == "next year" else float(high)
    fields: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in entry.items()}
    return Column(layer, name, kind, need == "must", limits, **fields)
