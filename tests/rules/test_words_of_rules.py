"""Every sentence of these rooms exists in both languages and can be filled."""

import re
import tomllib
from importlib.resources import files
from pathlib import Path
from string import Formatter

import numpy as np
import pandas as pd
import pytest

import geoprune.rules
from geoprune.errors import Message
from geoprune.rules import (
    BudNeed,
    ZoneFigures,
    assess_injury,
    bud_notes,
    caution_notes,
    caution_texts,
    diagnose,
    fit_recipe,
    load_rules,
    load_trainings,
    loss_notes,
    plan_labour,
    rule_cautions,
)

SECTIONS = ("rules", "injury", "recipe", "balance", "crop", "cautions")


def words(language):
    table = tomllib.loads(files("geoprune.words").joinpath(f"{language}.toml").read_text("utf-8"))
    return {f"{section}.{key}": text for section in SECTIONS for key, text in table[section].items()}


EN, ES = words("en"), words("es")


def places(text):
    return {name for _, name, _, _ in Formatter().parse(text) if name}


def told():
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
            for load, pruning in ((2, "hand"), (7, "hand"), (14, "hand"), (50, "minimal"), (np.nan, "hand")):
                for density, dead in ((5, 0), (16, 0), (40, 0), (40, 0.3)):
                    for group in ("American", "Vinifera"):
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
                        )
                        diagnosis = diagnose(figures)
                        found += [diagnosis.message, *diagnosis.evidence, *diagnosis.remedies]
    for share, low in ((0.3, 0.2), (0.05, 0.01)):
        found += diagnose(ZoneFigures(bull_share=share, bull_low=low, bull_high=0.4)).evidence
    for thick, internode in ((4, 80), (9, 90), (14, 150)):
        found += diagnose(ZoneFigures(cane_diameter_mm=thick, internode_mm=internode, cane_weight_g=30)).evidence
    return [*found, *injuries(), *crops(), *caution_notes(), *bud_notes()]


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
    return found


MESSAGES = told()


@pytest.mark.parametrize("key", sorted({message.key for message in MESSAGES}))
def test_sentence_can_be_filled(key):
    for message in (message for message in MESSAGES if message.key == key):
        for text in (EN[key], ES[key]):
            assert places(text) <= set(message.fields), key
            filled = text.format(**message.fields)
            assert "{" not in filled
            assert "nan" not in filled.split()


def test_every_sentence_is_used():
    source = "\n".join(p.read_text() for p in Path(geoprune.rules.__file__).parent.glob("*.py"))
    named = {
        key
        for key in re.findall(r'"((?:rules|injury|recipe|balance|crop|cautions)\.\w+)"', source)
        if not key.endswith(".toml")
    }
    trainings = {f"recipe.training_{training.drawing}" for training in load_trainings().values()}
    assert set(EN) <= named | {message.key for message in MESSAGES} | trainings
    assert named <= set(EN)


def test_cautions_are_short_and_told_in_both_languages():
    for language in ("en", "es"):
        texts = caution_texts(language)
        assert len(texts) == len(caution_notes())
        assert max(map(len, texts)) < 190
        assert sum(map(len, texts)) < 520


def test_remedies_name_no_spray_and_no_dose():
    for catalogue in (EN, ES):
        said = " ".join(text for key, text in catalogue.items() if "remedy" in key).casefold()
        assert not re.search(r"spray|fungicid|herbicid|insecticid|pesticid|kg/ha|lb/ac|litro|\bdos[ei]", said)


def test_messages_carry_their_section():
    assert all(isinstance(message, Message) for message in MESSAGES)
    assert {message.key.split(".")[0] for message in MESSAGES} == set(SECTIONS)
