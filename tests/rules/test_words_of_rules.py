"""Every sentence of these rooms exists in both languages and can be filled."""

import re
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from string import Formatter

import numpy as np
import pandas as pd
import pytest

import geoprune.rules
from geoprune.errors import Message
from geoprune.rules import (
    AdviceOptions,
    BudNeed,
    CropAssumptions,
    Range,
    ZoneFigures,
    advise,
    assess_injury,
    bud_cutting_sheet,
    bud_notes,
    caution_notes,
    diagnose,
    fit_recipe,
    frame_steps,
    frost_notes,
    load_rules,
    load_trainings,
    loss_notes,
    measure,
    measured_wood,
    plan_labour,
    renew_messages,
    replant_notes,
    rule_cautions,
    sick_notes,
    weighing_sheet,
    wood_notes,
)
from geoprune.words import say, word_lists

#: What these checks are worth, see test_standing_of_checks.py.
STANDING = "ours: that every sentence is there"


SECTIONS = ("rules", "injury", "recipe", "balance", "crop", "cautions", "weighing")


#: A cultivar and its kind for every sentence about frost.
FROST = (
    ("", ""),
    ("Steuben", "American"),
    ("Vidal", "French hybrids"),
    ("Riesling", "Vinifera"),
    ("Merlot", "Vinifera"),
    ("Marquette", "New hybrids"),
)


def words(language):
    return {f"{section}.{key}": text for section in SECTIONS for key, text in word_lists()[language][section].items()}


EN, ES = words("en"), words("es")


def places(text):
    return {name for _, name, _, _ in Formatter().parse(text) if name}


def all_said():
    """All sentences that a sweep over plausible and odd vineyards brings out."""
    found = []
    book = load_rules()
    for rule in book.rules:
        found += rule_cautions(rule, "Riesling", planted=2024, season=2026)
    for factor in (1.0, 1.35):
        need = BudNeed(book.resolve("30+10"), injury_factor=factor, floor=12, cap=50)
        for weight in (0.05, 0.2, 0.4, 1.0, 3.0):
            found += need.explain(weight)
    for training in load_trainings():
        for renewal in (0, 2):
            for buds in (0, 5, 24, 30, 31, 45, 61, 62, 300):
                recipe = fit_recipe(buds, training, 1.8, renewal_spurs=renewal)
                found += [*recipe.messages, *recipe.reasons]
    found += fit_recipe(30, "four-cane", 2.4, buds_per_cane=8, renewal_spurs=0).reasons
    for canopy in ("single", "divided vertical", "divided horizontal"):
        for size in (0.05, 0.35, 0.45, 0.7, 1.5, np.nan):
            for load, pruning in ((2, "hand"), (4.6, "hand"), (7, "hand"), (14, "hand"), (50, "minimal"), (np.nan, "hand")):
                for density, dead in ((5, 0), (16, 0), (40, 0), (40, 0.3)):
                    for group, variety in (
                        ("American", "Concord"),
                        ("Vinifera", "Riesling"),
                        ("French hybrids", "Chambourcin"),
                    ):
                        figures = ZoneFigures(
                            canopy=canopy,
                            vine_size_kg=size,
                            pruning_kg_m_row=size,
                            pruning_kg_m_canopy=size if canopy == "single" else size / 2,
                            buds_per_m_row=density,
                            buds_per_m_canopy=density if canopy == "single" else density / 2,
                            live_share=1 - dead,
                            crop_load=load,
                            pruning=pruning,
                            group=group,
                            variety=variety,
                            crop_of_block=density == 16,
                        )
                        diagnosis = diagnose(figures)
                        found += [diagnosis.message, *diagnosis.evidence, *diagnosis.remedies]
    thin = ZoneFigures(
        pruning_kg_m_row=0.2, pruning_kg_m_canopy=0.2, vine_size_kg=0.36, cane_weight_g=50.0, cane_vines=8, group="Vinifera"
    )
    found += [diagnose(thin).message, *diagnose(thin).evidence]
    for share, low in ((0.3, 0.2), (0.05, 0.01)):
        for vines in (2, 8):
            counted = {"bull_vines": vines, "canes_counted": 20 * vines}
            found += diagnose(ZoneFigures(bull_share=share, bull_low=low, bull_high=0.4, **counted)).evidence
    for thick, internode in ((4, 80), (9, 90), (14, 150)):
        for vines in (1, 6):
            spread = np.linspace(-0.5, 0.5, vines) if vines > 1 else 0.0
            wood = {"cane_diameter_mm": measure(thick + spread), "internode_mm": measure(internode + spread)}
            canes = {"cane_weight_g": 30.0, "cane_vines": vines, "group": "Vinifera"}
            found += diagnose(ZoneFigures(**wood, **canes)).evidence
    found += diagnose(ZoneFigures(buds_by_rule=79, capacity=60)).evidence
    found += measured_wood([100.0] * 6, "flat cane")[1]
    pages = (weighing_sheet(), bud_cutting_sheet())
    found += [line for s in pages for line in (s.title, s.why, *s.steps, *s.columns, *s.cautions)]
    notes = (
        *caution_notes(),
        *bud_notes(),
        *wood_notes(),
        *(note for variety, group in FROST for note in frost_notes(variety, group)),
        *renew_messages(),
        *frame_steps(),
    )
    return [*found, *zones(), *injuries(), *crops(), *notes]


def zones():
    """Whole zones: without a number, past the stop limit, half the buds dead and held by the wood, and with a target."""
    found = []
    book = load_rules()
    for rule, planted, size, dead, cap in (
        ("vinifera", 2024, 0.5, 0, None),
        ("vinifera", None, 0.08, 0, None),
        ("vinifera", None, 0.9, 90, None),
        ("vinifera", None, 0.9, 50, None),
        ("vinifera", None, 0.9, 50, 40),
        ("vinifera", None, 0.9, 5, None),
        ("american", None, 1.0, 0, None),
    ):
        injury = assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [dead]}))
        rule_used = book.resolve(rule, "Riesling", planted=planted, season=2026)
        need = BudNeed(rule_used, injury_factor=injury.need_factor, cap=cap)
        ends = {"injury_share": injury.share, "injury_low": injury.low, "injury_high": injury.high, "renew_share": 0.1}
        for buds in (10, 40):
            row = {"zone": 1, "vines": 100, "area_ha": 0.1, "vine_size_kg": size, "buds_per_vine": buds, **ends}
            crop = CropAssumptions(Range(0.8, 0.9, 1.0), Range(1, 2, 2), Range(90, 100, 110), source="given")
            for target in (1.0, 5.0, 30.0):
                options = AdviceOptions(crop=crop, target_t_ha=target)
                for load in (2.0, 4.6, 7.0, 13.0):
                    settings = Settings("Riesling", "flat cane", 1.8)
                    found += advise(row, settings, need=need, injury=injury, block_load=load, options=options).messages
    return found


@dataclass(frozen=True)
class Settings:
    variety: str
    training: str
    vine_spacing_m: float


def injuries():
    import geopandas as gpd
    from shapely import points

    where = np.array([[0.0, 0], [10, 0], [5, 10], [300, 0], [310, 0], [305, 10]])
    uneven = gpd.GeoDataFrame({"buds_cut": 60, "primary_dead": [58, 57, 59, 5, 6, 4]}, geometry=points(where))
    found = [*assess_injury(uneven, panel_midpoints=where).messages, *assess_injury(uneven).messages]
    found += assess_injury(None).messages
    for method in ("cornell", "purdue", "michigan"):
        for dead in (2, 10, 15, 19):
            table = pd.DataFrame({"buds_cut": [20], "primary_dead": [dead], "secondary_dead": [0]})
            found += assess_injury(table, method=method, variety="Concord").messages
    return found


def crops():
    found = [plan_labour(100).message, plan_labour(100, cost_per_hour=20).message]
    for cause in ("", "leafroll", "red blotch"):
        for share in (0.01, 0.05, 0.1, 0.28, 0.5):
            found += loss_notes(share, cause=cause)
    return [*found, *sick_notes(40, 400), *replant_notes(76)]


MESSAGES = all_said()


@pytest.mark.parametrize("key", sorted({message.key for message in MESSAGES}))
def test_sentence_can_be_filled(key):
    for message in (message for message in MESSAGES if message.key == key):
        for language in ("en", "es"):
            room, name = key.split(".")
            assert places(word_lists()[language][room][name]) <= set(message.fields), key
        for language, units in product(("en", "es"), ("us", "metric")):
            filled = say(message, language, units)
            assert "{" not in filled
            assert not {"nan", "inf"} & set(filled.casefold().replace("(", " ").split())


def test_every_sentence_is_used():
    source = "\n".join(p.read_text() for p in Path(geoprune.rules.__file__).parent.glob("*.py"))
    named = {
        key
        for key in re.findall(r'"((?:rules|injury|recipe|balance|crop|cautions)\.\w+)"', source)
        if not key.endswith(".toml")
    }
    for sheet in ("weigh", "cut"):  # steps of the two sheets are named one by one
        named |= {key for key in EN if key.startswith(f"weighing.{sheet}_")} & {message.key for message in MESSAGES}
    trainings = {f"recipe.training_{training.drawing}" for training in load_trainings().values()}
    trainings |= {"recipe.training_called"}  # said by `brief`, of a training under the grower's own name for it
    named |= {value.key for message in MESSAGES for value in message.fields.values() if isinstance(value, Message)}
    named |= {key for key in EN if key.endswith("_one") and key.removesuffix("_one") in named}  # the same of one
    assert set(EN) <= named | {message.key for message in MESSAGES} | trainings
    assert named <= set(EN)


def test_cautions_are_short_and_told_in_both_languages():
    for language in ("en", "es"):
        texts = [say(note, language, "metric") for note in caution_notes()]
        assert len(texts) == len(caution_notes())
        assert max(map(len, texts)) < 190
        assert sum(map(len, texts)) < 520


def test_remedies_name_no_spray_and_no_dose():
    for catalogue in (EN, ES):
        said = " ".join(text for key, text in catalogue.items() if "remedy" in key).casefold()
        assert not re.search(r"spray|fungicid|herbicid|insecticid|pesticid|kg/ha|lb/ac|litro|\bdos[ei]", said)


def test_messages_carry_their_section():
    assert all(isinstance(message, Message) for message in MESSAGES)
    assert {message.key.split(".")[0] for message in MESSAGES} == {*SECTIONS, "apart"}
