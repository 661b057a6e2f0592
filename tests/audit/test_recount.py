"""Drawing vines to recount, judging the counts, and what was left: on invented work whose truth is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from geoprune.audit import (
    Tolerance,
    buds_left,
    check_counts,
    draw_recount,
    judge_few,
    judge_groups,
    plan_by_size,
    rows_to_redo,
    walking_place,
)

ASKED = {"aql": 6.5, "redo_from": 0.25, "certainty": 0.9}


def block_of(rows: int = 20, vines: int = 40, *, block: str = "A") -> tuple[pd.DataFrame, pd.DataFrame]:
    """Vines pruned to a number, two zones, and the row list: walked to and fro."""
    names = np.repeat([str(row + 1) for row in range(rows)], vines)
    number = np.tile(np.arange(1, vines + 1), rows)
    zone = np.where(number <= vines // 2, 1, 2)
    table = pd.DataFrame(
        {"block": block, "row": names, "vine": number, "zone": zone, "buds_per_vine": np.where(zone == 1, 30, 50)}
    )
    runs = []
    for row in range(rows):
        halves = [(1, vines // 2, 1), (vines // 2 + 1, vines, 2)]
        for first, last, label in halves if row % 2 == 0 else [(b, a, z) for a, b, z in halves[::-1]]:
            runs.append({"block": block, "row": str(row + 1), "stop": len(runs) + 1, "first_vine": first, "last_vine": last})
            runs[-1] |= {"zone": label, "vines": vines // 2}
    return table, pd.DataFrame(runs)


def counted(vines: pd.DataFrame, off: float | np.ndarray = 0.0, workers: object = "") -> pd.DataFrame:
    left = vines["buds_per_vine"] + off
    return pd.DataFrame(
        {**{n: vines[n] for n in ("block", "row", "vine")}, "buds_left": left.astype(float), "worker": workers}
    )


def test_the_list_is_in_walking_order_and_spread_over_the_block() -> None:
    vines, runs = block_of()
    drawn, plans = draw_recount(vines, runs, **ASKED, seed=3)
    (plan,) = plans.values()
    assert len(drawn) == plan.size == 50
    assert drawn["stop"].tolist() == list(range(1, 51))
    for row, here in drawn.groupby(drawn["row"].astype(int)):
        along = here["vine"].diff().dropna()
        assert (along > 0).all() if row % 2 else (along < 0).all()
    assert drawn["row"].nunique() == 20  # 800 vines in 50 stretches of 16: no row of 40 is left out
    place = pd.Series(walking_place(vines, runs).to_numpy(), pd.MultiIndex.from_frame(vines[["row", "vine"]]))
    assert sorted(place) == list(range(800))
    at = place.loc[pd.MultiIndex.from_frame(drawn[["row", "vine"]])].to_numpy()
    assert (at // 16 == np.arange(50)).all()  # one of each stretch, in order


def test_every_vine_has_the_same_chance() -> None:
    vines, runs = block_of(rows=4, vines=20)
    few = ASKED | {"certainty": 0.5}
    times = np.zeros(len(vines))
    for seed in range(60):
        drawn, _ = draw_recount(vines, runs, **few, seed=seed)
        times += pd.MultiIndex.from_frame(vines[["row", "vine"]]).isin(pd.MultiIndex.from_frame(drawn[["row", "vine"]]))
    share, part = len(drawn) / len(vines), times.reshape(8, -1).sum(axis=1)  # 10 vines each
    assert 0.05 < share < 0.5
    low, high = binomtest(round(600 * share), 600).proportion_ci(0.999)
    assert ((part / 600 > low) & (part / 600 < high)).all()


def test_lots_may_be_zones_or_rows_and_a_small_one_is_counted_whole() -> None:
    vines, runs = block_of(rows=6, vines=20)
    _, plans = draw_recount(vines, runs, **ASKED, lot="zone", seed=1)
    assert set(plans) == {("A", 1), ("A", 2)}
    drawn, plans = draw_recount(vines, runs, **ASKED, lot="row", seed=1)
    assert len(plans) == 6
    assert all(plan.size <= 20 for plan in plans.values())
    assert drawn.duplicated(["row", "vine"]).sum() == 0


@pytest.mark.parametrize(("asked", "allowed"), [(10, 2.0), (20, 2.0), (30, 3.0), (60, 6.0)])
def test_how_far_a_vine_may_be_off(asked: int, allowed: float) -> None:
    assert Tolerance()(asked) == allowed
    vines = pd.DataFrame({"block": "A", "row": "1", "vine": [1, 2, 3, 4], "zone": 1, "buds_per_vine": asked})
    said = check_counts(counted(vines, np.array([allowed, allowed + 1, -allowed, -allowed - 1])), vines)
    assert said["too_many"].tolist() == [False, True, False, False]
    assert said["too_few"].tolist() == [False, False, False, True]


def test_counts_of_one_vine_are_averaged_and_others_vines_left_out() -> None:
    vines, _ = block_of(rows=1, vines=4)
    counts = pd.concat([counted(vines.iloc[[0]], 4), counted(vines.iloc[[0]], -4), counted(vines.iloc[[1]].assign(vine=99))])
    said = check_counts(counts, vines)
    assert said[["vine", "difference", "off"]].to_numpy().tolist() == [[1, 0.0, False]]


def test_one_bad_worker_is_found_among_three_and_only_his_rows_are_named() -> None:
    vines, runs = block_of(rows=30)
    drawn, _ = draw_recount(vines, runs, **ASKED, seed=2)
    worker = np.array(["ana", "ben", "eva"])[drawn["row"].astype(int) % 3]
    said = check_counts(counted(drawn, np.where(worker == "eva", 8, 0), worker), vines)
    judged = judge_groups(said, ["block", "worker"], aql=6.5).set_index("worker")["accepted"]
    assert judged.to_dict() == {"ana": True, "ben": True, "eva": False}
    redo = rows_to_redo(said, aql=6.5, redo_from=0.25)
    assert set(redo["todo"]) == {"redo"}
    assert set(redo["row"].astype(int) % 3) == {2}
    assert set(redo["row"]) == set(drawn["row"][worker == "eva"])


def test_twelve_vines_cut_a_little_long_are_refused_though_hardly_one_is_off_by_more_than_is_allowed() -> None:
    # Invented: a number of 50 allows 5 buds; this hand's vines have 4 or 5 too many, one has 7.
    vines, _ = block_of()
    here = vines[vines["buds_per_vine"] == 50].iloc[:12].reset_index(drop=True)
    more = np.array([5, 4, 5, 5, 4, 7, 5, 4, 5, 5, 4, 5])
    said = check_counts(counted(here, more, np.full(12, "eva")), vines)
    by_number = judge_groups(said, ["worker"], aql=6.5)
    by_both = judge_few(said, ["worker"], aql=6.5, redo_from=0.25)
    assert by_number["accepted"].tolist() == [True]
    assert by_both["accepted"].tolist() == [False]
    # By number alone a quarter off is found with more than two of twelve: 1 - P(X <= 2), X binomial (12, 1/4) = 0.609.
    assert by_both["found_out"].tolist() == pytest.approx([0.6093], abs=1e-4)


def test_rows_with_too_few_buds_are_not_cut_again() -> None:
    vines, runs = block_of()
    drawn, _ = draw_recount(vines, runs, **ASKED, seed=2)
    first = drawn["row"].astype(int).to_numpy() <= 10
    redo = rows_to_redo(check_counts(counted(drawn, np.where(first, -9, 0)), vines), aql=6.5, redo_from=0.25)
    assert redo.groupby("todo")["row"].agg(lambda rows: set(rows.astype(int))).to_dict() == {
        "too_few": set(range(1, 11)),
        "look": set(range(11, 21)),
    }
    assert rows_to_redo(check_counts(counted(drawn), vines), aql=6.5, redo_from=0.25).empty


@pytest.fixture(scope="module")
def draws() -> tuple[pd.DataFrame, list[np.ndarray]]:
    """A block of 400 vines, and the places of the vines that 25 draws recount."""
    vines, runs = block_of(rows=10)
    place = pd.Series(vines.index, pd.MultiIndex.from_frame(vines[["row", "vine"]]))
    lists = [draw_recount(vines, runs, **ASKED, seed=seed)[0] for seed in range(25)]
    return vines, [place.loc[pd.MultiIndex.from_frame(drawn[["row", "vine"]])].to_numpy() for drawn in lists]


@pytest.mark.parametrize("share", [0.065, 0.15, 0.25])
def test_good_and_bad_work_pass_as_often_as_the_plan_says(draws, share: float) -> None:
    """A thousand fields, each recounted as drawn, against the plan's own chance of acceptance (hypergeometric)."""
    vines, lists = draws
    rng, plan, bad = np.random.default_rng(1), plan_by_size(50, 6.5), round(share * len(vines))
    off = np.arange(len(vines)) < bad
    passed = sum(int(rng.permutation(off)[lists[k % 25]].sum() <= plan.accept) for k in range(1000))
    assert binomtest(passed, 1000, float(plan.chance(share, len(vines)))).pvalue > 1e-3
    here = vines.iloc[lists[0]]
    for many in (plan.accept, plan.accept + 1):  # the verdict turns where the plan says
        said = check_counts(counted(here, np.where(np.arange(50) < many, 9, 0)), vines)
        assert judge_groups(said, ["block"], aql=6.5)["accepted"].tolist() == [many <= plan.accept]


def test_what_was_left_is_a_mean_with_students_interval() -> None:
    """By hand: 28, 30, 32, 34 of 20 vines: mean 31, sd 2.582, t(3, 95 %) = 2.353 (any table), sqrt(1 - 4/20) = 0.894."""
    vines, _ = block_of(rows=1)
    some = vines.iloc[:4]
    said = buds_left(check_counts(counted(some, np.array([-2, 0, 2, 4])), vines), vines).set_index("zone")
    assert said.loc[1, ["vines", "vines_counted", "buds_asked", "buds_left"]].tolist() == [20, 4, 30, 31]
    reach = 2.353 * 2.582 / 2 * 0.894
    assert said.loc[1, "buds_left_low"] == pytest.approx(31 - reach, abs=2e-3)
    assert said.loc[1, "buds_left_high"] == pytest.approx(31 + reach, abs=2e-3)
    assert said.loc[2, "vines_counted"] == 0
    assert np.isnan(said.loc[2, "buds_left"])


def test_the_range_holds_the_truth_nine_times_in_ten(draws) -> None:
    vines, lists = draws
    held = tried = 0
    for seed in range(60):
        left = vines["buds_per_vine"] + np.rint(np.random.default_rng(seed).normal(1.5, 4, len(vines)))
        truth = left.groupby(vines["zone"]).mean()
        here = vines.iloc[lists[seed % 25]]
        said = buds_left(check_counts(counted(here, left.iloc[here.index] - here["buds_per_vine"]), vines), vines).set_index(
            "zone"
        )
        held += int(((said["buds_left_low"] <= truth) & (truth <= said["buds_left_high"])).sum())
        tried += len(said)
    assert binomtest(held, tried, 0.9).pvalue > 1e-3, held / tried
