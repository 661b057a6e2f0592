"""Quick scores of many vines, from a table: what the eye says where no scale was carried."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from geoprune.layers import Vineyard, columns_of
from geoprune.reading.agreement import check_vine_numbers, row_ends
from geoprune.reading.beside import read_beside
from geoprune.reading.columns import Columns
from geoprune.reading.declared import Declared
from geoprune.reading.faults import Faults
from geoprune.reading.parts import rows_as_drawn

KEYS = ("block", "row", "vine")


def read_scores(path: Path, vineyard: Vineyard, *, declared: Declared | None = None) -> pd.DataFrame:
    """Read scored vines from CSV or XLSX.

    Parameters
    ----------
    path : Path
        Columns `row`, `vine`, `score` (any scale, the same all over a block), and `block` where there are several.
    vineyard : Vineyard
        Where the vines stand; rows of blocks that could not be read are not checked.
    declared : Declared, optional
        Which columns and words of the file mean what, and its decimal mark.

    Returns
    -------
    DataFrame
        block, row, vine, score; names as in the vineyard.

    Raises
    ------
    DataError
        With every problem of the table: unknown block, row or vine, a vine scored twice, what is no number.
    """
    faults = Faults(path.name, "scores")
    raw = read_beside(path, faults, declared)
    columns = Columns(raw, faults)
    if not len(raw.table):
        columns.faults.add("there are no scores", "Score some vines, or leave the file out")
    table = pd.DataFrame(
        {
            "block": columns.block(vineyard.blocks["block"].tolist()),
            **{entry.name: columns.read(entry) for entry in columns_of("scores") if entry.name != "block"},
            "source_place": raw.places(),
        }
    )
    table = rows_as_drawn(table, vineyard.rows)
    columns.report_twice(table, KEYS, needed=KEYS)
    ends = row_ends(vineyard)
    readable = table["block"].isin({block for block, _ in ends}) & (table["row"] != "") & table["vine"].notna()
    check_vine_numbers(table[readable], ends, columns.faults)
    faults.problems.stop()
    return table.drop(columns="source_place").astype({"vine": np.int64})
