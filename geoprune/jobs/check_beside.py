"""The files beside a vineyard and its weights as a check reads them: bud checks, yields, scores, zones and layers."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from geoprune.covariates import read_covariate
from geoprune.layers import Vineyard
from geoprune.reading import Faults, clean_name, read_given_zones, read_harvest, read_scores
from geoprune.reading.columns import RawTable
from geoprune.reading.declared import Declared
from geoprune.reading.given_zones import open_zones
from geoprune.reading.parts import open_bud_check_file
from geoprune.reading.tables import read_table
from geoprune.settings import Files


def open_beside(files: Files) -> dict[str, RawTable]:
    """Return the tables beside a vineyard as they are, by layer; what cannot be opened is reported when all is read."""
    ways: dict[str, tuple[Path | None, Callable[[Path, Faults], RawTable | None]]] = {
        "bud_checks": (files.bud_checks, open_bud_check_file),
        "harvest": (files.harvest, read_table),
        "scores": (files.scores, read_table),
        "zones": (files.zones_from, partial(open_zones, layer=files.zones_layer)),
    }
    opened = {layer: way(path, Faults(path.name, layer)) for layer, (path, way) in ways.items() if path is not None}
    return {layer: raw for layer, raw in opened.items() if raw is not None}


def check_beside(files: Files, vineyard: Vineyard, declared: Declared, faults: Faults) -> None:
    """Read every file beside a vineyard as a plan would; what is wrong is noted.

    Bud checks are left out: they are read with the vineyard.
    """
    found = faults.problems

    def read(path: Path | None, reader: Callable[..., Any], *more: Any, **named: Any) -> None:
        if path is not None and len(vineyard.blocks):
            found.gather(reader, path, vineyard, *more, **named)

    column = None if files.zones_column is None else clean_name(files.zones_column)
    read(files.harvest, read_harvest, faults, declared=declared)
    read(files.scores, read_scores, declared=declared)
    read(files.zones_from, read_given_zones, layer=files.zones_layer, column=column, declared=declared)
    there = vineyard.blocks.geometry.notna() if len(vineyard.blocks) else None
    around = None if there is None or not there.any() else vineyard.blocks.geometry[there]
    for name, path in files.covariates.items():
        found.gather(read_covariate, name, path, around=around)
