"""Quick scores of many vines, from a table: what the eye says where no scale was carried."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from geoprune.reading.columns import Columns
from geoprune.reading.faults import Faults
from geoprune.reading.sample_files import read_sample_file


def read_scores(path: Path, blocks: Sequence[str]) -> pd.DataFrame:
    """Read scored vines from CSV or XLSX.

    Parameters
    ----------
    path : Path
        Columns `row`, `vine`, `score` (any scale, the same all over a block), and `block` where there are several.
    blocks : sequence of str
        Names of the blocks there are.

    Returns
    -------
    DataFrame
        block, row, vine, score.

    Raises
    ------
    DataError
        With every problem of the table.
    """
    faults = Faults(path.name, "scores")
    raw = read_sample_file(path, faults)
    faults.stop()
    if raw is None:
        return pd.DataFrame(columns=["block", "row", "vine", "score"])
    columns = Columns(raw, faults)
    single = len(blocks) == 1 and "block" not in raw.table
    block = pd.Series(blocks[0], index=raw.table.index) if single else columns.required_text("block")
    for name in ("vine", "score"):
        columns.require(name)
    table = pd.DataFrame(
        {
            "block": block,
            "row": columns.required_text("row"),
            "vine": columns.number("vine", (1, 10_000), required=True, whole=True),
            "score": columns.number("score", required=True),
        }
    )
    known = table["block"].isin(blocks) | (table["block"] == "")
    faults.at(raw.file, raw.layer).add_each(
        ((raw.place(i), f"there is no block '{table['block'].iloc[i]}'") for i in (~known).to_numpy().nonzero()[0]),
        f"Use one of {', '.join(blocks[:5])}",
    )
    faults.stop()
    return table.astype({"vine": int})
