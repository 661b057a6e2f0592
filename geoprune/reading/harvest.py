"""Last harvest per block or zone, from a table: for the crop load of the vines that bore it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from geoprune.reading.columns import Columns, RawTable, clean_names
from geoprune.reading.faults import Faults
from geoprune.reading.samples import SEASON
from geoprune.reading.tables import read_table

#: Total of a block or zone: the largest block read (500 ha) at 100 t/ha, more than any vineyard bears (design choice).
MOST_YIELD_KG = 50_000_000.0
ZONE = (1.0, 99.0)


def read_harvest(path: Path, blocks: Sequence[str]) -> pd.DataFrame:
    """Read yields from a CSV or XLSX file and check them (see `check_harvest`).

    Raises
    ------
    DataError
        If the file cannot be read as a table, or with every problem of its rows.
    """
    faults = Faults(path.name, "harvest")
    raw = read_table(path, faults)
    faults.problems.stop()
    assert raw is not None
    return _checked(raw, blocks, faults)


def check_harvest(table: pd.DataFrame, blocks: Sequence[str], *, file: str = "") -> pd.DataFrame:
    """Check a table of yields and bring it to kg.

    Parameters
    ----------
    table : DataFrame
        Columns `block` (may be left out where there is one), one of `yield_kg`, `yield_lb`, `yield_t` (1000 kg),
        `yield_ton` (2000 lb), the total of the block or zone, and optional `zone` and `season`.
    blocks : sequence of str
        Names of the blocks there are.
    file : str
        File name for messages.

    Returns
    -------
    DataFrame with RangeIndex: block, zone (Int64, NA = whole block), season (Int64), yield_kg

    Raises
    ------
    DataError
        With every problem: unit missing or doubled, unknown or repeated block, impossible yield.
    """
    faults = Faults(file, "harvest")
    cleaned = clean_names(table.reset_index(drop=True), faults)
    return _checked(RawTable(file, "harvest", cleaned, np.arange(2, len(table) + 2), "line"), blocks, faults)


def _checked(raw: RawTable, blocks: Sequence[str], faults: Faults) -> pd.DataFrame:
    columns = Columns(raw, faults)
    if not len(raw.table):
        columns.faults.add("there are no yields", "Give a line per block, or leave the file out")
    clean = pd.DataFrame(
        {
            "block": columns.block(blocks),
            "zone": columns.number("zone", ZONE, whole=True),
            "season": columns.number("season", SEASON, whole=True),
            "yield_kg": columns.quantity("yield", "yield", (0.0, MOST_YIELD_KG), required="every row"),
        }
    )
    columns.tell_twice(clean, ["block", "zone", "season"], needed=["block"], mend="Keep one line per block, zone and season")
    faults.problems.stop()
    return clean.astype({"zone": "Int64", "season": "Int64"})
