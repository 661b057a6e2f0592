"""Sampling plans against the public table and against chances of acceptance printed elsewhere."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, norm

from geoprune.audit import AQLS, chance_to_accept, choose_plan, plan_by_size, single_plan
from geoprune.audit.plans import LETTERS, SIZES
from geoprune.audit.variables import most_share_off, share_beyond, share_off

#: Rejection numbers of single sampling, normal inspection, by AQL 0.65 1.0 1.5 2.5 4.0 6.5 10 15; "v" and "^" are arrows.
#: MIL-STD-105E, tables I and II-A, as printed for level II at nibs.org/FMOC/DPW_AC/AC-TABLE.ASC (table 1-A).
#: The last column is beyond what is held here.
PRINTED = """
A 2     v v v v v 1 v v
B 3     v v v v 1 ^ v 2
C 5     v v v 1 ^ v 2 3
D 8     v v 1 ^ v 2 3 4
E 13    v 1 ^ v 2 3 4 6
F 20    1 ^ v 2 3 4 6 8
G 32    ^ v 2 3 4 6 8 11
H 50    v 2 3 4 6 8 11 15
J 80    2 3 4 6 8 11 15 22
K 125   3 4 6 8 11 15 22 ^
L 200   4 6 8 11 15 22 ^ ^
M 315   6 8 11 15 22 ^ ^ ^
N 500   8 11 15 22 ^ ^ ^ ^
P 800   11 15 22 ^ ^ ^ ^ ^
Q 1250  15 22 ^ ^ ^ ^ ^ ^
"""
TABLE = {line.split()[0]: line.split()[1:] for line in PRINTED.strip().splitlines()}


def printed_plan(letter: str, place: int) -> tuple[int, int]:
    """Follow the printed table's arrows: sample size and acceptance number."""
    letters = list(TABLE)
    at = letters.index(letter)
    way = {"v": 1, "^": -1}.get(TABLE[letter][1 + place], 0)
    while TABLE[letters[at]][1 + place] in "v^":
        at += way
    return int(TABLE[letters[at]][0]), int(TABLE[letters[at]][1 + place]) - 1


@pytest.mark.parametrize("place", range(len(AQLS)))
def test_every_cell_of_the_printed_table(place: int) -> None:
    for letter in TABLE:
        plan = single_plan(letter, AQLS[place])
        assert (plan.size, plan.accept) == printed_plan(letter, place), (letter, AQLS[place])
    assert {letter: int(cells[0]) for letter, cells in TABLE.items()} == SIZES


@pytest.mark.parametrize(
    ("size", "accept", "share", "chance", "within"),
    [
        (125, 2, 0.1, 0.000210835, 5e-10),  # R package Planesmuestra, f_DR.CO, printed example
        (68, 2, 0.01213, 0.95, 2e-5),  # S. Hilliard, samplingplans.com forum, 2006: producer's point
        (68, 2, 0.089704, 0.05, 2e-5),  # the same: consumer's point
        (89, 2, 0.01, 0.9397, 1e-4),  # Montgomery, Introduction to Statistical Quality Control, table 15.2, from memory
        (89, 2, 0.02, 0.7366, 1e-4),  # the same, from memory
    ],
)
def test_printed_chances_of_acceptance(size: int, accept: int, share: float, chance: float, within: float) -> None:
    assert chance_to_accept(size, accept, share) == pytest.approx(chance, abs=within)


def test_a_small_lot_is_hypergeometric() -> None:
    """By counting: of 10 vines 2 are off; at most 0 of 3 drawn: 8/10 * 7/9 * 6/8."""
    assert chance_to_accept(3, 0, 0.2, lot=10) == pytest.approx(8 * 7 * 6 / (10 * 9 * 8))
    shares = np.array([0.05, 0.1, 0.3])
    assert chance_to_accept(32, 3, shares, lot=1_000_000) == pytest.approx(chance_to_accept(32, 3, shares), abs=1e-4)


def test_the_table_accepts_good_lots_nine_times_in_ten() -> None:
    """Lots at the limit are mostly accepted, 88 to 99 times in 100 (from memory of its curves)."""
    for letter in LETTERS:
        for aql in AQLS:
            plan = single_plan(letter, aql)
            if plan.letter == letter and plan.size * aql >= 10:  # below a tenth of a vine expected the table says nothing
                assert 0.87 <= plan.chance(aql / 100) <= 0.997, (letter, aql)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 3000), st.sampled_from(AQLS[2:7]), st.floats(0.2, 0.6), st.floats(0.5, 0.99))
def test_the_chosen_plan_finds_bad_work_as_surely_as_wanted_and_no_smaller_one_does(lot, aql, redo_from, certainty) -> None:
    plan = choose_plan(lot, aql=aql, redo_from=redo_from, certainty=certainty)
    assert plan.size <= lot
    if not plan.letter:
        assert plan.size == lot
        return
    assert plan.chance(redo_from, lot) <= 1 - certainty + 1e-12
    smaller = [single_plan(letter, aql) for letter in LETTERS[: LETTERS.index(plan.letter)]]
    assert all(other.chance(redo_from, lot) > 1 - certainty for other in smaller if other.size < plan.size)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 400), st.sampled_from(AQLS))
def test_other_sizes_accept_a_lot_at_the_limit_as_often_as_said(size, aql) -> None:
    number = plan_by_size(size, aql).accept
    if size not in SIZES.values():
        assert binom.cdf(number, size, aql / 100) >= 0.95
        assert number == 0 or binom.cdf(number - 1, size, aql / 100) < 0.95


def test_what_cannot_be_planned_is_refused() -> None:
    with pytest.raises(ValueError, match="no plan"):
        single_plan("I", 4.0)
    with pytest.raises(ValueError, match="needs vines"):
        choose_plan(100, aql=6.5, redo_from=0.05, certainty=0.9)


def test_shares_beyond_two_limits_are_those_of_the_standards_worked_example():
    # MIL-STD-414 (1957, public), example B-3, from memory: limits 180 and 209, values 197, 188, 184, 205, 201: mean 195,
    # s 8.81, quality indices 1.59 and 1.70; 2.19 % above, 0.66 % below, 2.85 % in all.
    values = np.array([197.0, 188.0, 184.0, 205.0, 201.0])
    assert values.std(ddof=1) == pytest.approx(8.81, abs=0.01)
    quality = np.array([209 - values.mean(), values.mean() - 180]) / values.std(ddof=1)
    assert quality == pytest.approx([1.59, 1.70], abs=0.005)
    assert 100 * share_beyond([1.59, 1.70], 5) == pytest.approx([2.19, 0.66], abs=0.005)
    middle, half = (209 + 180) / 2, (209 - 180) / 2
    assert 100 * share_off((values - middle) / half) == pytest.approx(2.85, abs=0.06)  # indices not rounded


def test_the_estimate_of_the_share_off_has_no_bias():
    # Lieberman & Resnikoff 1955: the estimate of least variance among those without bias, checked on normal differences.
    rng = np.random.default_rng(4)
    true = norm.sf((1 - 0.3) / 0.6) + norm.cdf((-1 - 0.3) / 0.6)
    found = [share_off(rng.normal(0.3, 0.6, 12)) for _ in range(4000)]
    assert np.mean(found) == pytest.approx(true, abs=0.005)


@pytest.mark.parametrize("count", [5, 12, 20, 40])
def test_work_at_the_limit_passes_95_times_in_100_by_variables(count: int):
    # One limit alone, as the bound is made for: share off 6.5 %.
    rng = np.random.default_rng(count)
    mean = 1 - 0.3 * norm.isf(0.065)
    passed = [share_off(rng.normal(mean, 0.3, count)) <= most_share_off(count, 6.5) for _ in range(3000)]
    assert np.mean(passed) == pytest.approx(0.95, abs=0.012)


def test_too_few_values_tell_no_share():
    assert np.isnan(share_off([0.1, 0.2]))
    assert np.isnan(most_share_off(4, 6.5))
    assert (share_off([0.5] * 6), share_off([2.0] * 6)) == (0.0, 1.0)
