"""Winter bud injury against published rules and printed examples; each row names its source."""

import numpy as np
import pandas as pd
import pytest
from trade_figures import bud_need

from geoprune.errors import DataError
from geoprune.rules import (
    BudNeed,
    assess_injury,
    buds_to_cut,
    buds_to_cut_table,
    crop_potential,
    injury_method,
    load_rules,
    parse_rule,
    share_interval,
    zone_injury,
)
from geoprune.units import KG_PER_LB

CORNELL = "Martinson 2014, Cornell Cooperative Extension"
MICHIGAN = "Zabadal 2002, Michigan State University Extension Bulletin E-2774"
PURDUE = "Purdue University, Facts for Fancy Fruit, double pruning"
GROWER = "winemakingtalk.com, grower's printed example (second-hand)"


def checks(dead, cut=100, **more):
    return pd.DataFrame({"buds_cut": np.atleast_1d(cut), "primary_dead": np.atleast_1d(dead), **more})


@pytest.mark.parametrize(
    ("method", "nodes", "share", "expected", "source"),
    [
        ("cornell", 40, 0.10, 40, f"printed: {CORNELL}: nothing below 20 %"),
        ("cornell", 40, 0.1999, 40, f"printed: {CORNELL}: nothing below 20 %"),
        ("cornell", 40, 0.20, 48, f"applied: {CORNELL}: from 20 % add the share"),
        ("cornell", 40, 0.35, 54, f"applied: {CORNELL}: 35 % dead, 35 % more"),
        ("cornell", 40, 0.50, 60, f"applied: {CORNELL}; sum computed"),
        ("cornell", 40, 0.55, 62, f"applied: {CORNELL}; 40 x 1.55 computed"),
        ("cornell", 40, 0.80, 72, f"applied: {CORNELL}: to 80 % add the share"),
        ("cornell", 40, 0.85, None, f"printed: {CORNELL}: no number above 80 %"),
        ("replace", 40, 0.35, 61.538, "ours: 40 / 0.65, computed"),
        ("replace", 50, 0.40, 83.333, f"printed: {GROWER}"),
        ("replace", 40, 0.50, 80, "ours: 40 / 0.5, computed"),
        ("replace", 40, 1.00, None, "ours: no live bud: no count can make it up"),
        ("michigan", 40, 0.10, 40, f"printed: {MICHIGAN}: 0-15 % normal"),
        ("michigan", 40, 0.18, 40, f"ours: {MICHIGAN} is silent here; its general advice is too few nodes when unsure"),
        ("michigan", 40, 0.50, 80, f"applied: {MICHIGAN}: make up for the share dead; sum computed"),
        ("michigan", 40, 0.55, None, f"printed: {MICHIGAN}: minimal pruning above 50 %"),
        ("purdue", 40, 0.15, 40, f"printed: {PURDUE}: 0-15 % normal"),
        ("purdue", 40, 0.25, 54, f"applied: {PURDUE}: 35 % more; sum computed"),
        ("purdue", 40, 0.35, 54, f"applied: {PURDUE}: to 35 %"),
        ("purdue", 40, 0.45, 60, f"applied: {PURDUE}: 50 % more; sum computed"),
        ("purdue", 40, 0.55, None, f"printed: {PURDUE}: minimal pruning above 50 %"),
    ],
)
def test_published_methods(method, nodes, share, expected, source):
    found = nodes * injury_method(method).factor(share)
    if expected is None:
        assert np.isnan(found), source
    else:
        assert found == pytest.approx(expected, abs=0.001), source


@pytest.mark.parametrize(
    ("dead", "method", "stop"),
    [(85, "cornell", True), (55, "cornell", False), (55, "michigan", True), (55, "purdue", True), (50, "purdue", False)],
)
def test_stop_limits_give_no_number_and_ask_for_a_person(dead, method, stop):
    # Martinson 2014 (Cornell), Zabadal 2002 (Michigan), Purdue: limits at 80, 50, 50 %
    injury = assess_injury(checks(dead), method=method)
    assert injury.stop is stop
    assert np.isnan(injury.factor) == stop
    assert ("injury.stop" in [message.key for message in injury.messages]) == stop


def test_interval_reads_as_in_print():
    # 35 dead of 100: SE 0.0477 and 95 % range 26-44 % (binomial formula, computed)
    injury = assess_injury(checks(35))
    assert injury.share == 0.35
    assert (injury.high - injury.share) / 1.959964 == pytest.approx(0.0477, abs=5e-5)
    assert (round(100 * injury.low), round(100 * injury.high)) == (26, 44)
    assert (injury.factor, injury.factor_low, injury.factor_high) == pytest.approx((1.35, 1.2565, 1.4435), abs=1e-4)


@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    # Clopper & Pearson 1934 exact limits, closed forms for none and all: 1 - 0.025^(1/n)
    [(0, 20, 0.0, 1 - 0.025 ** (1 / 20)), (20, 20, 0.025 ** (1 / 20), 1.0)],
)
def test_exact_interval_where_few_were_counted(count, total, low, high):
    assert share_interval(count, total) == pytest.approx((low, high), abs=1e-12)


def test_interval_covers_its_share():
    # Coverage over repeated counts of 100 buds, from the binomial distribution itself
    from scipy.stats import binom

    for share in (0.1, 0.2, 0.35, 0.5, 0.8):
        inside = sum(binom.pmf(k, 100, share) for k in range(101) if (e := share_interval(k, 100))[0] <= share <= e[1])
        assert 0.92 < inside < 0.99


@pytest.mark.parametrize(
    ("dead", "second", "potential"),
    [(40, 0, 0.74), (100, 0, 0.35), (0, 0, 1.0), (40, 40, 0.60), (100, 100, 0.0)],
)
def test_crop_potential_of_secondary_buds(dead, second, potential):
    # Howell 2002, eXtension Grapes: secondary 35 % of the primary's crop (Concord, Niagara); sums computed
    table = checks(dead, secondary_dead=[second])
    assert crop_potential(table, "Concord") == pytest.approx(potential, abs=1e-12)
    assert np.isnan(crop_potential(table, "Riesling"))
    assert np.isnan(crop_potential(checks(dead), "Concord"))


def test_whole_chain_concord():
    # Concord 30+10 (Smith 2023) at 2.4 lb, 25 % dead (Martinson 2014): 44 nodes become 55
    injury = assess_injury(checks(25), variety="Concord")
    need = bud_need(load_rules().resolve("american"), injury)
    assert need(2.4 * KG_PER_LB) == pytest.approx(55, abs=1e-9)


@pytest.mark.parametrize(
    ("precision", "share", "buds", "source"),
    [
        (1.959964 * 0.0477, 0.35, 100, "ours: 100 buds at 35 %: SE 0.0477, computed"),
        (1.959964 * 0.0674536, 0.35, 50, "ours: 50 buds at 35 %: SE 0.067, computed"),
        (0.098, 0.5, 100, "applied: 100 buds, the number Maryland asks for (Fiola 2018): +- 9.8 points at worst"),
        (0.05, 0.5, 385, "memory: textbook n for +- 5 points (Cochran 1977, from memory)"),
    ],
)
def test_buds_to_cut(precision, share, buds, source):
    assert buds_to_cut(precision, share) == pytest.approx(buds, abs=1), source


def test_table_of_buds_to_cut_rises_with_precision():
    rows = pd.DataFrame(buds_to_cut_table(cluster_factor=2.0))
    for _, part in rows.groupby("share"):
        assert (np.diff(part.sort_values("precision")["buds"]) < 0).all()
    assert buds_to_cut(0.1, 0.35, cluster_factor=2.0) == pytest.approx(2 * buds_to_cut(0.1, 0.35), abs=1)


def test_no_checks_change_nothing():
    for table in (None, checks([], [])):
        injury = assess_injury(table)
        assert (injury.factor, injury.stop, injury.buds_cut) == (1.0, False, 0)
        assert [message.key for message in injury.messages] == ["injury.none"]


def located(dead, cut, places):
    import geopandas as gpd
    from shapely import points

    return gpd.GeoDataFrame({"buds_cut": cut, "primary_dead": dead}, geometry=points(places), crs=32617)


def test_places_that_differ_are_mapped():
    # Invented: injury falls from 50 % at the west end to 5 % at the east end of a 300 m block
    rng = np.random.default_rng(5)
    places = np.column_stack([np.linspace(0, 300, 10), rng.uniform(0, 60, 10)])
    truth = 0.5 - 0.45 * places[:, 0] / 300
    table = located(rng.binomial(50, truth), 50, places)
    midpoints = np.column_stack([np.linspace(0, 300, 61), np.full(61, 30.0)])
    injury = assess_injury(table, panel_midpoints=midpoints)
    assert injury.differs
    panels = injury.panels
    expected = 0.5 - 0.45 * midpoints[:, 0] / 300
    assert np.abs(panels.share - expected).max() < 0.15
    assert np.mean((panels.low <= expected) & (expected <= panels.high)) > 0.85
    assert panels.share[0] > 0.35 > 0.2 > panels.share[-1]
    need = BudNeed(parse_rule("20+20"), injury_factor=injury.need_factor)
    buds = need(np.full((61, 3), 2 * KG_PER_LB))
    assert buds.shape == (61, 3)
    assert buds[0, 0] > buds[-1, 0] == pytest.approx(40)
    zones = zone_injury(injury, np.repeat([1, 2], [30, 31]), np.full(61, 3))
    assert zones.loc[1, "injury_share"] > zones.loc[2, "injury_share"]
    assert (zones["injury_low"] < zones["injury_share"]).all()


def test_places_that_are_alike_are_not_mapped():
    # The share of false alarms at one true share stays near the stated 1 % (chi-square test)
    rng = np.random.default_rng(6)
    places = rng.uniform(0, 200, (8, 2))
    mapped = [
        assess_injury(located(rng.binomial(50, 0.3, 8), 50, places), panel_midpoints=places).differs for _ in range(150)
    ]
    assert np.mean(mapped) <= 0.03


def test_scatter_between_places_widens_the_interval():
    even = assess_injury(checks([30, 30, 30, 30], [100] * 4))
    uneven = assess_injury(checks([10, 50, 10, 50], [100] * 4))
    assert uneven.share == even.share
    assert uneven.high - uneven.low > 3 * (even.high - even.low)


def test_parts_past_the_stop_limit_get_no_factor_but_zones_can_be_drawn():
    places = np.array([[0.0, 0], [10, 0], [5, 10], [300, 0], [310, 0], [305, 10]])
    table = located([58, 57, 59, 5, 6, 4], 60, places)
    injury = assess_injury(table, panel_midpoints=places)
    assert not injury.stop
    assert np.isnan(injury.panel_factor[:3]).all()
    assert np.isfinite(injury.need_factor).all()
    assert "injury.stop_in_parts" in [message.key for message in injury.messages]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (checks([120]), "more than the 100 buds cut"),
        (checks([-1]), "not a count"),
        (checks([3.5]), "not a count"),
        (checks([0], [0]), "no buds were cut"),
        (checks([10], secondary_dead=[101]), "more than the 100 buds cut"),
        (checks([np.nan]), "not a count"),
    ],
)
def test_impossible_counts_are_refused(table, said):
    with pytest.raises(DataError, match=said) as caught:
        assess_injury(table)
    assert caught.value.problems[0].layer == "bud_checks"


def test_all_bad_rows_are_told_together():
    with pytest.raises(DataError) as caught:
        assess_injury(checks([120, 5, -3], [100, 100, 100]))
    assert [problem.row for problem in caught.value.problems] == ["row 1", "row 3"]


def test_unknown_method_names_the_nearest():
    with pytest.raises(DataError, match="cornell"):
        assess_injury(checks(10), method="cornel")
