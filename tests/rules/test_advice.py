"""One zone's advice as a new user would change it: variety, rule, training, injury, harvest and crop figures."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pytest

from geoprune.rules import (
    AdviceOptions,
    BudNeed,
    CropAssumptions,
    Range,
    advise,
    assess_injury,
    bud_need,
    load_rules,
    split_advice,
)
from geoprune.rules.advice import UNSAID
from geoprune.units import KG_PER_LB, M_PER_FT
from geoprune.words import word_lists

BOOK = load_rules()


@dataclass(frozen=True)
class Settings:
    variety: str = "Concord"
    training: str = "arched cane"
    row_spacing_m: float = 9 * M_PER_FT
    vine_spacing_m: float = 8 * M_PER_FT


def zone(buds=44, size_kg=2.4 * KG_PER_LB, **more):
    return {"zone": 2, "vines": 600, "area_ha": 0.4, "vine_size_kg": size_kg, "buds_per_vine": buds} | more


def keys(messages):
    return [message.key for message in messages]


def test_whole_chain_of_concord():
    # Concord 30+10 (Smith 2023), 2.4 lb at 9 x 8 ft: 44 buds, 0.446 kg/m of row, 5.5 per ft
    told = advise(zone(), Settings(), need=BudNeed(BOOK.resolve("american")))
    assert told.recipe.text == "4 × 10 + 2 × 2"
    assert told.recipe.buds_per_m_row * M_PER_FT == pytest.approx(5.5)
    assert told.diagnosis_key == "in balance"
    assert "balance.pruning_inside_least_row" in keys(told.evidence)
    assert told.labour.hours == pytest.approx(30.0)
    assert told.crop is None


def test_injury_changes_recipe_notes_and_crowding():
    # 25 % dead adds 25 % (Martinson 2014): 55 buds, 6.875 per ft, above 6 (Smith 2023; Georgia 2018)
    injury = assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [25]}), variety="Concord")
    need = bud_need(BOOK.resolve("american"), injury)
    ends = {"injury_share": injury.share, "injury_low": injury.low, "injury_high": injury.high}
    row = zone(55, **ends, buds_low=44 * injury.factor_low, buds_high=44 * injury.factor_high)
    told = advise(row, Settings(), need=need, injury=injury)
    assert told.recipe.total == 55
    assert {"injury.step_factor", "rules.step_told", "injury.zone_range"} <= set(keys(told.notes))
    said = next(note for note in told.notes if note.key == "injury.zone_range").fields
    # binomial: 25 of 100 reads as 16.5 to 33.5 %; below 20 % nothing is added
    assert said["low_buds"] == pytest.approx(44.0)
    assert said["high_buds"] == pytest.approx(44 * 1.3349, abs=0.01)
    assert "balance.crowded_live" in keys(told.evidence)


def test_past_the_stop_limit_there_is_no_recipe_and_no_crop():
    injury = assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [85]}))
    crop = CropAssumptions(Range(0.8, 0.8, 0.8), Range(2, 2, 2), Range(100, 100, 100), source="given")
    told = advise(
        zone(), Settings(), need=bud_need(BOOK.resolve("american"), injury), injury=injury, options=AdviceOptions(crop=crop)
    )
    assert told.recipe is None
    assert told.crop is None
    assert "injury.zone_stop" in keys(told.notes)


@pytest.mark.parametrize(
    ("training", "text", "per_m_canopy"),
    [
        ("top-wire cordon", "14 × 3 + 1 × 2", 0.446),
        ("four-cane", "4 × 9 + 4 × 2", 0.446),
        ("divided horizontal", "22 × 2", 0.223),
    ],
)
def test_training_changes_the_recipe_and_the_metres_of_canopy(training, text, per_m_canopy):
    told = advise(zone(), replace(Settings(), training=training), need=BudNeed(BOOK.resolve("american")))
    assert told.recipe.text == text
    weights = [message.fields.get("canopy_kg_m") for message in told.evidence if "canopy_kg_m" in message.fields]
    assert weights[0] == pytest.approx(per_m_canopy, abs=0.001)


def test_rule_cautions_go_into_the_notes():
    rule = BOOK.resolve("french hybrids", "Vidal")
    told = advise(zone(), replace(Settings(), variety="Vidal"), need=BudNeed(rule))
    assert keys(told.notes)[0] == "rules.needs_thinning"


def test_harvest_is_judged_only_where_a_band_is_in_print():
    # Kliewer & Dokoozlian 2005: 4-10 on single canopies; none in print for native juice grapes
    fruit = 13.2 * 600 * 2.4 * KG_PER_LB
    vinifera = advise(
        zone(), replace(Settings(), variety="Riesling"), need=BudNeed(BOOK.resolve("vinifera")), yield_kg=fruit
    )
    assert vinifera.diagnosis_key == "weak"
    assert "balance.crop_load_above" in keys(vinifera.evidence)
    concord = advise(zone(), Settings(), need=BudNeed(BOOK.resolve("american")), yield_kg=fruit)
    assert concord.diagnosis_key == "in balance"
    assert "balance.crop_load_no_band" in keys(concord.evidence)
    minimal = advise(
        zone(),
        Settings(),
        need=BudNeed(BOOK.resolve("american")),
        yield_kg=fruit,
        options=AdviceOptions(pruning="minimal"),
    )
    assert "balance.crop_load_refused" in keys(minimal.evidence)


def test_smallest_vines_are_to_be_renewed():
    told = advise(zone(6, 0.2 * KG_PER_LB), Settings(), need=BudNeed(BOOK.resolve("american")))
    assert told.diagnosis_key == "weak"
    assert told.remedies[0].key == "balance.remedy_renew"
    assert "rules.flag_renew" in keys(told.notes)


def test_canes_measured_on_samples_speak():
    samples = pd.DataFrame(
        {
            "vine_weight_kg": [1.2, 1.0],
            "vines_weighed": [1, 1],
            "canes": pd.array([20, 20], dtype="Int64"),
            "cane_diameter_mm": [13.5, 14.5],
            "internode_mm": [150.0, np.nan],
        }
    )
    row = zone(bull_cane_share=0.4, bull_cane_low=0.25, bull_cane_high=0.55)
    told = advise(row, Settings(), need=BudNeed(BOOK.resolve("american")), samples=samples)
    assert told.diagnosis_key == "rank"
    weighed = [message for message in told.evidence if message.key == "balance.cane_weight_memory"]
    assert weighed[0].fields["cane_weight_g"] == pytest.approx(55.0)
    assert {"balance.bull_many", "balance.cane_diameter_above", "balance.internode_above"} <= set(keys(told.evidence))


def test_crop_and_target_both_ways():
    crop = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")
    need = BudNeed(BOOK.resolve("american"))
    for target, key in ((4.0, "crop.more_than_target"), (11.5, "crop.meets_target"), (30.0, "crop.less_than_target")):
        told = advise(zone(), Settings(), need=need, options=AdviceOptions(crop=crop, target_t_ha=target))
        assert keys(told.crop.messages) == ["crop.expected", key]
        assert told.crop.buds_for_target.low < told.crop.buds_for_target.high
        assert 0 <= told.crop.crop.chance_of_target <= 1


def test_own_lengths_and_wage_are_used():
    options = AdviceOptions(lengths={"canes": 2, "renewal_spurs": 0}, minutes_per_vine=2.0, cost_per_hour=25.0)
    told = advise(zone(24), Settings(), need=BudNeed(BOOK.resolve("american")), options=options)
    assert told.recipe.text == "2 × 12"
    assert (told.labour.hours, told.labour.cost) == pytest.approx((20.0, 500.0))
    assert told.labour.message.key == "crop.labour_cost"


def test_buds_that_do_not_fit_are_refused_and_said():
    told = advise(zone(120), replace(Settings(), training="flat cane"), need=BudNeed(BOOK.resolve("american")))
    assert told.recipe.parts == ()
    assert "recipe.no_room_canes" in keys(told.notes)


def test_injury_mapped_by_panel_is_told_without_one_factor():
    need = BudNeed(BOOK.resolve("american"), injury_factor=np.array([1.0, 1.3]))
    told = advise(zone(), Settings(), need=need)
    assert told.recipe.total == 44
    assert "injury.step_factor" not in keys(told.notes)


def told_by(key, *, crowded=False, **more):
    """The advice of a zone whose bull canes or harvest make it weak, rank or in balance."""
    rank = {"bull_cane_share": 0.4, "bull_cane_low": 0.25, "bull_cane_high": 0.55}
    row = zone(60 if crowded else 44, **(rank if key == "rank" else {}))
    fruit = 13.2 * 600 * 2.4 * KG_PER_LB if key == "weak" else float("nan")
    settings = replace(Settings(), variety="Riesling", training="top-wire cordon")
    told = advise(row, settings, need=BudNeed(BOOK.resolve("vinifera")), yield_kg=fruit, **more)
    assert told.diagnosis_key == key
    return told


@pytest.mark.parametrize(
    ("key", "crowded", "said", "unsaid"),
    [
        ("rank", True, "give_buds", "thin_shoots"),
        ("rank", True, "divide_canopy", "hold_buds"),
        ("in balance", True, "thin_shoots", "keep_on"),
        ("in balance", False, "keep_on", "thin_shoots"),
        ("weak", True, "thin_shoots", "give_buds"),
    ],
)
def test_no_remedy_pulls_against_another(key, crowded, said, unsaid):
    told = keys(told_by(key, crowded=crowded).remedies)
    assert f"balance.remedy_{said}" in told
    assert f"balance.remedy_{unsaid}" not in told


@pytest.mark.parametrize("key", ["weak", "in balance", "rank"])
def test_a_target_below_the_crop_thins_clusters_once(key):
    crop = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")
    told = told_by(key, options=AdviceOptions(crop=crop, target_t_ha=4.0))
    assert "crop.more_than_target" in keys(told.messages)
    assert not {"balance.remedy_thin_clusters", "balance.remedy_keep_on"} & set(keys(told.messages))


def test_vines_to_rebuild_are_not_told_to_bear():
    crop = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")
    options = AdviceOptions(crop=crop, target_t_ha=4.0)
    told = advise(zone(6, 0.2 * KG_PER_LB), Settings(), need=BudNeed(BOOK.resolve("american")), options=options)
    assert "balance.remedy_renew" in keys(told.messages)
    assert not [key for key in keys(told.messages) if "thin" in key or key in UNSAID["balance.remedy_renew"]]


def test_without_a_number_nobody_is_told_to_keep_to_it():
    injury = assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [85]}))
    rank = {"bull_cane_share": 0.4, "bull_cane_low": 0.25, "bull_cane_high": 0.55}
    told = advise(zone(np.nan, **rank), Settings(), need=bud_need(BOOK.resolve("american"), injury), injury=injury)
    assert told.messages[0].key == "injury.zone_stop"
    assert not set(UNSAID["injury.zone_stop"]) & set(keys(told.messages))


def test_the_decision_is_told_first_and_nothing_twice():
    told = told_by("rank", crowded=True)
    assert told.messages[0] == told.recipe.sentence
    assert told.messages[1] == told.diagnosis
    assert len(set(map(repr, told.messages))) == len(told.messages)


def test_what_zones_share_is_told_once():
    advice = (told_by("rank"), told_by("in balance"), told_by("weak"))
    shared, alone = split_advice(advice)
    assert shared
    for entry, own in zip(advice, alone, strict=True):
        assert sorted(map(repr, [*shared, *own])) == sorted(map(repr, entry.messages))
        assert not [message for message in own if message in shared]
    assert split_advice(advice[:1]) == ([], [list(advice[0].messages)])


@pytest.mark.parametrize("key", sorted({key for pair in UNSAID.items() for key in (pair[0], *pair[1])}))
def test_the_table_of_contradictions_names_sentences(key):
    room, name = key.split(".")
    assert name in word_lists()["en"][room]
