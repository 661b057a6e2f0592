"""The shortest round along the rows, against every order there is."""

from itertools import permutations

import numpy as np
import pytest
import shapely

from geoprune.sampling import plan_walk

SPACING = 3.0


def rows_of(count, length):
    return np.array([shapely.LineString([(SPACING * r, 0), (SPACING * r, length)]) for r in range(count)], dtype=object)


def alleys_of(row):
    """Alley of each stop: from the first row that is wanted, with the row beyond."""
    alley, wanted = {}, np.unique(row)
    while len(wanted):
        alley |= {wanted[0]: wanted[0], wanted[0] + 1: wanted[0]}
        wanted = wanted[wanted > wanted[0] + 1]
    return np.array([alley[r] for r in row])


def shortest_by_trying(row, along, length):
    """The shortest closed round over all orders, walking alleys and headlands only."""
    alley = alleys_of(row)

    def way(i, j):
        if alley[i] == alley[j]:
            return abs(along[i] - along[j])
        ends = min(along[i] + along[j], 2 * length - along[i] - along[j])
        return abs(int(alley[i]) - int(alley[j])) * SPACING + ends

    rounds = ((0, *rest) for rest in permutations(range(1, len(row))))
    return min(sum(way(a, b) for a, b in zip(r, (*r[1:], r[0]), strict=True)) for r in rounds)


@pytest.mark.parametrize("seed", range(40))
def test_no_order_is_shorter(seed):
    rng = np.random.default_rng(seed)
    length, count = float(rng.choice([12.0, 50.0, 120.0])), int(rng.integers(3, 8))
    row = np.sort(rng.integers(0, 8, count))
    along = rng.uniform(1, length - 1, count)
    if len(set(alleys_of(row))) < 2:
        row[-1] = row[0] + 3
    walk = plan_walk(rows_of(12, length), row, np.column_stack([SPACING * row, along]))
    assert sorted(walk.order) == list(range(count))
    assert walk.length_m == pytest.approx(shortest_by_trying(row, along, length))


def test_rows_drawn_to_and_fro_are_walked_alike():
    rng = np.random.default_rng(0)
    row, along = np.sort(rng.integers(0, 9, 12)), rng.uniform(1, 79, 12)
    points = np.column_stack([SPACING * row, along])
    straight = rows_of(10, 80.0)
    turned = np.where(np.arange(10) % 2, shapely.reverse(straight), straight)
    one, other = plan_walk(straight, row, points), plan_walk(turned, row, points)
    assert one.length_m == pytest.approx(other.length_m)
    assert one.order.tolist() == other.order.tolist()


def test_one_alley_is_walked_out_and_back():
    walk = plan_walk(rows_of(2, 100.0), np.array([0, 1, 0]), np.array([[0, 30.0], [3.0, 10.0], [0, 20.0]]))
    assert (walk.length_m, walk.order.tolist(), walk.begins) == (60.0, [1, 2, 0], "head")
