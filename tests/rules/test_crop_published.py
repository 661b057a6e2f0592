"""Crop, planting and labour figures against printed examples; each row names its source."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trade_figures import crop_offers, vines_per_ac, vines_per_ha

from geoprune.errors import DataError
from geoprune.reading import check_harvest
from geoprune.rules import (
    CropAssumptions,
    Range,
    assumptions_for,
    buds_for_target,
    expect_crop,
    load_crop_assumptions,
    load_rules,
    loss_notes,
    missing_share,
    plan_labour,
    replants_alive,
    zone_yield_kg,
)
from geoprune.units import KG_PER_LB, M_PER_FT

AC_PER_HA = 2.4710538147


def fixed(budbreak, clusters, weight_g):
    return CropAssumptions(*(Range(v, v, v) for v in (budbreak, clusters, weight_g)), source="given")


@pytest.mark.parametrize(
    ("nodes", "budbreak", "clusters", "weight_lb", "expected_lb", "source"),
    [
        (24, 1.0, 2, 0.25, 12.0, "printed: amigonivinifera.blogspot.com 2009, printed example (second-hand)"),
        (24, 0.8, 2, 0.25, 9.6, "applied: the same at 80 % budbreak; the source says 9"),
        (80, 1.0, 1, 30 * 0.5 / 453.59237, 2.65, "printed: Martinson & Gerling 2016, Veraison to Harvest 1: prints 2.6 lb"),
    ],
)
def test_crop_of_a_vine(nodes, budbreak, clusters, weight_lb, expected_lb, source):
    crop = expect_crop([nodes], [605], fixed(budbreak, clusters, 1000 * weight_lb * KG_PER_LB))
    assert crop.kg_per_vine[0] / KG_PER_LB == pytest.approx([expected_lb] * 3, abs=0.005), source


def test_half_a_gram_a_berry_is_eight_tenths_of_a_ton():
    # Martinson & Gerling 2016, Veraison to Harvest 1: 80 clusters x 30 berries x 0.5 g on 605 vines: about 1600 lb,
    # 8/10 ton per acre
    crop = expect_crop([80], [605], fixed(1, 1, 15.0), area_ha=[1 / AC_PER_HA])
    pounds = crop.block_total_kg[1] / KG_PER_LB
    assert pounds == pytest.approx(1600, abs=2)
    assert pounds / 2000 == pytest.approx(0.80, abs=0.001)
    assert crop.block_t_ha[1] == pytest.approx(0.80 * 2.2417023, abs=0.002)


def test_chambourcin_trial_is_consistent():
    # Kurtural, Dami & Taylor 2006: 9.7 kg/vine and 13.4 t/ha mean 1381 vines/ha (computed)
    crop = expect_crop([100], [1381.4], fixed(1, 1, 97.0), area_ha=[1.0])
    assert crop.block_kg_per_vine[1] == pytest.approx(9.7)
    assert crop.block_t_ha[1] == pytest.approx(13.4, abs=0.001)


def test_clusters_per_shoot_in_print_are_offered():
    # Kurtural, Dami & Taylor 2006: 1-1.2 clusters per shoot after thinning
    (offer,) = [o for o in crop_offers() if o["variety"] == "Chambourcin"]
    assert (offer["values"][0], offer["values"][2]) == (1.0, 1.2)
    assert all(len(o["source"]) > 10 for o in crop_offers())
    assert assumptions_for("Chambourcin", []) is None


@pytest.mark.parametrize(
    ("row_ft", "vine_ft", "exact", "printed", "source"),
    [
        (9, 6, 806.667, 807, "printed: Dami, How to Estimate Grape Yields, Ohio State University"),
        (9, 8, 605.0, 605, "printed: Martinson & Gerling 2016, Cornell"),
        (10, 6, 726.0, 726, "printed: biologyinsights.com (second-hand)"),
        (8, 4, 1361.25, 1361, "printed: biologyinsights.com (second-hand)"),
        (8, 6, 907.5, 908, "printed: stonetreevineyard.com (second-hand); rounded half up"),
        (12, 8, 453.75, 454, "printed: avvwine.com (second-hand)"),
        (8, 5, 1089.0, 1089, "ours: 43,560 / (8 x 5), computed"),
        (10, 8, 544.5, 545, "ours: computed"),
        (10, 10, 435.6, 436, "ours: computed"),
        (7, 4, 1555.714, 1556, "ours: computed"),
    ],
)
def test_vines_per_acre(row_ft, vine_ft, exact, printed, source):
    found = vines_per_ac(row_ft * M_PER_FT, vine_ft * M_PER_FT)
    assert found == pytest.approx(exact, abs=0.001), source
    assert int(found + 0.5 + 1e-9) == printed, source


@pytest.mark.parametrize(
    ("row_m", "vine_m", "vines"),
    [
        (2.5, 1.0, 4000),
        (2.5, 1.5, 2666.667),
        (3.0, 2.4, 1388.889),
        (3.0, 1.8, 1851.852),
        (2.0, 1.0, 5000),
        (2.4, 1.2, 3472.222),
        (9 * M_PER_FT, 8 * M_PER_FT, 1494.988),
    ],
)
def test_vines_per_hectare(row_m, vine_m, vines):
    # 10,000 / (m x m), by definition
    assert vines_per_ha(row_m, vine_m) == pytest.approx(vines, abs=0.001)


def test_missing_vines_leave_a_block():
    # Dami, How to Estimate Grape Yields: 807 vines per acre, 5 % missing; 766.65 computed
    assert pytest.approx(766.65) == 807 * (1 - 0.05)
    crop = expect_crop([24], [807 * 0.95], fixed(1, 2, 113.398))
    assert crop.block_total_kg[1] == pytest.approx(766.65 * 24 * 2 * 0.113398)


@pytest.mark.parametrize(
    ("spacing", "vine_size_kg", "buds", "per_acre", "per_m", "source"),
    [
        ((9, 8), 2.4 * KG_PER_LB, 55, 33275, 0.446, "applied: Concord 30+10 (Smith 2023), 25 % dead (Martinson 2014)"),
        ((9, 6), 1.5 * KG_PER_LB, 30, 24200, 0.372, "applied: vinifera 20+20 (Smith 2023)"),
    ],
)
def test_whole_chain_per_acre(spacing, vine_size_kg, buds, per_acre, per_m, source):
    row, vine = (ft * M_PER_FT for ft in spacing)
    assert buds * vines_per_ac(row, vine) == pytest.approx(per_acre, abs=0.5), source
    assert vine_size_kg / vine == pytest.approx(per_m, abs=0.0005), source


@pytest.mark.parametrize(
    ("vines", "minutes", "hours", "source"),
    [
        (605, 3.0, 30.25, "applied: about 3 minutes per vine (notavivavineyards.com 2008, second-hand); sum computed"),
        (80, 3.0, 4.0, "printed: about 4 h per row of 80 vines (notavivavineyards.com 2008, second-hand)"),
    ],
)
def test_labour(vines, minutes, hours, source):
    assert plan_labour(vines).minutes_per_vine == 3.0, source
    assert plan_labour(vines, minutes_per_vine=minutes).hours == pytest.approx(hours), source
    assert np.isnan(plan_labour(vines).cost)
    assert plan_labour(vines, minutes_per_vine=minutes, cost_per_hour=20).cost == pytest.approx(20 * hours)


@pytest.mark.parametrize("wrong", [{"minutes_per_vine": 0}, {"minutes_per_vine": 500}, {"cost_per_hour": -1}])
def test_absurd_labour_is_refused(wrong):
    with pytest.raises(DataError, match="cannot be"):
        plan_labour(100, **wrong)


def test_missing_share_in_print():
    # a wine encyclopedia on the web (weak): generally under 3 % a year; 36 of 120 x 10 = 3.0 % (computed) is the edge of it
    assert missing_share(36, 120 * 10) == pytest.approx(0.03)
    assert loss_notes(missing_share(36, 1200)) == ()
    assert [m.key for m in loss_notes(0.031)] == ["crop.losses_above_usual"]


@pytest.mark.parametrize(
    ("share", "cause", "keys", "source"),
    [
        (
            0.09,
            "",
            ["losses_above_usual", "losses_filling_doubtful"],
            "printed: a wine encyclopedia on the web (weak): over 8 %",
        ),
        (
            0.21,
            "",
            ["losses_above_usual", "losses_filling_doubtful", "losses_french_limit"],
            "printed: rural code D 645-4: 20 %",
        ),
        (0.07, "leafroll", ["losses_rogue"], "printed: Ricketts et al. 2015: 5-10 %"),
        (0.30, "leafroll", ["losses_replace"], "printed: Ricketts et al. 2015: above about 25 %"),
        (0.20, "red blotch", ["losses_rogue"], "printed: Ricketts et al. 2017: below 30 %"),
        (0.35, "red blotch", ["losses_replace"], "printed: Ricketts et al. 2017: above 30 %"),
    ],
)
def test_limits_in_print_are_not_merged(share, cause, keys, source):
    assert [m.key for m in loss_notes(share, cause=cause)] == [f"crop.{key}" for key in keys], source


def test_replants_alive_in_year_three():
    # IVES Technical Reviews 2025: 16.1 % dead by year 3
    assert replants_alive(100) == pytest.approx(83.9)


LIKELY = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")


def test_monte_carlo_mean_equals_the_product_of_triangular_means():
    # Mean of a triangular distribution is (low + likely + high) / 3; independent parts multiply
    crop = expect_crop([40], [100], LIKELY, draws=200_000)
    mean = 40 * np.prod([(r.low + r.likely + r.high) / 3 for r in (LIKELY.budbreak, LIKELY.clusters_per_shoot)])
    assert crop.kg_per_vine[0, 1] == pytest.approx(mean * (80 + 110 + 150) / 3 / 1000, rel=0.003)
    assert crop.kg_per_vine[0, 0] < crop.kg_per_vine[0, 1] < crop.kg_per_vine[0, 2]


def test_triangular_quantiles():
    scipy_stats = pytest.importorskip("scipy.stats")
    u = np.linspace(0.01, 0.99, 9)
    reference = scipy_stats.triang(c=(110 - 80) / 70, loc=80, scale=70).ppf(u)
    assert Range(80, 110, 150).quantile(u) == pytest.approx(reference, rel=1e-12)
    assert Range(0.5, 0.5, 1.0).quantile([0.0, 1.0]) == pytest.approx([0.5, 1.0])


def test_zones_of_one_block_share_the_season():
    one = expect_crop([40], [300], LIKELY, area_ha=[0.3])
    split = expect_crop([40, 40, 40], [100, 150, 50], LIKELY, area_ha=[0.1, 0.15, 0.05])
    assert split.block_total_kg == pytest.approx(one.block_total_kg, rel=1e-12)
    assert split.total_kg[:, 1].sum() == pytest.approx(split.block_total_kg[1], rel=1e-12)


def test_target_forwards_and_backwards_agree():
    crop = expect_crop([40], [1500], LIKELY, area_ha=[1.0], target_t_ha=10.0)
    needed = buds_for_target(10_000 / 1500, LIKELY)
    assert needed.low < needed.likely < needed.high
    sure = expect_crop([needed.high], [1500], LIKELY, area_ha=[1.0], target_t_ha=10.0)
    assert sure.chance_of_target == pytest.approx(0.95, abs=0.01)
    assert 0 < crop.chance_of_target < 1


def test_dead_buds_bear_nothing():
    live = [Range(0.65, 0.65, 0.65)]
    hurt = expect_crop([54], [100], fixed(1, 1, 100), live=live)
    assert hurt.kg_per_vine[0, 1] == pytest.approx(54 * 0.65 * 0.1)
    assert buds_for_target(3.51, fixed(1, 1, 100), live=live[0]).likely == pytest.approx(54)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.integers(10, 90), st.integers(1, 400)), min_size=1, max_size=4))
def test_zone_counts_weighted_by_vines_are_the_block_total(zones):
    buds, vines = np.array(zones).T
    crop = expect_crop(buds, vines, fixed(1, 1, 1000), draws=50)
    assert crop.block_total_kg[1] == pytest.approx((buds * vines).sum())
    assert crop.block_kg_per_vine[1] == pytest.approx(np.average(buds, weights=vines))


def test_own_crop_figures(tmp_path):
    file = tmp_path / "crop.toml"
    file.write_text(
        '[[crop]]\nvariety = "Concord"\nbudbreak = [0.7, 0.8, 0.9]\nclusters_per_shoot = 2.2\n'
        'cluster_weight_g = [80, 100, 120]\nsource = "own counts 2023-2025"\n'
    )
    (given_figures,) = load_crop_assumptions(file)
    assert given_figures.clusters_per_shoot == Range(2.2, 2.2, 2.2)
    assert assumptions_for("concord", [given_figures]) is given_figures


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("# nothing", r"no \[\[crop\]\]"),
        ("x = [", "not valid TOML"),
        ('[[crop]]\nvariety = "A"\nbudbreak=0.8\nclusters_per_shoot=2\ncluster_weight_g=100', "`source` is missing"),
        ('[[crop]]\nvariety = "A"\nsource="x"\nbudbreak=80\nclusters_per_shoot=2\ncluster_weight_g=100', "`budbreak` is 80"),
        ('[[crop]]\nvariety = "A"\nsource="x"\nbudbreak=[1,0.5,1]\nclusters_per_shoot=2\ncluster_weight_g=100', "rising"),
        ('[[crop]]\nvariety = "A"\nsource="x"\nbudbreak="x"\nclusters_per_shoot=2\ncluster_weight_g=100', "one number"),
    ],
)
def test_bad_crop_files_are_refused(tmp_path, text, said):
    file = tmp_path / "crop.toml"
    file.write_text(text)
    with pytest.raises(DataError, match=said):
        load_crop_assumptions(file)


def test_texts_of_own_files_hold_nothing_hidden(tmp_path):
    hidden = '"a\\u202eb\\u001b[31m\\nc"'
    crops, rules = tmp_path / "crop.toml", tmp_path / "rules.toml"
    crops.write_text(
        f'[[crop]]\nvariety = "A"\nsource = {hidden}\nbudbreak = 0.8\nclusters_per_shoot = 2\ncluster_weight_g = 100\n'
    )
    rules.write_text(f'[[rule]]\nid = "own"\ntitle = {hidden}\nsource = {hidden}\nfirst = 25\nfurther = 10\nunit = "lb"\n')
    own = load_rules(rules).resolve("own", "A")
    assert (load_crop_assumptions(crops)[0].source, own.source, own.title) == ("ab[31m c",) * 3


def test_harvest_is_brought_to_kilograms():
    table = pd.DataFrame({"block": ["North", "South"], "season": [2025, 2025], "yield_ton": [10.0, 4.0]})
    found = check_harvest(table, ["North", "South"])
    assert found["yield_kg"].to_list() == pytest.approx([9071.8474, 3628.73896])
    assert zone_yield_kg(found, "North", 1, share_of_pruning=0.25) == pytest.approx(2267.96185)
    assert np.isnan(zone_yield_kg(found, "East", 1, share_of_pruning=0.25))


def test_a_zone_harvested_apart_counts_for_itself():
    table = pd.DataFrame({"block": ["North"] * 2, "zone": [1, 2], "yield_kg": [900.0, 2500.0]})
    found = check_harvest(table, ["North"])
    assert zone_yield_kg(found, "North", 2, share_of_pruning=0.5) == 2500.0
    assert np.isnan(zone_yield_kg(found, "North", 3, share_of_pruning=0.5))


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"block": ["Nort"], "yield_kg": [1.0]}, "unknown block 'Nort' .nearest: 'North'.. Use a name"),
        ({"block": ["North"], "yield": [1.0]}, "column yield has no unit"),
        ({"block": ["North"], "yield_kg": [1.0], "yield_lb": [2.2]}, "two units"),
        ({"yield_kg": [1.0]}, "column block is missing"),
        ({"block": ["North"], "yield_kg": [-5.0]}, "yield_kg '-5' is not possible"),
        ({"block": ["North"], "yield_kg": ["much"]}, "yield_kg 'much' is not a number"),
        ({"block": ["North", "North"], "yield_kg": [1.0, 2.0]}, "stands twice"),
    ],
)
def test_bad_harvest_is_refused(table, said):
    with pytest.raises(DataError, match=said):
        check_harvest(pd.DataFrame(table), ["North", "South"], file="harvest.csv")
