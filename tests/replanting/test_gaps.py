"""Areas of gaps and very small vines on an invented block of 12 straight rows, 3 m apart, vines 2 m apart."""

from __future__ import annotations

import pytest
from pandas.testing import assert_frame_equal
from small_plans import small_plan
from stands import CLUMP, stand

from geoprune.replanting import PriceList, Stand, gap_table, propose


def test_a_clump_over_three_rows():
    (area,) = gap_table(stand(CLUMP)).itertuples()
    assert (area.vines_missing, area.vines_weak, area.first_row, area.last_row) == (12, 0, "4", "6")
    assert area.row_length_m == pytest.approx(3 * 8.0)
    assert area.geometry.bounds == pytest.approx((12 - 1.515, 19, 18 + 1.515, 27))
    assert area.geometry.area == pytest.approx(9.03 * 8, rel=1e-6)
    assert area.area_ha > 0
    assert area.reason == "missing or dead vines close together"


def test_the_area_follows_the_rows():
    # gaps lie along one row only: a strip a row spacing wide, from the first gap to the last
    (area,) = gap_table(stand([(5, v) for v in (3, 5, 7, 9)])).itertuples()
    assert area.geometry.bounds == pytest.approx((15 - 1.515, 5, 15 + 1.515, 19))
    assert (area.vines_missing, area.row_length_m) == (4, pytest.approx(14.0))


def test_few_or_scattered_gaps_are_not_worth_a_trip():
    assert gap_table(stand(CLUMP[:3])).empty
    assert gap_table(stand([(r, 3 * (r // 2) + 1) for r in range(1, 12, 2)])).empty
    assert gap_table(stand()).empty


def test_very_small_vines_count_with_gaps_and_alone():
    gaps = [(5, v) for v in (3, 4, 5)]
    (area,) = gap_table(stand(gaps, weak=[(5, 6), (6, 4)])).itertuples()
    assert (area.vines_missing, area.vines_weak) == (3, 2)
    assert area.reason == "missing, dead and very small vines close together"
    (area,) = gap_table(stand(weak=[(7, v) for v in (5, 6, 7, 8)])).itertuples()
    assert (area.vines_missing, area.vines_weak, area.row_length_m) == (0, 4, pytest.approx(8.0))
    assert area.reason == "very small vines close together"


def test_diseased_vines_make_no_area_and_are_counted_where_they_stand_in_one():
    gaps = [(r, v) for r in (4, 5, 6) for v in (10, 12)]
    (area,) = gap_table(stand(gaps, sick=[(5, 11), (1, 1)])).itertuples()
    assert (area.vines_missing, area.vines_diseased) == (6, 1)
    assert gap_table(stand(sick=CLUMP)).empty


def test_the_largest_area_comes_first_and_counts_add_up():
    gone = [*CLUMP, *[(r, v) for r in (9, 10) for v in (25, 26)]]
    table = gap_table(stand(gone))
    assert table["area"].tolist() == [1, 2]
    assert table["vines_missing"].tolist() == [12, 4]
    assert (table.geom_type == "MultiPolygon").all()


def test_young_vines_are_no_gap():
    assert gap_table(stand(young=CLUMP)).empty


def test_a_plan_and_a_proposal_gather_the_same_areas_where_nothing_is_diseased():
    here = stand([*CLUMP, *[(r, v) for r in (9, 10) for v in (25, 26, 27)], (1, 1)], weak=[(4, 9), (11, 26)])
    dear = PriceList({"plant": 1000.0}).of("A")  # where single replants bring nothing a trip has four vines, as in a plan
    found, shown = propose(here, dear), gap_table(here)
    proposed = found.areas[found.areas["area"] > 0].sort_values("area")
    assert proposed["missing_or_dead"].tolist() == shown["vines_missing"].tolist() == [12, 6]
    assert proposed["weak"].tolist() == shown["vines_weak"].tolist() == [1, 1]
    assert (proposed.geometry.reset_index(drop=True) == shown.geometry).all()


def test_a_plan_s_areas_are_those_of_its_gaps_and_of_the_vines_it_renews():
    plan = small_plan(rows=8, vines=30)
    vines = plan.vines.assign(weak=plan.vines["treatment"] == "renew")
    vines["row_order"] = vines["row"].map(dict(zip(plan.rows["row"], plan.rows["order"], strict=True)))
    again = gap_table(Stand(plan.name, "", "", plan.settings.row_spacing_m, plan.settings.vine_spacing_m, 4, vines))
    assert len(again)
    assert_frame_equal(plan.replant_areas.drop(columns=["block", "geometry"]), again.drop(columns="geometry"))
