"""Results of an earlier run, read back: the vines pruned to a number, the row list and the blocks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from geoprune.errors import DataError, Problem
from geoprune.reading.faults import Faults
from geoprune.reading.vector_files import open_layers

PACKAGE = "prescription.gpkg"
MEND = "Give a folder that geoprune prescribe wrote"
#: Layer -> columns that are needed of it.
NEEDED = {
    "vines": ("block", "row", "vine", "zone", "buds_per_vine"),
    "runs": ("block", "row", "stop", "first_vine", "last_vine", "zone", "bands", "buds_per_vine", "vines"),
    "blocks": ("block", "training"),
}


@dataclass(frozen=True, eq=False)
class Results:
    """Tables of results, without geometry.

    vines : block, row, vine, zone, buds_per_vine; every planting position (0 buds where not pruned to a number, NaN where
        the zone has none)
    runs : the row list
    blocks : block, training
    """

    vines: pd.DataFrame
    runs: pd.DataFrame
    blocks: pd.DataFrame

    @property
    def pruned(self) -> pd.DataFrame:
        """The vines pruned to a number, fresh RangeIndex."""
        return self.vines[self.vines["buds_per_vine"] > 0].reset_index(drop=True)

    @property
    def trainings(self) -> dict[str, str]:
        """Block -> training."""
        return dict(zip(self.blocks["block"], self.blocks["training"], strict=True))


def read_result_layers(
    folder: Path, needed: Mapping[str, Sequence[str]], problems: list[Problem], *, geometry: bool
) -> dict[str, Any]:
    """Read layers of a folder that `geoprune prescribe` wrote; what cannot be read or lacks columns is noted in `problems`.

    Parameters
    ----------
    needed : mapping
        Layer -> columns that are needed of it.
    geometry : bool
        Give GeoDataFrames, with the shapes; else DataFrames.
    """
    package = folder / PACKAGE
    if not package.exists():
        problems.append(Problem(folder.name, "", "", f"there is no {PACKAGE} in it", MEND))
        return {}
    faults = Faults(PACKAGE)
    opened = open_layers(package, faults, choose=lambda names: [name for name in names if name in needed], tables=True)
    problems += faults.problems
    layers = {}
    for layer, columns in needed.items() if not faults.problems else ():
        if layer not in opened:
            problems.append(Problem(folder.name, "", "", f"layer {layer} cannot be read from {PACKAGE}", MEND))
            continue
        table = opened[layer][0]
        lacking = [name for name in columns if name not in table]
        if lacking:
            what = f"columns {', '.join(lacking)} are missing"
            problems.append(Problem(PACKAGE, layer, "", what, "Run geoprune prescribe again"))
        else:
            layers[layer] = table if geometry else pd.DataFrame(table.drop(columns="geometry", errors="ignore"))
    return layers


def read_results(folder: Path) -> Results:
    """Read a folder that `geoprune prescribe` wrote.

    Raises
    ------
    DataError
        If it holds no prescription.gpkg, or layers or columns are missing from it, or no vine has a number.
    """
    problems: list[Problem] = []
    layers = read_result_layers(Path(folder), NEEDED, problems, geometry=False)
    if problems:
        raise DataError(problems)
    tables = {layer: _plain(table[list(NEEDED[layer])]) for layer, table in layers.items()}
    found = Results(tables["vines"], tables["runs"], tables["blocks"])
    if found.pruned.empty:
        what, mend = "no vine has a number", "There is nothing to check: no block was given a number"
        raise DataError([Problem(PACKAGE, "vines", "", what, mend)])
    return found


def _plain(table: pd.DataFrame) -> pd.DataFrame:
    """Names as text, whole numbers as such."""
    texts = [name for name in ("block", "row", "training") if name in table]
    whole = [name for name in ("vine", "zone", "stop", "first_vine", "last_vine", "vines") if name in table]
    return table.astype(dict.fromkeys(texts, object) | dict.fromkeys(whole, "int64"))
