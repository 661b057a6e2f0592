"""One zone's advice as a new user would change it: variety, rule, training, injury, harvest and crop figures."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pytest
from trade_figures import bud_need

from geoprune.rules import AdviceOptions, BudNeed, CropAssumptions, Range, advise, assess_injury, load_rules, split_advice
from geoprune.rules.advice import UNSAID
from geoprune.units import KG_PER_LB, M_PER_FT
from geoprune.words import word_lists

#: What these checks are worth, see test_standing_of_checks.py.
STANDING = "applied: our own laws, on figures in print that are named beside each check"


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


def canes_of(vines=8, canes=20, bulls=8, thick=9.0, internode=90.0):
    """Invented samples of a zone: so many vines, all alike but for a little spread."""
    spread = np.linspace(-0.5, 0.5, vines) if vines > 1 else np.zeros(1)
    return pd.DataFrame(
        {
            "vine_weight_kg": np.full(vines, 1.1),
            "vines_weighed": 1,
            "canes": pd.array([canes] * vines, dtype="Int64"),
            "bull_canes": pd.array([bulls] * vines, dtype="Int64"),
            "cane_diameter_mm": thick + spread,
            "internode_mm": internode + spread,
        }
    )


RIESLING = replace(Settings(), variety="Riesling")
MANY_BULLS = {"bull_cane_share": 0.4, "bull_cane_low": 0.25, "bull_cane_high": 0.55}


def test_whole_chain_of_concord():
    # Concord 30+10 (Smith 2023), 2.4 lb at 9 x 8 ft: 44 buds, 0.446 kg/m of row, 5.5 per ft; no band is published for
    # the weights of American grapes
    said = advise(zone(), Settings(), need=BudNeed(BOOK.resolve("american")))
    assert said.recipe.text == "4 × 10 + 2 × 2"
    assert said.recipe.buds_per_m_row * M_PER_FT == pytest.approx(5.5)
    assert said.diagnosis_key == "unknown"
    assert "balance.pruning_no_band" in keys(said.evidence)
    assert said.labour.hours == pytest.approx(30.0)
    assert said.crop is None


def test_injury_changes_recipe_notes_and_crowding():
    # 25 % dead adds 25 % (Martinson 2014): 55 buds, 6.875 per ft, above 6 (Smith 2023; Georgia 2018)
    injury = assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [25]}), variety="Concord")
    need = bud_need(BOOK.resolve("american"), injury)
    ends = {"injury_share": injury.share, "injury_low": injury.low, "injury_high": injury.high}
    shown = advise(zone(55, **ends), Settings(), need=need, injury=injury)
    assert shown.recipe.total == 55
    assert {"injury.step_factor", "rules.step_given", "injury.zone_range", "injury.live_short"} <= set(keys(shown.notes))
    said = next(note for note in shown.notes if note.key == "injury.zone_range").fields
    # binomial: 25 of 100 reads as 16.5 to 33.5 %; below 20 % nothing is added
    assert said["low_buds"] == pytest.approx(44.0)
    assert said["high_buds"] == pytest.approx(44 * 1.3349, abs=0.01)
    alive = next(note for note in shown.notes if note.key == "injury.live_short").fields
    assert (alive["live"], alive["wanted"]) == pytest.approx((55 * 0.75, 44))
    # American grapes are not judged by shoot densities of winegrapes; of 55 buds 41 live: 5.2 per ft, within 4-6
    assert not [key for key in keys(shown.evidence) if "crowded" in key]
    riesling = advise(zone(55, **ends), RIESLING, need=bud_need(BOOK.resolve("vinifera", "Riesling"), injury), injury=injury)
    assert not [key for key in keys(riesling.evidence) if "crowded" in key]
    full = advise(zone(70, **ends), RIESLING, need=bud_need(BOOK.resolve("vinifera", "Riesling"), injury), injury=injury)
    (crowded,) = [note for note in full.evidence if note.key == "balance.crowded_live"]
    assert crowded.fields["alive_per_m"] * M_PER_FT == pytest.approx(70 * 0.75 / 8)


def test_past_the_stop_limit_there_is_no_recipe_and_no_crop():
    injury = assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [85]}))
    crop = CropAssumptions(Range(0.8, 0.8, 0.8), Range(2, 2, 2), Range(100, 100, 100), source="given")
    said = advise(
        zone(), Settings(), need=bud_need(BOOK.resolve("american"), injury), injury=injury, options=AdviceOptions(crop=crop)
    )
    assert said.recipe is None
    assert said.crop is None
    assert "injury.zone_stop" in keys(said.notes)


@pytest.mark.parametrize(
    ("training", "text", "per_m_canopy"),
    [
        ("top-wire cordon", "14 × 3 + 1 × 2", 0.446),
        ("four-cane", "4 × 9 + 4 × 2", 0.446),
        ("divided horizontal", "22 × 2", 0.223),
    ],
)
def test_training_changes_the_recipe_and_the_metres_of_canopy(training, text, per_m_canopy):
    said = advise(zone(), replace(Settings(), training=training), need=BudNeed(BOOK.resolve("american")))
    assert said.recipe.text == text
    weights = [message.fields.get("canopy_kg_m") for message in said.evidence if "canopy_kg_m" in message.fields]
    assert weights[0] == pytest.approx(per_m_canopy, abs=0.001)


def test_rule_cautions_go_into_the_notes():
    rule = BOOK.resolve("french hybrids", "Vidal")
    said = advise(zone(), replace(Settings(), variety="Vidal"), need=BudNeed(rule))
    assert keys(said.notes)[0] == "rules.needs_cluster_thinning"
    # Smith 2023, table 1: "yes" without saying of what for seedless table grapes, "yes / no" for vinifera
    assert keys(BOOK.resolve("seedless table").cautions) == ["rules.needs_thinning"]
    assert BOOK.resolve("vinifera").cautions == ()


def test_harvest_is_judged_only_where_a_band_is_in_print():
    # Kliewer & Dokoozlian 2005: 4-10 on single canopies; none in print for native juice grapes
    fruit = 13.2 * 600 * 2.4 * KG_PER_LB
    vinifera = advise(
        zone(), replace(Settings(), variety="Riesling"), need=BudNeed(BOOK.resolve("vinifera")), yield_kg=fruit
    )
    assert vinifera.diagnosis_key == "weak"
    assert "balance.crop_load_above" in keys(vinifera.evidence)
    concord = advise(zone(), Settings(), need=BudNeed(BOOK.resolve("american")), yield_kg=fruit)
    assert concord.diagnosis_key == "unknown"
    assert "balance.crop_load_no_band" in keys(concord.evidence)
    minimal = advise(
        zone(),
        Settings(),
        need=BudNeed(BOOK.resolve("american")),
        yield_kg=fruit,
        options=AdviceOptions(pruning="minimal"),
    )
    assert "balance.crop_load_refused" in keys(minimal.evidence)


def test_a_block_load_reaches_its_zones_and_brands_none():
    # Kliewer & Dokoozlian 2005: 4-10; a block not picked by zone says nothing of how its zones differ
    need = BudNeed(BOOK.resolve("vinifera", "Riesling"))
    said = advise(zone(36), RIESLING, need=need, samples=canes_of(bulls=0), block_load=12.9)
    assert said.diagnosis_key == "unknown"
    assert said.diagnosis.key == "balance.crop_out_of_band"
    assert "balance.crop_load_block_above" in keys(said.evidence)
    assert keys(said.remedies) == ["balance.remedy_thin_clusters"]


def test_smallest_vines_get_no_number():
    shown = advise(zone(6, 0.2 * KG_PER_LB), Settings(), need=BudNeed(BOOK.resolve("american")))
    assert shown.recipe is None
    assert shown.diagnosis is None
    assert shown.remedies == ()
    assert shown.decision.key == "rules.no_number_small"
    assert {"rules.flag_renew", "apart.renew_how", "apart.renew_summer"} <= set(keys(shown.notes))
    # all of them are renewed: no sign tells them apart, and there is no number to leave off
    assert not {"apart.renew_sign", "apart.renew_not_number"} & set(keys(shown.notes))
    # most of the vines, not only their mean
    mostly = advise(zone(8, 0.3 * KG_PER_LB, renew_share=0.6), Settings(), need=BudNeed(BOOK.resolve("american")))
    assert mostly.decision.key == "rules.no_number_small"


def test_young_blocks_are_pruned_for_their_frame():
    # Smith 2023: balanced pruning is for vines over 3 years old
    rule = BOOK.resolve("vinifera", "Riesling", planted=2024, season=2026)
    said = advise(zone(10, 0.3), RIESLING, need=BudNeed(rule))
    assert said.decision.key == "rules.no_number_young"
    assert keys(said.messages) == [
        "rules.no_number_young",
        *(f"rules.frame_{part}" for part in ("how", "no_crop", "summer")),
    ]
    grown = BOOK.resolve("vinifera", "Riesling", planted=2022, season=2026)
    assert advise(zone(13, 0.3), RIESLING, need=BudNeed(grown)).recipe is not None


def test_canes_measured_on_samples_speak():
    samples = canes_of(8, thick=14.0, internode=150.0)
    said = advise(zone(**MANY_BULLS), Settings(), need=BudNeed(BOOK.resolve("vinifera", "Riesling")), samples=samples)
    assert said.diagnosis_key == "rank"
    weighed = [message for message in said.evidence if message.key == "balance.cane_weight_memory"]
    assert weighed[0].fields["cane_weight_g"] == pytest.approx(55.0)
    assert {"balance.bull_many", "balance.cane_diameter_above", "balance.internode_above"} <= set(keys(said.evidence))


@pytest.mark.parametrize("vines", [1, 2, 4])
def test_a_few_measured_vines_brand_nothing(vines):
    # Student's interval of fewer than five vines is wider than any band; our floor
    samples = canes_of(vines, thick=16.0, internode=170.0, bulls=18)
    said = advise(zone(**MANY_BULLS), RIESLING, need=BudNeed(BOOK.resolve("vinifera", "Riesling")), samples=samples)
    assert said.diagnosis_key == "unknown"
    assert {"balance.bull_few_vines", "balance.cane_diameter_few_vines"} <= set(keys(said.evidence))
    assert keys(said.remedies) == ["balance.remedy_measure_crop", "balance.remedy_measure_canes"]


def test_only_what_is_missing_is_asked_for():
    # Concord has no band of crop load in print (Kliewer & Dokoozlian 2005 is of winegrapes): no harvest is asked for
    concord = Settings()
    need = BudNeed(BOOK.resolve("american", "Concord"))
    measured = canes_of(bulls=0)
    assert keys(advise(zone(40, 2.0 * KG_PER_LB), concord, need=need, samples=measured).remedies) == []
    bare = keys(advise(zone(40, 2.0 * KG_PER_LB), concord, need=need).remedies)
    assert bare == ["balance.remedy_measure_canes"]
    riesling = BudNeed(BOOK.resolve("vinifera", "Riesling"))
    assert "balance.remedy_measure_crop" in keys(advise(zone(24), RIESLING, need=riesling).remedies)


def test_crop_and_target_both_ways():
    crop = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")
    need = BudNeed(BOOK.resolve("american"))
    for target, key in ((4.0, "crop.more_than_target"), (11.5, "crop.meets_target"), (30.0, "crop.less_than_target")):
        said = advise(zone(), Settings(), need=need, options=AdviceOptions(crop=crop, target_t_ha=target))
        assert keys(said.crop.messages) == ["crop.expected", key]
        assert said.crop.buds_for_target.low < said.crop.buds_for_target.high
        assert 0 <= said.crop.crop.chance_of_target <= 1


def test_own_lengths_and_wage_are_used():
    options = AdviceOptions(lengths={"canes": 2, "renewal_spurs": 0}, minutes_per_vine=2.0, cost_per_hour=25.0)
    said = advise(zone(24), Settings(), need=BudNeed(BOOK.resolve("american")), options=options)
    assert said.recipe.text == "2 × 12"
    assert (said.labour.hours, said.labour.cost) == pytest.approx((20.0, 500.0))
    assert said.labour.message.key == "crop.labour_cost"


def test_buds_that_do_not_fit_are_refused_and_said():
    said = advise(zone(120), replace(Settings(), training="flat cane"), need=BudNeed(BOOK.resolve("american")))
    assert said.recipe.parts == ()
    assert "recipe.over_capacity_canes" in keys(said.notes)


def test_injury_mapped_by_panel_is_reported_without_one_factor():
    need = BudNeed(BOOK.resolve("american"), injury_factor=np.array([1.0, 1.3]))
    said = advise(zone(), Settings(), need=need)
    assert said.recipe.total == 44
    assert "injury.step_factor" not in keys(said.notes)


def told_by(key, *, crowded=False, **more):
    """The advice of a zone whose canes or harvest make it weak, rank or in balance."""
    bulls = {"bull_cane_share": 0.02, "bull_cane_low": 0.0, "bull_cane_high": 0.06}
    row = zone(60 if crowded else 44, 2.8 * KG_PER_LB, **(MANY_BULLS if key == "rank" else bulls))
    fruit = 13.2 * 600 * 2.8 * KG_PER_LB if key == "weak" else float("nan")
    settings = replace(RIESLING, training="top-wire cordon")
    need = BudNeed(BOOK.resolve("vinifera", "Riesling"))
    said = advise(row, settings, need=need, yield_kg=fruit, samples=canes_of(), **more)
    assert said.diagnosis_key == ("unknown" if key == "in balance" and crowded else key)
    return said


@pytest.mark.parametrize(
    ("key", "crowded", "said", "unsaid"),
    [
        ("rank", True, "give_buds", "thin_shoots"),
        ("rank", True, "give_buds", "hold_buds"),
        ("in balance", True, "thin_shoots", "keep_on"),
        ("in balance", False, "keep_on", "thin_shoots"),
        ("weak", True, "thin_shoots", "give_buds"),
    ],
)
def test_no_remedy_pulls_against_another(key, crowded, said, unsaid):
    shown = keys(told_by(key, crowded=crowded).remedies)
    assert f"balance.remedy_{said}" in shown
    assert f"balance.remedy_{unsaid}" not in shown


@pytest.mark.parametrize("key", ["weak", "in balance", "rank"])
def test_a_target_below_the_crop_thins_clusters_once(key):
    crop = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")
    said = told_by(key, options=AdviceOptions(crop=crop, target_t_ha=4.0))
    assert "crop.more_than_target" in keys(said.messages)
    assert not {"balance.remedy_thin_clusters", "balance.remedy_keep_on"} & set(keys(said.messages))


def test_vines_without_a_number_are_not_told_to_bear():
    crop = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")
    options = AdviceOptions(crop=crop, target_t_ha=4.0)
    said = advise(zone(6, 0.2 * KG_PER_LB), Settings(), need=BudNeed(BOOK.resolve("american")), options=options)
    assert not [key for key in keys(said.messages) if "thin" in key or key.startswith(("crop.", "balance.", "recipe."))]


def test_without_a_number_nobody_is_reported_to_keep_to_it():
    injury = assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [85]}))
    said = advise(zone(np.nan, **MANY_BULLS), Settings(), need=bud_need(BOOK.resolve("american"), injury), injury=injury)
    assert keys(said.messages) == ["injury.zone_stop"]


def test_the_decision_is_reported_first_and_nothing_twice():
    said = told_by("rank", crowded=True)
    assert said.messages[0] == said.recipe.sentence
    assert said.messages[1] == said.diagnosis
    assert len(set(map(repr, said.messages))) == len(said.messages)


def test_what_zones_share_is_reported_once():
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
