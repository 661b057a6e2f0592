"""Covariates looked up at every vine, refused where they do not cover the block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from geoprune.covariates import Covariate, point_covariate
from geoprune.errors import DataError, Problem
from geoprune.trellis import Trellis

Floats = NDArray[np.float64]
#: From this share of scored vines on, a vine's own score counts (design choice).
MOST_SCORED = 0.9


@dataclass(frozen=True)
class Columns:
    """A covariate as numbers: itself, or 0/1 for each of its `words` (the most frequent one is left out)."""

    covariate: Covariate
    words: tuple[str, ...] | None
    crs: CRS

    def at(self, points: Floats) -> Floats:
        """Columns (m, q) at points (m, 2); NaN where the layer has nothing, or a word that no vine stands on."""
        values = self.covariate.at(points, self.crs)
        if self.words is None:
            return values.astype(float)[:, None]
        indicators = np.column_stack([values == word for word in self.words]).astype(float)
        indicators[~indicators.any(axis=1)] = np.nan
        return indicators[:, 1:]


def look_up(
    covariates: Sequence[Covariate], points: Floats, crs: CRS, needed: NDArray[np.bool_], *, block: str
) -> dict[str, Columns]:
    """Covariates by name, checked at points (V, 2); `needed` (V,) says where a value must be.

    Raises
    ------
    DataError
        With every covariate that has no value at some needed vine, or whose name stands twice.
    """
    problems: list[Problem] = []
    found: dict[str, Columns] = {}
    for covariate in covariates:
        values = covariate.at(points, crs)
        lacking = needed & pd.isna(values)
        layer, place = f"covariate {covariate.name}", f"block '{block}'"
        if covariate.name in found:
            problems.append(Problem(covariate.source, layer, place, "the name stands twice", "Give each its own name"))
        elif lacking.any():
            what = f"no value at {int(lacking.sum())} of {int(needed.sum())} vines"
            mend = "Give a layer that covers every row of the block and has no gaps, or leave it out"
            problems.append(Problem(covariate.source, layer, place, what, mend))
        else:
            words = tuple(pd.Series(values).value_counts().index.astype(str)) if values.dtype == object else None
            found[covariate.name] = Columns(covariate, words, crs)
    if problems:
        raise DataError(problems)
    return found


def score_covariate(trellis: Trellis, scores: pd.DataFrame, *, name: str = "score", file: str = "") -> Covariate:
    """Quick scores of many vines (row, vine, score) as a covariate: double sampling.

    Where nine tenths of the vines are scored, each has its score. Else every vine, scored or not, takes the mean of
    the eight nearest other scored vines: a score of its own would explain the weighed vines' own part too, and the errors
    learned from them would be too small for all the vines without one. Vines farther from a score than four times
    their usual distance have none. Any scale will do.

    Raises
    ------
    DataError
        With every score that is no number or stands on no vine.
    """
    index = pd.MultiIndex.from_arrays([trellis.vines["row"].astype(str), trellis.vines["vine"].astype(int)])
    place = pd.Series(np.arange(len(index)), index)
    number = pd.to_numeric(scores["score"], errors="coerce").to_numpy(float)
    vine = pd.to_numeric(scores["vine"], errors="coerce").fillna(-1).astype(int)
    keys = list(zip(scores["row"].astype(str), vine, strict=True))
    problems = [
        Problem(file, "scores", f"row {i + 1}", f"no vine {key[1]} in row '{key[0]}'", "Use row and vine as painted")
        for i, key in enumerate(keys)
        if key not in place.index
    ]
    problems += [
        Problem(file, "scores", f"row {i + 1}", "the score is no number", "Give a number")
        for i in np.flatnonzero(~np.isfinite(number))
    ]
    if problems or not keys:
        raise DataError(
            problems or [Problem(file, "scores", "", "there are no scores", "Score some vines, or leave it out")]
        )
    where = trellis.vines.iloc[place.loc[keys].to_numpy()]
    table = gpd.GeoDataFrame({name: number}, geometry=where.geometry.to_numpy(), crs=trellis.vines.crs)
    around = len(table) < MOST_SCORED * len(index)
    return point_covariate(name, table, source=file, around=around)
