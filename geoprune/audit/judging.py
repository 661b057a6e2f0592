"""From recounted vines to a verdict on lots, rows and workers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from geoprune.audit.plans import plan_by_size
from geoprune.audit.variables import ENOUGH, most_share_off, share_off


@dataclass(frozen=True)
class Tolerance:
    """How far from its number a vine may be: a share of the number, at least so many buds.

    A tenth, at least the two buds of a spur (design choices): 2 buds at 20, 3 at 30, 6 at 60.
    """

    share: float = 0.10
    buds: float = 2.0

    def __call__(self, asked: ArrayLike) -> NDArray[np.float64]:
        """Buds a vine may be off its number."""
        return np.maximum(self.buds, self.share * np.asarray(asked, dtype=float))


def check_counts(counts: pd.DataFrame, vines: pd.DataFrame, tolerance: Tolerance | None = None) -> pd.DataFrame:
    """Hold each recounted vine against its number.

    Parameters
    ----------
    counts : DataFrame
        block, row, vine, buds_left, worker ("" where not given). Counts of one vine are averaged.
    vines : DataFrame
        Vines pruned to a number: block, row, vine, zone, buds_per_vine. Counts of other vines are left out.

    Returns
    -------
    DataFrame, one line per vine
        block, row, vine, zone, worker, asked, buds_left, difference (left - asked), scaled (the difference as a share of one
        half a bud below the least that is off), too_many, too_few, off
    """
    tolerance = tolerance or Tolerance()
    keys = ["block", "row", "vine"]
    one = counts.groupby(keys, sort=False, as_index=False).agg({"buds_left": "mean", "worker": "first"})
    compared = one.merge(vines[[*keys, "zone", "buds_per_vine"]], on=keys, how="inner").rename(
        columns={"buds_per_vine": "asked"}
    )
    difference = compared["buds_left"] - compared["asked"]
    limit = tolerance(compared["asked"]) + 1e-9
    compared = compared.assign(difference=difference, too_many=difference > limit, too_few=difference < -limit)
    # Buds come in whole numbers: a vine at the limit is right, one bud more is off, and the bound lies between the two.
    compared["scaled"] = difference / (np.floor(limit) + 0.5)
    compared["off"] = compared["too_many"] | compared["too_few"]
    return compared[[*keys, "zone", "worker", "asked", "buds_left", "difference", "scaled", "too_many", "too_few", "off"]]


def judge_groups(checked: pd.DataFrame, keys: Sequence[str], *, aql: float) -> pd.DataFrame:
    """Judge the vines of each group by how many are off.

    Parameters
    ----------
    checked : DataFrame
        See `check_counts`.
    keys : sequence of str
        Columns that make a group, such as block and worker.
    aql : float
        Percent of vines off that is still good work.

    Returns
    -------
    DataFrame, one line per group
        the keys, counted, off, too_many, too_few, difference (mean, buds), may_be_off (acceptance number), accepted
    """
    groups = checked.groupby(list(keys), sort=False, as_index=False).agg(
        counted=("off", "size"),
        off=("off", "sum"),
        too_many=("too_many", "sum"),
        too_few=("too_few", "sum"),
        difference=("difference", "mean"),
    )
    may = np.array([plan_by_size(size, aql).accept for size in groups["counted"].tolist()], dtype=int)
    return groups.assign(may_be_off=may, accepted=groups["off"].to_numpy() <= may)


def judge_few(checked: pd.DataFrame, keys: Sequence[str], *, aql: float, redo_from: float) -> pd.DataFrame:
    """Judge groups of few vines, such as one row's or one person's, by how many are off and by how far.

    Work is accepted where both accept it: the number off, and with 5 to 49 vines the share off that mean and spread tell of.

    Parameters
    ----------
    checked, keys, aql : see `judge_groups`
    redo_from : float
        Share of vines off that should be found out.

    Returns
    -------
    DataFrame, one line per group
        as `judge_groups`, and off_estimated, may_be_estimated (shares, NaN where not used), found_out (chance that counting
        alone finds out work with `redo_from` of its vines off; mean and spread find it more often)
    """
    judged = judge_groups(checked, keys, aql=aql)
    groups = checked.groupby(list(keys), sort=False)["scaled"]
    sizes = judged["counted"].tolist()
    few = judged["counted"].to_numpy() < ENOUGH
    estimated = np.where(few, np.array([share_off(scaled) for _, scaled in groups]), np.nan)
    may = np.array([most_share_off(size, aql) if size < ENOUGH else np.nan for size in sizes])
    chance = {size: 1 - float(plan_by_size(size, aql).chance(redo_from)) for size in set(sizes)}
    found = [chance[size] for size in sizes]
    accepted = judged["accepted"].to_numpy() & ~(estimated > may)
    return judged.assign(accepted=accepted, off_estimated=estimated, may_be_estimated=may, found_out=found)


def rows_to_redo(checked: pd.DataFrame, *, aql: float, redo_from: float) -> pd.DataFrame:
    """Return what to do in each row where the work is not accepted: the row's own, its workers', or else its block's.

    A row where too many buds were found is cut again ("redo"). Where too few were found nothing can be put back ("too_few").
    In other rows of work that is not accepted more vines are counted first ("look").

    Returns
    -------
    DataFrame
        block, row, counted, off, too_many, too_few, difference, todo; only rows with something to do.
    """
    rows = judge_few(checked, ["block", "row"], aql=aql, redo_from=redo_from)
    rows["todo"] = np.select([rows["too_many"] > 0, rows["too_few"] > 0], ["redo", "too_few"], "look")
    refused = ~rows["accepted"] | _of_refused(checked, rows, aql, redo_from)
    names = ["block", "row", "counted", "off", "too_many", "too_few", "difference", "todo"]
    return rows.loc[refused, names].reset_index(drop=True)


def _of_refused(checked: pd.DataFrame, rows: pd.DataFrame, aql: float, redo_from: float) -> pd.Series:
    """Whether a row was worked by someone whose work is refused, or by no one named in a block that is refused."""
    blocks = judge_groups(checked, ["block"], aql=aql).set_index("block")["accepted"]
    named = checked[checked["worker"] != ""]
    refused_rows: set[tuple[str, str]] = set()
    if len(named):
        workers = judge_few(named, ["block", "worker"], aql=aql, redo_from=redo_from)
        refused = named.merge(workers.loc[~workers["accepted"], ["block", "worker"]], on=["block", "worker"])
        refused_rows = set(zip(refused["block"], refused["row"], strict=True))
    unnamed = checked[(checked["worker"] == "") & ~checked["block"].map(blocks)]
    refused_rows |= set(zip(unnamed["block"], unnamed["row"], strict=True))
    return pd.Series([pair in refused_rows for pair in zip(rows["block"], rows["row"], strict=True)], index=rows.index)
