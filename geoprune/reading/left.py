"""What was really left last winter, zone by zone: left.csv as `geoprune audit read` writes it, or a table like it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from geoprune.layers import column
from geoprune.reading.columns import Columns
from geoprune.reading.counts import BUDS, read_back
from geoprune.reading.faults import Faults


def read_left(path: Path, blocks: Sequence[str]) -> pd.DataFrame:
    """Read what was left: evidence of how many buds bore the crop, in place of what was asked for.

    Parameters
    ----------
    path : Path
        Table with block, zone, buds_left, and if known buds_asked, buds_left_low, buds_left_high, vines_counted.
    blocks : sequence of str
        Names of the blocks there are; lines of others are a problem.

    Returns
    -------
    DataFrame, RangeIndex
        block, zone, vines_counted, buds_asked, buds_left, buds_left_low, buds_left_high; NaN where not given. Zones in which
        nothing was counted are left out.

    Raises
    ------
    DataError
        With every problem: columns missing, unknown blocks, impossible numbers, a range that does not hold its mean, a zone
        listed twice.
    """
    faults = Faults(path.name, "left")
    raw = read_back(path, faults)
    faults.problems.stop()
    assert raw is not None
    columns = Columns(raw, faults)
    for name in ("zone", "buds_left"):
        columns.require(name)
    found = pd.DataFrame(
        {
            "block": columns.block(blocks),
            "zone": columns.number("zone", column("harvest", "zone").limits, whole=True, required="zone" in columns.table),
            "vines_counted": columns.number("vines_counted", (0.0, 1e7), whole=True),
            **{name: columns.number(name, BUDS) for name in ("buds_asked", "buds_left", "buds_left_low", "buds_left_high")},
        }
    )
    wrong = (found["buds_left_low"] > found["buds_left"]) | (found["buds_left"] > found["buds_left_high"])
    said = [(raw.place(at), "the range does not hold buds_left") for at in np.flatnonzero(wrong.to_numpy())]
    columns.faults.add_each(said, "Correct the three numbers")
    columns.report_twice(found, ["block", "zone"], needed=["block", "zone"])
    faults.problems.stop()
    return found[found["buds_left"].notna()].astype({"zone": "int64"}).reset_index(drop=True)
