"""The labelling is optimal, or within its stated gap: against trying every labelling, and against its own bound."""

from itertools import combinations, product

import numpy as np
import pytest
from small_blocks import draws_of, field_of, lay_block, need

from geoprune.zones import ZoneOptions, draw_zones
from geoprune.zones.cuts import SLACK, least_cut, whole_scale
from geoprune.zones.drawing import cut_task, draw_all, draw_number, set_task
from geoprune.zones.graph import build_graph
from geoprune.zones.limits import grow_pieces, long_enough, zones_large_enough
from geoprune.zones.runs import label_rows, labelling_cost

FREE = {"shortest_run": 1, "most_changes": 99, "smallest_piece": 1, "smallest_share": 0.0}


def task_of(panels_per_row, seed, options):
    trellis, _ = lay_block(panels_per_row)
    return set_task(trellis, draws_of(field_of(trellis, seed, length_m=25.0), seed=seed), need, options)


def every_labelling(panels, zones):
    return np.array(list(product(range(zones), repeat=panels)))


def costs_of(task, labels, chosen):
    """Cost of many labellings (M, P), written out anew: the sum of losses and of the prices of all differences."""
    said = task.counts[list(chosen)].astype(float)
    own = task.loss[:, list(chosen)][np.arange(labels.shape[1]), labels].sum(axis=1)
    along = np.abs(said[labels[:, task.graph.along[:, 0]]] - said[labels[:, task.graph.along[:, 1]]]).sum(axis=1)
    beside = np.abs(said[labels[:, task.graph.across[:, 0]]] - said[labels[:, task.graph.across[:, 1]]])
    return own + task.options.change_cost * along + task.options.neighbour_cost * beside @ task.graph.across_weight


def least_of_all(task, zones, keep=None):
    labels = every_labelling(len(task.loss), zones)
    if keep is not None:
        labels = labels[[keep(one) for one in labels]]
    sets = combinations(range(len(task.counts)), zones)
    return min(float(costs_of(task, labels, chosen).min()) for chosen in sets)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("zones", [2, 3])
def test_without_limits_no_labelling_and_no_counts_cost_less(seed, zones):
    task = task_of([3, 3, 2], seed, ZoneOptions(max_zones=3, bud_step=10, **FREE))
    if len(task.counts) < zones:
        pytest.skip("fewer candidate counts than zones")
    found, least = draw_number(task, cut_task(task), zones), least_of_all(task, zones)
    bound, _ = cut_task(task).best_counts(zones)
    assert least * (1 - 2 * SLACK) - 0.1 <= bound <= least + 1e-9  # capacities are rounded to 1/10,000
    if found is not None:  # a zone may have no panel in the least labelling: then there are not that many zones
        assert least - 1e-9 <= found.cost <= least * (1 + SLACK) + 0.1


def test_with_limits_the_cost_lies_within_the_stated_gap_and_near_the_least():
    options = ZoneOptions(max_zones=2, bud_step=10, shortest_run=2, most_changes=1, smallest_piece=3, smallest_share=0.2)
    excess = []
    for seed in range(12):
        task = task_of([[4, 4, 4], [5, 4, 4], [3, 3, 3, 3]][seed % 3], seed, options)
        found = draw_number(task, cut_task(task), 2)
        assert found is not None, seed  # two zones always fit here
        assert within_limits(found.labels, task)
        least = least_of_all(task, 2, lambda labels, task=task: within_limits(labels, task))
        assert found.lower_bound <= least + 1e-9 <= found.cost + 2e-9
        excess.append(found.cost / least - 1)
    assert np.mean(np.array(excess) < 1e-9) >= 0.75
    assert np.mean(excess) < 0.01  # 0.05 where pieces are given away and never grown
    assert np.max(excess) < 0.09


def test_a_piece_too_small_is_grown_where_that_costs_less():
    # the middle of row 4 wants its own label dearly; row 5 hardly cares, so six panels are no island
    trellis, _ = lay_block([9] * 6)
    place = trellis.panels.set_index(["row", "panel"]).index
    middle = {row: place.isin([(row, panel) for panel in (4, 5, 6)]) for row in ("R4", "R5")}
    labels = (trellis.panels["row"] == "R1").to_numpy(dtype=np.int64)
    wished = np.where(middle["R4"], 1, labels)
    price = np.array([[0.0, 1.0], [1.0, 0.0]])
    for cost, rows in ((2.0, {"R1", "R4", "R5"}), (12.0, {"R1"})):
        loss = np.where((wished == 1)[:, None], [10.0, 0.0], [0.0, 20.0])
        loss[middle["R5"]] = [0.0, cost]
        grown = grow_pieces(loss, labels, wished, build_graph(trellis), price, 0.2 * price, options=ZoneOptions())
        assert set(trellis.panels["row"][grown == 1]) == rows
        assert (grown == 1).sum() == (15 if len(rows) == 3 else 9)


def within_limits(labels, task):
    graph, options = task.graph, task.options
    return (
        long_enough(labels, graph, options.shortest_run).all()
        and graph.changes_per_row(labels).max() <= options.most_changes
        and np.bincount(graph.parts(labels)).min() >= options.smallest_piece
        and zones_large_enough(labels, 2, graph, options)
    )


def test_a_cut_is_the_least_of_all_cuts():
    rng = np.random.default_rng(1)
    for _ in range(30):
        size = int(rng.integers(2, 9))
        pairs = np.array(list(combinations(range(size), 2)))
        pairs = pairs[rng.uniform(size=len(pairs)) < 0.6].reshape(-1, 2)
        slope, weight = rng.normal(size=size), rng.uniform(0, 1, len(pairs))
        sides = every_labelling(size, 2)
        costs = sides @ slope + (sides[:, pairs[:, 0]] != sides[:, pairs[:, 1]]) @ weight
        cut = least_cut(slope, pairs, weight, scale=whole_scale(slope, weight))
        said = cut @ slope + (cut[pairs[:, 0]] != cut[pairs[:, 1]]) @ weight
        assert said == pytest.approx(costs.min(), abs=1e-3)


@pytest.mark.parametrize(("shortest", "changes"), [(1, 9), (2, 9), (2, 1), (3, 2), (3, 0), (9, 3)])
def test_a_row_is_labelled_at_least_cost_within_its_limits(shortest, changes):
    rng = np.random.default_rng(shortest * 10 + changes)
    price = np.array([[0.0, 0.4, 0.9], [0.4, 0.0, 0.5], [0.9, 0.5, 0.0]])
    lengths = np.array([7, 5, 2, 1])
    cost = rng.uniform(size=(4, 7, 3))
    found = label_rows(cost, lengths, price, shortest_run=shortest, most_changes=changes)
    for row, length in enumerate(lengths):
        least = min(
            cost[row, np.arange(length), labels].sum() + price[labels[:-1], labels[1:]].sum()
            for labels in every_labelling(length, 3)
            if fits(labels, shortest, changes)
        )
        mine = found[row, :length]
        assert fits(mine, shortest, changes)
        assert (found[row, length:] == -1).all()
        said = cost[row, np.arange(length), mine].sum() + price[mine[:-1], mine[1:]].sum()
        assert said == pytest.approx(least, abs=1e-12)


def fits(labels, shortest, changes):
    places = np.flatnonzero(np.diff(labels)) + 1
    runs = np.diff(np.concatenate([[0], places, [len(labels)]]))
    return len(places) <= changes and (len(runs) == 1 or runs.min() >= shortest)


def test_the_told_cost_is_the_cost_written_out():
    task = task_of([4, 3, 4], 2, ZoneOptions(bud_step=10))
    labels = np.random.default_rng(0).integers(0, 2, len(task.loss))
    said = labelling_cost(task.loss[:, [0, 2]], labels, task.graph, *task.prices((0, 2)))
    assert said == pytest.approx(float(costs_of(task, labels[None], (0, 2))[0]), abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_a_large_block_lies_within_five_per_cent_of_its_bound(seed):
    trellis, _ = lay_block([30] * 60)
    task = set_task(trellis, draws_of(field_of(trellis, seed, length_m=150.0), seed=seed), need, ZoneOptions())
    for zones, found in draw_all(task, 4).items():
        assert found.lower_bound <= found.cost + 1e-6, zones
        assert found.cost <= 1.05 * found.lower_bound, zones


def test_more_zones_never_cost_more_without_limits():
    task = task_of([8] * 10, 5, ZoneOptions(**FREE))
    costs = [found.cost for found in draw_all(task, 4).values()]
    assert costs == sorted(costs, reverse=True)


def test_the_gap_is_reported():
    trellis, _ = lay_block([10] * 10)
    zoning = draw_zones(trellis, draws_of(field_of(trellis, 3)), need)
    assert zoning.gap == pytest.approx((zoning.cost - zoning.lower_bound) / zoning.cost)
    assert 0 <= zoning.gap < 0.1
