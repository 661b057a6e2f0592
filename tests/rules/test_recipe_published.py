"""The count on the wood: printed examples and laws; each row names its source."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoprune.errors import DataError
from geoprune.rules import countable_counts, find_training, fit_recipe, load_trainings, recipe
from geoprune.units import M_PER_FT

FT = M_PER_FT
IN = FT / 12


@pytest.mark.parametrize(
    ("buds", "training", "spacing_m", "fixed", "text", "source"),
    [
        (
            40,
            "four-cane",
            8 * FT,
            {},
            "4 × 8 + 4 × 2",
            "printed: gardenguides.com, grape arbor, printed example (second-hand)",
        ),
        (
            32,
            "four-cane",
            8 * FT,
            {"renewal_spurs": 0},
            "4 × 8",
            "printed: Zabadal 2002, Michigan State University E-2774: four 8-node canes for 30-35 (second-hand)",
        ),
        (
            50,
            "top-wire cordon",
            8 * FT,
            {"buds_per_spur": 5},
            "10 × 5",
            "printed: West Virginia Department of Agriculture, Growing Grapes in WV, p. 14: ten 5-bud spurs",
        ),
        (
            50,
            "arched cane",
            8 * FT,
            {"buds_per_cane": 10, "renewal_spurs": 0},
            "5 × 10",
            "printed: West Virginia Department of Agriculture, Growing Grapes in WV, p. 14: or five 10-bud canes",
        ),
        (
            40,
            "low cordon",
            8 * FT,
            {"buds_per_spur": 2},
            "20 × 2",
            "printed: cooksplace.us 2013: 20 two-bud spurs (second-hand)",
        ),
        (
            30,
            "four-cane",
            6 * FT,
            {},
            "2 × 6 + 2 × 5 + 4 × 2",
            "printed: Hedrick, Manual of American Grape-Growing: 22 + 8 buds",
        ),
        (
            48,
            "low cordon",
            8 * FT,
            {"spur_spacing_m": 0.1},
            "24 × 2",
            "printed: Kliewer & Dokoozlian 2005, Am. J. Enol. Vitic. 56:170: 24 two-bud spurs",
        ),
        (
            24,
            "flat cane",
            1.8,
            {"renewal_spurs": 0},
            "2 × 12",
            "printed: Naylor: 12-15 buds on each of two canes (second-hand)",
        ),
    ],
)
def test_printed_recipes(buds, training, spacing_m, fixed, text, source):
    found = fit_recipe(buds, training, spacing_m, **fixed)
    assert (found.text, found.total, found.exact) == (text, buds, True), source


def test_two_canes_at_six_feet_hold_what_growers_report():
    # Naylor, Grapegrower & Winemaker: 12-15 buds per cane at 1.8 m = 24-30 nodes = 13.3-16.7 per m
    for buds, per_m in ((24, 13.333), (30, 16.667)):
        found = fit_recipe(buds, "flat cane", 1.8, renewal_spurs=0)
        assert found.fits
        assert found.count("cane") == 2
        assert found.buds_per_m_row == pytest.approx(per_m, abs=0.001)


def test_spurs_that_fit_a_cordon():
    # 6 ft vine, spurs each 5 in, 2 buds: floor(72/5) = 14 spurs, 28 buds, 4.67 per ft (computed;
    # band 3-6 per ft of fruit zone: University of Georgia Extension Viticulture 2018)
    found = fit_recipe(28, "top-wire cordon", 6 * FT, spur_spacing_m=5 * IN, buds_per_spur=2)
    assert (found.text, found.capacity) == ("14 × 2", 28)
    assert found.buds_per_m_row * FT == pytest.approx(4.667, abs=0.001)
    assert found.above is None


def test_crowded_spurs_are_refused():
    # cooksplace.us 2013 (second-hand): 20 two-bud spurs do not fit 6-7 spurs on each side of a cordon at 5-6 in
    found = fit_recipe(40, "low cordon", 6 * FT, spur_spacing_m=5 * IN, buds_per_spur=2)
    assert not found.fits
    assert (found.text, found.parts, found.below) == ("", (), 28)
    assert found.reasons[0].key == "recipe.over_capacity_spurs"
    assert found.sentence.key == "recipe.does_not_fit"


def test_never_part_of_a_cane():
    # 30 nodes on 8-node canes: 4 canes (32) or 3 (24), both told (computed; Zabadal 2002 prints 8-node canes)
    found = fit_recipe(30, "four-cane", 8 * FT, buds_per_cane=8, renewal_spurs=0)
    assert (found.below, found.above, found.total, found.exact) == (24, 32, 32, False)
    assert found.reasons[0].key == "recipe.not_exact"


def test_divided_canopy_counts_its_metres():
    # University of Georgia 2018: 3-6 shoots per ft of each of two fruit zones; at 8 ft 48-96 per vine
    for training in ("divided horizontal", "divided vertical"):
        found = fit_recipe(48, training, 8 * FT)
        assert found.buds_per_m_row * FT == pytest.approx(6.0)
        assert found.buds_per_m_canopy * FT == pytest.approx(3.0)
    assert fit_recipe(96, "divided horizontal", 8 * FT).buds_per_m_canopy * FT == pytest.approx(6.0)
    assert fit_recipe(48, "top-wire cordon", 8 * FT).buds_per_m_canopy * FT == pytest.approx(6.0)


def test_spacing_check_of_ohio():
    # Smith 2023, Ohio State University: 4-6 buds per ft of spacing; 8 ft vine 32-48 (computed)
    low, high = fit_recipe(32, "top-wire cordon", 8 * FT), fit_recipe(48, "top-wire cordon", 8 * FT)
    assert (low.buds_per_m_row * FT, high.buds_per_m_row * FT) == pytest.approx((4.0, 6.0))


@settings(max_examples=300, deadline=None)
@given(
    buds=st.integers(0, 160),
    training=st.sampled_from(sorted(load_trainings())),
    spacing=st.floats(0.8, 3.5),
    renewal=st.sampled_from([None, 0, 2, 4]),
)
def test_recipe_adds_up_exactly_when_it_fits(buds, training, spacing, renewal):
    found = fit_recipe(buds, training, spacing, renewal_spurs=renewal)
    assert found.fits == (buds <= found.capacity)
    if found.fits:
        assert found.exact
        assert sum(part.count * part.buds for part in found.parts) == buds == found.total
        assert all(part.count > 0 and part.buds > 0 for part in found.parts)
        main = [part.buds for part in found.parts if part.kind != "renewal"]
        assert not main or max(main) - min(main) <= 1
    else:
        assert not found.parts
    assert found.below is None or found.below < buds
    assert found.above is None or buds < found.above <= found.capacity


@settings(max_examples=100, deadline=None)
@given(buds=st.integers(1, 160), training=st.sampled_from(sorted(load_trainings())))
def test_plain_recipe_adds_up_without_a_spacing(buds, training):
    parts = [part.split(" x ") for part in recipe(buds, training).split(" + ")]
    assert sum(int(count) * int(each) for count, each in parts) == buds


@settings(max_examples=100, deadline=None)
@given(pieces=st.integers(1, 12), each=st.integers(2, 5), spacing=st.floats(1.6, 3.0))
def test_fixed_spurs_are_whole(pieces, each, spacing):
    found = fit_recipe(pieces * each, "divided horizontal", spacing, buds_per_spur=each)
    assert found.exact
    assert found.text == f"{pieces} × {each}"


def test_trainings_are_those_of_the_files():
    named = (
        "top-wire cordon",
        "low cordon",
        "flat cane",
        "arched cane",
        "four-cane",
        "divided vertical",
        "divided horizontal",
    )
    assert tuple(load_trainings())[:7] == named
    assert {training.canopies for training in load_trainings().values()} == {1, 2}
    for training in load_trainings().values():
        assert len(training.source) > 20


@pytest.mark.parametrize(
    ("asked", "suggested"),
    [
        ("topwire cordon", ["top-wire cordon"]),
        ("hihg cordon", ["top-wire cordon"]),
        ("flat canes", ["flat cane"]),
        ("four arm", ["four-cane"]),
        ("guyot", ["flat cane", "single guyot", "double guyot"]),  # one cane or two: another room for buds
        # how shoots stand, or how many arms there are, tells neither wood nor wire
        ("VSP", ["low cordon", "flat cane", "single guyot", "double guyot"]),
        ("espaldera", ["low cordon", "flat cane", "single guyot", "double guyot"]),
        ("Kniffin", ["arched cane", "four-cane"]),
        ("bilateral cordon", ["top-wire cordon", "low cordon"]),
        ("xyz", []),
        ("otro", ["other canes", "other spurs"]),
    ],
)
def test_unknown_training_suggests_what_it_may_mean(asked, suggested):
    with pytest.raises(DataError) as caught:
        find_training(asked)
    asks = f"Did you mean {' or '.join(map(repr, suggested))}? Known" if suggested else f"unknown training '{asked}'. Known"
    assert asks in str(caught.value)


@pytest.mark.parametrize(
    ("called", "training"),
    [
        # Michigan and North Carolina name the high cordon; Hedrick the four-cane and four-arm Kniffin; eXtension Grapes the
        # Geneva Double Curtain and Scott Henry; the others: common practice, no source
        ("High Cordon", "top-wire cordon"),
        ("high-wire cordon", "top-wire cordon"),
        ("Cordon Royat", "low cordon"),
        ("cordón royat", "low cordon"),
        ("VSP cordon", "low cordon"),
        ("VSP, cane", "flat cane"),
        ("Double Guyot", "double guyot"),
        ("Guyot simple", "single guyot"),
        ("Parrón", "pergola"),
        ("parron", "pergola"),
        ("gobelet", "head-trained"),
        ("Lira", "lyre"),
        ("cordon royat", "low cordon"),
        ("umbrella kniffin", "arched cane"),
        ("Four-arm Kniffin", "four-cane"),
        ("Scott Henry", "divided vertical"),
        ("Geneva double curtain", "divided horizontal"),
        ("GDC", "divided horizontal"),
    ],
)
def test_other_names_of_the_trade_are_taken(called, training):
    assert find_training(called).id == training


def test_a_name_is_taken_for_one_training_alone():
    names = [name for training in load_trainings().values() for name in (training.id, *training.also_called)]
    unclear = {name for training in load_trainings().values() for name in training.suggested_for}
    assert len(set(names)) == len(names)
    assert not unclear & set(names)


def test_case_and_hyphens_do_not_matter():
    assert find_training("Top Wire  CORDON").id == "top-wire cordon"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"vine_spacing_m": -2.0}, "vine_spacing_m"),
        ({"vine_spacing_m": 80.0}, "vine_spacing_m"),
        ({"vine_spacing_m": float("nan")}, "vine_spacing_m"),
        ({"buds": -5}, "not a number of buds"),
        ({"buds": 12.5}, "not a number of buds"),
        ({"spur_spacing_m": 0.0}, "spur_spacing_m"),
        ({"canes": 0}, "canes"),
        ({"canes": 2.5}, "not whole"),
    ],
)
def test_absurd_lengths_are_refused(change, said):
    given_values = {"buds": 40, "training": "flat cane", "vine_spacing_m": 1.8} | change
    with pytest.raises(DataError, match=said):
        fit_recipe(**given_values)


def test_all_faults_are_reported_together():
    with pytest.raises(DataError) as caught:
        fit_recipe(-1, "flat cane", 99.0, canes=40)
    assert len(caught.value.problems) == 3


def test_numpy_counts_are_taken():
    assert fit_recipe(np.int64(40), "four-cane", 2.4).text == "4 × 8 + 4 × 2"


@pytest.mark.parametrize("training", list(load_trainings()))
@pytest.mark.parametrize("spacing", [0.8, 1.5, 2.4, 4.0])
def test_countable_counts_come_out_with_pieces_alike_or_half_of_the_canes_a_bud_longer(training, spacing):
    counts = countable_counts(training, spacing)
    recipes = [fit_recipe(buds, training, spacing) for buds in counts]
    assert all(found.exact for found in recipes)
    for found in recipes:
        main = [part for part in found.parts if part.kind != "renewal"]
        halves = [part.count for part in main]
        assert len(main) == 1 or (main[0].kind == "cane" and halves[0] == halves[1] >= 2), found.text
    assert counts[-1] == recipes[0].capacity or recipes[0].capacity > 1000  # no vine is left more
    for buds in sorted(set(range(1, counts[-1])) - set(counts))[::5]:
        main = [part for part in fit_recipe(buds, training, spacing).parts if part.kind != "renewal"]
        assert len(main) == 2, buds


def test_countable_counts_follow_what_the_grower_fixed():
    # four canes with a bud more on two or on all, two buds on each of four renewal spurs: arithmetic
    assert countable_counts("four-cane", 2.4)[-5:] == (60, 62, 64, 66, 68)
    # spurs of three buds, one spur more or less
    assert countable_counts("top-wire cordon", 1.0, buds_per_spur=3) == (3, 6, 9, 12, 15, 18, 21)
    # two canes, whatever number is wanted
    assert {b % 2 for b in countable_counts("flat cane", 1.5, canes=2, renewal_spurs=0) if b >= 8} == {0}
    with pytest.raises(DataError, match="unknown training"):
        countable_counts("no such thing", 2.0)
