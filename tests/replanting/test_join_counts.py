"""Join counts against a published example, against every possible dealing of marks, and on planted patterns."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from geoprune.replanting import count_joins, expected_joins


def lattice(rows: int, columns: int) -> np.ndarray:
    number = np.arange(rows * columns).reshape(rows, columns)
    along = np.stack([number[:, :-1].ravel(), number[:, 1:].ravel()], axis=1)
    across = np.stack([number[:-1].ravel(), number[1:].ravel()], axis=1)
    return np.concatenate([along, across])


def test_the_example_of_a_reference_library():
    # esda (PySAL), documentation of Join_Counts: a 4 x 4 lattice, the first eight cells 0, the others 1: 24 joins, BB 10,
    # p of BB 0.003 in 999 permutations, their mean BB 5.547
    marked = np.ones(16, dtype=bool)
    marked[:8] = False
    found = count_joins(lattice(4, 4), marked)
    assert (found.joins, found.both, found.marked) == (24, 10, 8)
    assert found.p_value == pytest.approx(0.003, abs=0.003)
    assert found.expected == pytest.approx(5.547, abs=0.15)
    assert found.expected == pytest.approx(24 * 8 * 7 / (16 * 15))  # Cliff & Ord 1981: J m (m - 1) / (n (n - 1))


@pytest.mark.parametrize(("rows", "columns", "marked"), [(3, 4, 5), (2, 5, 3), (3, 3, 2), (2, 2, 4)])
def test_mean_and_variance_are_those_of_every_dealing(rows: int, columns: int, marked: int):
    joins, count = lattice(rows, columns), []
    for chosen in combinations(range(rows * columns), marked):
        dealt = np.isin(np.arange(rows * columns), chosen)
        count.append((dealt[joins[:, 0]] & dealt[joins[:, 1]]).sum())
    mean, variance = expected_joins(joins, rows * columns, marked)
    assert mean == pytest.approx(np.mean(count))
    assert variance == pytest.approx(np.var(count), abs=1e-9)


def test_scattered_marks_are_found_clustered_as_often_as_the_level_says():
    generator = np.random.default_rng(4)
    joins, found = lattice(10, 20), 0
    for run in range(200):
        marked = np.isin(np.arange(200), generator.choice(200, 14, replace=False))
        found += count_joins(joins, marked, permutations=99, seed=run).p_value <= 0.05
    assert 2 <= found <= 20  # binomial(200, 0.05): 10 +- 3; ties make it fewer


def test_a_clump_is_found_and_nothing_marked_is_nothing():
    marked = np.zeros((10, 20), dtype=bool)
    marked[3:6, 4:8] = True
    assert count_joins(lattice(10, 20), marked.ravel()).together
    none = count_joins(lattice(10, 20), np.zeros(200, dtype=bool))
    assert (none.both, none.p_value, none.together) == (0, 1.0, False)
