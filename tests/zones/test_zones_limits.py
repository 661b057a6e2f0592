"""Each practical limit holds in what is drawn."""

import numpy as np
import pytest
from small_blocks import PER_PANEL, ROW_M, VINE_M, draws_of, field_of, lay_block, need

from geoprune.zones import ZoneOptions, draw_zones
from geoprune.zones.drawing import draw_all, set_task
from geoprune.zones.graph import build_graph

PANEL_HA = PER_PANEL * VINE_M * ROW_M / 10_000


@pytest.fixture(scope="module")
def restless():
    """A block whose field changes every few panels: every limit binds."""
    trellis, _ = lay_block([16, 18, 20, 20, 20, 19, 17, 20, 20, 20, 20, 14], offsets_m=[12, 6, *[0] * 9, 18])
    return trellis, draws_of(field_of(trellis, 7, waves=5, length_m=35.0, sd_kg=0.4), vine_sd_kg=0.05)


def drawn(restless, **options):
    trellis, draws = restless
    task = set_task(trellis, draws, need, ZoneOptions(**options))
    found = draw_all(task, task.options.max_zones)
    assert len(found) > 1, "nothing was drawn"
    return task.graph, [one.labels for zones, one in found.items() if zones > 1]


def runs_of(graph, labels):
    for row in graph.rows:
        own = labels[row[row >= 0]]
        yield np.diff(np.concatenate([[0], np.flatnonzero(np.diff(own)) + 1, [len(own)]]))


@pytest.mark.parametrize("shortest", [1, 2, 4, 7])
def test_no_run_is_shorter_than_asked(restless, shortest):
    graph, found = drawn(restless, shortest_run=shortest, max_zones=4)
    for labels in found:
        assert min(runs.min() for runs in runs_of(graph, labels)) >= shortest


def test_a_row_shorter_than_a_run_is_one_run():
    trellis, _ = lay_block([12, 12, 3, 12, 12, 12])
    draws = draws_of(field_of(trellis, 7, length_m=35.0, sd_kg=0.4), vine_sd_kg=0.05)
    graph, found = drawn((trellis, draws), shortest_run=4)
    for labels in found:
        lengths = [len(runs) for runs in runs_of(graph, labels)]
        assert lengths[2] == 1
        assert max(lengths) > 1


@pytest.mark.parametrize("most", [0, 1, 2, 3])
def test_no_row_changes_more_often_than_asked(restless, most):
    graph, found = drawn(restless, most_changes=most)
    for labels in found:
        assert graph.changes_per_row(labels).max() <= most


@pytest.mark.parametrize("smallest", [2, 6, 15])
def test_there_are_no_islands(restless, smallest):
    graph, found = drawn(restless, smallest_piece=smallest)
    for labels in found:
        assert np.bincount(graph.parts(labels)).min() >= smallest


@pytest.mark.parametrize("share", [0.1, 0.2, 0.35])
def test_no_zone_is_a_smaller_share_than_asked(restless, share):
    _, found = drawn(restless, smallest_share=share)
    for labels in found:
        assert np.bincount(labels).min() >= share * len(labels)


def test_no_zone_is_smaller_than_the_area_asked(restless):
    least_ha = 60 * PANEL_HA
    _, found = drawn(restless, smallest_ha=least_ha)
    for labels in found:
        assert np.bincount(labels).min() * PANEL_HA >= least_ha - 1e-9


@pytest.mark.parametrize("most", [1, 2, 3, 4])
def test_no_more_zones_than_asked(restless, most):
    zoning = draw_zones(*restless, need, options=ZoneOptions(max_zones=most, worth=1e6))
    assert zoning.panel_zone.max() == len(zoning.buds) <= most
    assert len(np.unique(zoning.buds)) == len(zoning.buds)


@pytest.mark.parametrize("step", [1, 4, 5])
def test_counts_are_whole_steps_and_rise_with_vine_size(restless, step):
    zoning = draw_zones(*restless, need, options=ZoneOptions(bud_step=step))
    assert (zoning.buds % step == 0).all()
    assert (np.diff(zoning.buds) > 0).all()
    assert zoning.one_number % step == 0
    size = [restless[1].panel_mean.mean(axis=0)[zoning.panel_zone == z].mean() for z in range(1, len(zoning.buds) + 1)]
    assert (np.diff(size) > 0).all()


def test_changes_cost_what_they_cost(restless):
    changes = []
    for cost in (0.0, 1.0, 3.0, 6.0):
        graph, found = drawn(restless, change_cost=cost, most_changes=20, shortest_run=1)
        changes.append(graph.changes_per_row(found[0]).sum())
    assert changes == sorted(changes, reverse=True)
    assert changes[0] > changes[-1]


def test_a_dearer_bud_too_many_lowers_the_counts(restless):
    numbers = [draw_zones(*restless, need, options=ZoneOptions(over_weight=w)).one_number for w in (0.5, 1.25, 6.0)]
    assert numbers == sorted(numbers, reverse=True)
    assert numbers[0] > numbers[-1]


def test_choices_out_of_bounds_are_all_named():
    with pytest.raises(ValueError, match=r"bud_step must be at least 1, not 0; shortest_run must be at least 1, not 0"):
        ZoneOptions(bud_step=0, shortest_run=0)
    with pytest.raises(ValueError, match=r"smallest_share must be below 0\.5"):
        ZoneOptions(smallest_share=0.5)
    with pytest.raises(ValueError, match="change_cost"):
        ZoneOptions(change_cost=float("nan"))
    with pytest.raises(ValueError, match="counts must rise"):
        ZoneOptions(counts=(8, 4))


def test_panels_face_their_neighbours_and_no_others():
    graph = build_graph(lay_block([4, 4, 4])[0])
    assert len(graph.along) == 3 * 3
    pairs = {tuple(sorted(pair)) for pair in graph.across.tolist()}
    assert pairs == {(p + 4 * row, p + 4 * (row + 1)) for row in (0, 1) for p in range(4)}
    assert graph.across_weight.tolist() == [1.0] * 8
    assert graph.area_ha.sum() == pytest.approx(12 * PANEL_HA)
