"""Hours from ticked rows: vines per hour by zone, what they cost, and what the rest will take."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from geoprune.audit.left import COVER
from geoprune.errors import Message

Floats = NDArray[np.float64]
#: A rate for each zone needs so many finished rows a zone (design choice); with fewer, one rate for the whole block.
ROWS_PER_ZONE = 4
#: Zones whose rows can hardly be told apart (condition of the scaled sums) get one rate (design choice).
MOST_ALIKE = 30.0


def hours_by_zone(
    ticks: pd.DataFrame, runs: pd.DataFrame, trainings: dict[str, str], *, cost_per_hour: float | None = None
) -> pd.DataFrame:
    """Split the hours of finished rows over zones, and forecast the rest.

    A row's hours are the sum over zones of vines times minutes per vine; the minutes are fitted by least squares over the
    finished rows, each weighted by one over its vines (longer rows scatter more). Where zones cannot
    be told apart, or a zone would take no time, all vines of the block get one rate.

    Parameters
    ----------
    ticks : DataFrame
        block, row, hours, done. Lines of a row are added up; it is finished where any of them says so.
    runs : DataFrame
        The row list: block, row, zone, vines.
    trainings : dict
        Block -> training.
    cost_per_hour : float, optional

    Returns
    -------
    DataFrame, one line per block and zone of `runs`
        block, zone, training, vines, vines_done, minutes_per_vine, minutes_low, minutes_high (nine times in ten),
        vines_per_hour, own_rate (False where it is the block's), hours_done, hours_left, hours_left_low, hours_left_high,
        and the costs of both (NaN without a wage). NaN where no row of the block is finished.
    """
    rows = ticks.groupby(["block", "row"], as_index=False).agg(hours=("hours", "sum"), done=("done", "any"))
    finished = rows[rows["done"] & (rows["hours"] > 0)]
    lines = []
    for block, listed in runs.groupby("block", sort=False):
        held = listed.pivot_table(index="row", columns="zone", values="vines", aggfunc="sum", fill_value=0.0)
        own = finished[finished["block"] == block].set_index("row")["hours"]
        done = held.index.isin(rows.loc[rows["done"] & (rows["block"] == block), "row"])
        lines.append(_block_lines(str(block), trainings.get(str(block), ""), held, own, done))
    by_zone = pd.concat(lines, ignore_index=True)
    wage = np.nan if cost_per_hour is None else cost_per_hour
    return by_zone.assign(cost_done=by_zone["hours_done"] * wage, cost_left=by_zone["hours_left"] * wage)


def _block_lines(block: str, training: str, held: pd.DataFrame, hours: pd.Series, done: NDArray[np.bool_]) -> pd.DataFrame:
    measured = held.loc[held.index.isin(hours.index)]
    minutes, error, freedom, own = fit_minutes(measured.to_numpy(float), 60 * hours.reindex(measured.index).to_numpy(float))
    reach = error * (stdtrit(freedom, (1 + COVER) / 2) if freedom > 0 else np.nan)
    left = held.to_numpy(float)[~done].sum(axis=0)
    low, high = np.maximum(minutes - reach, 0.0), minutes + reach
    return pd.DataFrame(
        {
            "block": block,
            "zone": held.columns.astype(int),
            "training": training,
            "vines": held.sum(axis=0).to_numpy().astype(int),
            "vines_done": held.to_numpy(float)[done].sum(axis=0).astype(int),
            "minutes_per_vine": minutes,
            "minutes_low": low,
            "minutes_high": high,
            "vines_per_hour": 60 / minutes,
            "own_rate": own,
            "hours_done": measured.to_numpy(float).sum(axis=0) * minutes / 60,
            "hours_left": left * minutes / 60,
            "hours_left_low": left * low / 60,
            "hours_left_high": left * high / 60,
        }
    )


def fit_minutes(vines: Floats, minutes: Floats) -> tuple[Floats, Floats, int, bool]:
    """Fit minutes per vine of each zone.

    Parameters
    ----------
    vines : (R, k) vines of each zone in each finished row
    minutes : (R,) minutes each row took

    Returns
    -------
    minutes per vine (k,), standard error (k,), degrees of freedom, and whether each zone has a rate of its own
    """
    rows, zones = vines.shape
    weight = 1 / np.sqrt(np.maximum(vines.sum(axis=1), 1.0))
    if zones > 1 and rows >= ROWS_PER_ZONE * zones and (vines.sum(axis=0) > 0).all():
        design = vines * weight[:, None]
        if np.linalg.cond(design / np.linalg.norm(design, axis=0)) <= MOST_ALIKE:
            found, error = _least_squares(design, minutes * weight)
            if (found > 0).all():
                return found, error, rows - zones, True
    together = vines.sum(axis=1, keepdims=True) * weight[:, None]
    if not together.any():
        return np.full(zones, np.nan), np.full(zones, np.nan), 0, False
    found, error = _least_squares(together, minutes * weight)
    return np.repeat(found, zones), np.repeat(error, zones), rows - 1, zones == 1


def _least_squares(design: Floats, seen: Floats) -> tuple[Floats, Floats]:
    """Coefficients and their standard errors (NaN without a degree of freedom)."""
    found, *_ = np.linalg.lstsq(design, seen, rcond=None)
    freedom = len(seen) - design.shape[1]
    spread = float(((seen - design @ found) ** 2).sum()) / freedom if freedom > 0 else np.nan
    return np.asarray(found), np.sqrt(spread * np.diag(np.linalg.inv(design.T @ design)))


def pace_by_training(by_zone: pd.DataFrame) -> pd.DataFrame:
    """Return vines an hour by training, over all blocks: from finished rows with hours (`hours_by_zone`).

    Returns
    -------
    DataFrame
        training, hours, vines, vines_per_hour; trainings without a finished row are left out.
    """
    timed = by_zone[by_zone["hours_done"] > 0]
    timed = timed.assign(hours=timed["hours_done"], vines_timed=timed["hours_done"] * timed["vines_per_hour"])
    sums = timed.groupby("training", sort=False, as_index=False).agg(hours=("hours", "sum"), vines=("vines_timed", "sum"))
    return sums.assign(vines_per_hour=sums["vines"] / sums["hours"])


def hours_message(by_zone: pd.DataFrame) -> Message:
    """Return what the rest will take, in a sentence: hours with their range, and rows as given."""
    known = by_zone.dropna(subset=["hours_left"])
    sums = {name: float(known[name].sum()) for name in ("hours_done", "hours_left", "hours_left_low", "hours_left_high")}
    return Message("audit.hours_left", sums)


def worker_hours(ticks: pd.DataFrame, runs: pd.DataFrame) -> pd.DataFrame:
    """Return hours and vines of each worker, by name, for the manager alone.

    Vines of a row that several ticked are shared by their hours; vines of rows not finished are not counted.

    Returns
    -------
    DataFrame, sorted by name (never by pace)
        worker, rows, hours, vines
    """
    named = ticks[ticks["worker"] != ""]
    vines = runs.groupby(["block", "row"])["vines"].sum().rename("held")
    whole = ticks.groupby(["block", "row"]).agg(all_hours=("hours", "sum"), finished=("done", "any"))
    lines = named.join(vines, on=["block", "row"]).join(whole, on=["block", "row"])
    share = np.where(lines["all_hours"] > 0, lines["hours"] / lines["all_hours"].where(lines["all_hours"] > 0), 0.0)
    lines = lines.assign(vines=np.where(lines["finished"], lines["held"].fillna(0) * share, 0.0))
    lines = lines.assign(place=lines["block"] + "\n" + lines["row"])
    by_worker = lines.groupby("worker", as_index=False).agg(
        rows=("place", "nunique"), hours=("hours", "sum"), vines=("vines", "sum")
    )
    return by_worker.sort_values("worker", key=lambda names: names.str.casefold(), kind="stable").reset_index(drop=True)
