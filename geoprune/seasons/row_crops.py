"""The crop expected of each row, and the crop that came."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ENDS = ("low", "mean", "high")
EXPECTED = tuple(f"expected_{end}_kg" for end in ENDS)
COMING = tuple(f"coming_{end}_kg" for end in ENDS)


def row_crops(panels: pd.DataFrame, kg_per_vine: Sequence[Sequence[float]]) -> dict[str, Floats]:
    """Return the crop expected of each row, kg: low, mean, high (3,).

    The vines of each zone in the row times what a vine of that zone is expected to bear. All zones see the same season, so
    their ends add up; what a row differs by beyond its zones is not in the range.

    Parameters
    ----------
    panels : DataFrame
        row, zone (1 = smallest vines), vines.
    kg_per_vine : sequence (Z, 3)
        Low, mean and high crop of a vine of each zone.
    """
    each = np.asarray(kg_per_vine, dtype=float)
    crop = panels["vines"].to_numpy(dtype=float)[:, None] * each[panels["zone"].to_numpy(dtype=int) - 1]
    return {str(row): crop[at].sum(axis=0) for row, at in panels.groupby("row", sort=False).indices.items()}


def with_crops(rows: pd.DataFrame, expected: Mapping[str, Floats], coming: Mapping[str, Floats]) -> pd.DataFrame:
    """Return rows with what an earlier winter expected of them and what the newest expects; NaN where nothing is."""
    nothing = np.full(3, np.nan)
    columns: dict[str, Floats] = {}
    for names, crops in ((EXPECTED, expected), (COMING, coming)):
        columns |= dict(
            zip(names, np.array([crops.get(str(row), nothing) for row in rows["row"]]).reshape(-1, 3).T, strict=True)
        )
    return rows.assign(**columns)
