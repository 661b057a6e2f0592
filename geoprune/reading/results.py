"""Results of an earlier run, read back: the vines pruned to a number, the row list and the blocks."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError

from geoprune.errors import DataError, Problem

PACKAGE = "prescription.gpkg"
#: Layer -> columns that are needed of it.
NEEDED = {
    "vines": ("block", "row", "vine", "zone", "buds_per_vine"),
    "runs": ("block", "row", "stop", "first_vine", "last_vine", "zone", "vines"),
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

    def one_block(self, block: str) -> Results:
        """Return the results of one block alone."""
        return Results(*(table[table["block"] == block].reset_index(drop=True) for table in self.tables()))

    def tables(self) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
        """The three tables."""
        return self.vines, self.runs, self.blocks


def read_results(folder: Path) -> Results:
    """Read a folder that `geoprune prescribe` wrote.

    Raises
    ------
    DataError
        If it holds no prescription.gpkg, or layers or columns are missing from it, or no vine has a number.
    """
    package = Path(folder) / PACKAGE
    tables: dict[str, pd.DataFrame] = {}
    problems = []
    for layer, needed in NEEDED.items():
        try:
            table = pyogrio.read_dataframe(package, layer=layer, read_geometry=False)
        except (DataSourceError, DataLayerError, OSError):
            what = f"layer {layer} cannot be read from {PACKAGE}" if package.exists() else f"there is no {PACKAGE} in it"
            problems.append(Problem(Path(folder).name, "", "", what, "Give a folder that geoprune prescribe wrote"))
            if not package.exists():
                break
            continue
        lacking = [name for name in needed if name not in table]
        if lacking:
            what, mend = f"columns {', '.join(lacking)} are missing", "Run geoprune prescribe again"
            problems.append(Problem(PACKAGE, layer, "", what, mend))
        else:
            tables[layer] = _plain(table[list(needed)])
    if problems:
        raise DataError(problems)
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
