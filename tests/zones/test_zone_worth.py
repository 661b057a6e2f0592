"""What zones cost and bring: marks, minutes, and a verdict that no unit and no size of vine can move."""

from dataclasses import replace

import numpy as np
import pytest
from small_blocks import PER_PANEL, ROW_M, VINE_M, draws_of, field_of, lay_block, need

from geoprune.sizes import SizeDraws
from geoprune.units import KG_PER_LB
from geoprune.zones import ZoneOptions, draw_zones
from geoprune.zones.choosing import Ways, try_ways
from geoprune.zones.counts import ladder, usual_step
from geoprune.zones.graph import build_graph
from geoprune.zones.worth import PACE_M, Worth, count_marks, marking_minutes


@pytest.fixture(scope="module")
def block():
    trellis, _ = lay_block([14] * 9)
    return trellis, draws_of(field_of(trellis, 7, sd_kg=0.2), draws=40, vine_sd_kg=0.2)


def test_marks_and_minutes_are_those_counted_by_hand():
    # four rows of six panels: two rows change once, one twice, one never
    trellis, _ = lay_block([6] * 4)
    graph = build_graph(trellis)
    labels = np.array([[0] * 3 + [1] * 3, [0] * 3 + [1] * 3, [0, 0, 1, 1, 0, 0], [0] * 6]).ravel()
    labels = labels[np.argsort(graph.rows.ravel())]
    assert count_marks(labels, graph) == 2 * 4 + 4
    row_m = 6 * PER_PANEL * VINE_M
    by_hand = 0.5 * 12 + (3 * row_m / 2 + 2 * 4 * ROW_M) / PACE_M  # two rows from an alley, and both headlands
    assert marking_minutes(labels, graph, ZoneOptions(minutes_per_mark=0.5)) == pytest.approx(by_hand)
    assert count_marks(np.zeros(24, dtype=int), graph) == 0
    assert marking_minutes(np.zeros(24, dtype=int), graph, ZoneOptions()) == 0


def numbers_of(zoning):
    """What must not depend on units: verdict, outlines, cost, shares."""
    benefit = zoning.benefit
    return [*vars(benefit.worth).values(), benefit.saving_share, benefit.possible_share]


@pytest.mark.parametrize("worth", [1.0, 4.0, 40.0])
def test_a_vine_of_ten_buds_and_one_of_a_hundred_are_judged_alike(block, worth):
    trellis, draws = block
    options = ZoneOptions(worth=worth, bud_step=1)
    small = draw_zones(trellis, draws, lambda kg: 12.0 * kg, options=options)
    large = draw_zones(trellis, draws, lambda kg: 120.0 * kg, options=replace(options, bud_step=10))
    assert small.verdict == large.verdict
    assert (small.panel_zone == large.panel_zone).all()
    assert (10 * small.buds == large.buds).all()
    assert numbers_of(small) == pytest.approx(numbers_of(large), rel=1e-9)


def test_pounds_and_kilograms_give_the_same_zones(block):
    trellis, draws = block
    pounds = SizeDraws(draws.panel_mean / KG_PER_LB, draws.vine_sd / KG_PER_LB)
    one = draw_zones(trellis, draws, need)
    other = draw_zones(trellis, pounds, lambda pound: need(pound * KG_PER_LB))
    assert one.verdict == other.verdict
    assert (one.panel_zone == other.panel_zone).all()
    assert one.buds.tolist() == other.buds.tolist()
    assert numbers_of(one) == pytest.approx(numbers_of(other), rel=1e-3)  # capacities of cuts are whole numbers


def test_slower_pruning_makes_marks_cheaper_by_as_much(block):
    trellis, draws = block
    quick = draw_zones(trellis, draws, need, options=ZoneOptions(minutes_per_vine=1.0, worth=8.0))
    slow = draw_zones(trellis, draws, need, options=ZoneOptions(minutes_per_vine=4.0, worth=2.0))
    assert quick.benefit.worth.net_minutes == pytest.approx(slow.benefit.worth.net_minutes)


def test_more_zones_the_more_they_are_worth_and_fewer_the_dearer_marks_are(block):
    worths = [0.0, 1.5, 5.0, 1e6]
    chosen = [draw_zones(*block, need, options=ZoneOptions(worth=w)).benefit.chosen_zones for w in worths]
    assert chosen == sorted(chosen)
    assert chosen[0] == 1 < chosen[-1]
    options = [ZoneOptions(minutes_per_mark=price) for price in (0.0, 4.0, 100.0)]
    dearer = [draw_zones(*block, need, options=one).benefit.chosen_zones for one in options]
    assert dearer == sorted(dearer, reverse=True)
    assert dearer[0] > dearer[-1] == 1


def test_all_numbers_of_zones_are_compared_none_alone():
    # two zones do not pay and three do: three are chosen; the third need not beat the second by anything
    worths = {1: Worth(0, 0.0, 0.0), 2: Worth(50, 60.0, -5.0), 3: Worth(80, 90.0, 2.0)}
    ways = Ways(task=None, drawn=dict.fromkeys(worths), misfits=None, worths=worths)
    assert ways.best(least=1) == 3
    assert ways.best(least=2) == 3
    poor = replace(ways, worths=worths | {3: Worth(80, 90.0, -1.0)})
    assert (poor.best(least=1), poor.best(least=2)) == (1, 3)
    assert replace(ways, drawn={1: None}).best(least=2) == 1


def test_the_chosen_number_has_most_left_over(block):
    ways = try_ways(*block, need, ZoneOptions(max_zones=4))
    number = float(ways.task.counts[ways.drawn[1].chosen[0]])
    minutes = 3.0 * ways.task.counted.sum()
    for zones, worth in ways.worths.items():
        saving = float(ways.misfits.saving(ways.place(zones)).mean())
        assert worth.net_minutes == pytest.approx(5.0 * saving / number * minutes - worth.minutes)
    zoning = draw_zones(*block, need, options=ZoneOptions(max_zones=4))
    assert zoning.benefit.worth.net_minutes == max(worth.net_minutes for worth in ways.worths.values())
    assert zoning.benefit.pruning_minutes == minutes


def test_one_number_still_shows_the_best_zones_there_could_be(block):
    whole = draw_zones(*block, need)
    assert whole.verdict == "zone"
    assert whole.alternative is None
    held = draw_zones(*block, need, pattern="likely")
    other = held.alternative
    assert held.verdict == "one_number"
    assert (other.panel_zone == whole.panel_zone).all()
    assert other.buds.tolist() == whole.buds.tolist()
    assert other.saving_buds == whole.benefit.gains.saving_buds
    assert (other.marks, other.minutes) == (whole.benefit.worth.marks, whole.benefit.worth.minutes)
    assert 0 < other.saving_share < other.possible_share < 1
    assert held.benefit.worth.marks == 0 == held.benefit.saving_share


def test_zones_that_save_nothing_are_nobodys_wish():
    # vines that differ by 2 buds told counts 20 apart: any second zone is told a wrong number
    trellis, _ = lay_block([10] * 8)
    size = np.where(np.arange(80) % 10 < 5, 0.74, 0.79)
    draws = draws_of(size, doubt_kg=0.005, vine_sd_kg=0.01)
    zoning = draw_zones(trellis, draws, need, pattern="none", options=ZoneOptions(counts=(10, 30, 50), change_cost=0.0))
    assert zoning.verdict == "one_number"
    assert (zoning.one_number, zoning.alternative) == (30, None)
    assert [reason.key for reason in zoning.reasons] in (["zones.no_pattern"], ["zones.cannot_draw"])


def test_the_step_follows_from_the_number():
    # at most 6 % of the number, in steps people count in
    assert [usual_step(number) for number in (5, 11, 33, 35, 57, 83, 85, 100, 166, 170)] == [1, 1, 1, 2, 2, 2, 5, 5, 5, 10]


def test_counts_of_the_wood_are_reported_and_a_step_that_is_asked_for_goes_before_them(block):
    counts = (20, 24, 28, 32, 36, 40, 44, 48)
    zoning = draw_zones(*block, need, options=ZoneOptions(counts=counts))
    assert set(zoning.buds.tolist()) | {zoning.one_number} <= set(counts)
    asked = draw_zones(*block, need, options=ZoneOptions(counts=counts, bud_step=7))
    assert (asked.buds % 7 == 0).all()
    assert ladder(ZoneOptions(counts=counts), 30.0, need).tolist() == list(counts)
    short = draw_zones(*block, need, options=ZoneOptions(counts=(10, 20)))
    assert short.one_number == 20  # nothing nearer can be told


def test_the_cost_of_a_step_is_none_for_whole_buds_and_grows_with_it(block):
    _, draws = block
    needed = need(draws.vine_points())
    losses = {b: np.maximum(1.25 * (b - needed), needed - b).mean() for b in range(20, 50)}
    best = min(losses, key=losses.get)
    costs = [draw_zones(*block, need, options=ZoneOptions(bud_step=step, worth=0.0)) for step in (1, 5, 20)]
    for zoning in costs:
        lost = losses[zoning.one_number] - losses[best]
        assert zoning.benefit.counting_cost_buds == pytest.approx(lost, abs=1e-9)
    assert costs[0].one_number == best
    assert costs[2].benefit.counting_cost_buds > 0
