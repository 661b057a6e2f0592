"""Hours split over zones: against a law without noise, and against intervals over many invented crews."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from geoprune.audit import hours_by_zone, hours_message, pace_by_training, worker_hours

MINUTES = np.array([2.0, 3.5])


def rows_of(count: int = 20, *, block: str = "A", seed: int = 0) -> pd.DataFrame:
    """A row list: two zones in changing shares."""
    first = np.random.default_rng(seed).integers(5, 36, count)
    lines = [
        {"block": block, "row": str(row), "zone": zone, "vines": int(vines)}
        for row, one in enumerate(first)
        for zone, vines in ((1, one), (2, 40 - one))
    ]
    return pd.DataFrame(lines)


def ticks_of(runs: pd.DataFrame, *, done: int, noise: float = 0.0, seed: int = 0) -> pd.DataFrame:
    minutes = (runs["vines"] * MINUTES[runs["zone"] - 1]).groupby(runs["row"], sort=False).sum()
    factor = 1 + noise * np.random.default_rng(seed).standard_normal(len(minutes))
    hours = (minutes * factor / 60)[:done]
    return pd.DataFrame({"block": "A", "row": hours.index, "hours": hours.to_numpy(), "worker": "", "done": True})


def test_the_pace_of_each_zone_comes_back_and_hours_add_up() -> None:
    runs = rows_of()
    ticks = ticks_of(runs, done=12)
    said = hours_by_zone(ticks, runs, {"A": "flat cane"}, cost_per_hour=20.0)
    assert said["minutes_per_vine"].to_numpy() == pytest.approx(MINUTES)
    assert said["vines_per_hour"].to_numpy() == pytest.approx(60 / MINUTES)
    assert said["own_rate"].all()
    assert said["hours_done"].sum() == pytest.approx(ticks["hours"].sum())
    whole = (runs["vines"] * MINUTES[runs["zone"] - 1]).sum() / 60
    assert said["hours_left"].sum() == pytest.approx(whole - ticks["hours"].sum())
    assert said["cost_left"].sum() == pytest.approx(20 * said["hours_left"].sum())
    assert hours_message(said).fields["hours_left"] == pytest.approx(said["hours_left"].sum())
    pace = pace_by_training(said).iloc[0]
    done = runs[runs["row"].isin(ticks["row"])]["vines"].sum()
    assert (pace["training"], pace["vines_per_hour"]) == ("flat cane", pytest.approx(done / ticks["hours"].sum()))


@pytest.mark.parametrize("done", [1, 3, 7])
def test_few_rows_share_one_pace(done: int) -> None:
    runs = rows_of()
    ticks = ticks_of(runs, done=done)
    said = hours_by_zone(ticks, runs, {})
    assert not said["own_rate"].any()
    assert said["minutes_per_vine"].nunique() == 1
    if done == 1:
        assert said["minutes_low"].isna().all()  # one row tells nothing of the scatter


def test_rows_that_are_all_alike_share_one_pace() -> None:
    runs = rows_of().assign(vines=20)
    said = hours_by_zone(ticks_of(runs, done=12), runs, {})
    assert not said["own_rate"].any()
    assert said["minutes_per_vine"].to_numpy() == pytest.approx([2.75, 2.75])


def test_rows_not_finished_and_blocks_without_hours() -> None:
    runs = pd.concat([rows_of(), rows_of(block="B")])
    ticks = ticks_of(runs[runs["block"] == "A"], done=12)
    half = ticks.assign(done=[False, *[True] * 11])
    said = hours_by_zone(half, runs, {})
    a, b = (said[said["block"] == block] for block in "AB")
    assert a["minutes_per_vine"].to_numpy() == pytest.approx(MINUTES)
    assert a["vines_done"].sum() == 11 * 40
    assert b["minutes_per_vine"].isna().all()
    assert b["hours_left"].isna().all()


def test_the_range_of_a_pace_holds_nine_times_in_ten() -> None:
    held = tried = 0
    for seed in range(50):
        runs = rows_of(seed=seed)
        said = hours_by_zone(ticks_of(runs, done=14, noise=0.1, seed=seed), runs, {})
        if said["own_rate"].all():
            inside = (said["minutes_low"].to_numpy() <= MINUTES) & (said["minutes_high"].to_numpy() >= MINUTES)
            held, tried = held + int(inside.sum()), tried + 2
    assert tried > 60
    assert binomtest(held, tried, 0.9).pvalue > 1e-4


def test_workers_stand_by_name_and_share_a_rows_vines_by_hours() -> None:
    runs = rows_of()
    ticks = pd.DataFrame(
        {
            "block": "A",
            "row": ["0", "0", "1", "2"],
            "hours": [1.0, 3.0, 2.0, 2.0],
            "worker": ["Zoe", "ana", "Zoe", "ana"],
            "done": [True, False, True, False],
        }
    )
    said = worker_hours(ticks, runs).set_index("worker")
    assert said.index.tolist() == ["ana", "Zoe"]
    assert said.loc["Zoe", ["rows", "hours", "vines"]].tolist() == [2, 3.0, 10 + 40]
    assert said.loc["ana", ["rows", "hours", "vines"]].tolist() == [2, 5.0, 30]


def test_finished_rows_without_a_counted_vine_tell_no_pace() -> None:
    runs = rows_of().assign(vines=0)
    said = hours_by_zone(ticks_of(rows_of(), done=12), runs, {"A": "flat cane"}, cost_per_hour=None)
    assert said["minutes_per_vine"].isna().all()
