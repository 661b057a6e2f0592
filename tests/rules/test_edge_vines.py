"""Vines at the edges, one zone each, and what may be said to their owner: every sentence is held against the vine.

The vines are invented; the laws are those of docs/rules.md. Expectations are worked out here from the vine itself, by
the published figures named beside them, and not by calling the code that says the sentences.
"""

import re
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import numpy as np
import pandas as pd
import pytest

from geoprune.errors import DataError
from geoprune.rules import (
    AdviceOptions,
    BudNeed,
    CropAssumptions,
    Range,
    advise,
    assess_injury,
    count_of_whole_pieces,
    fit_recipe,
    load_rules,
)
from geoprune.units import KG_PER_LB, M_PER_FT
from geoprune.words import say

BOOK = load_rules()
CROP = CropAssumptions(Range(0.7, 0.85, 0.95), Range(1.5, 2.0, 2.4), Range(80, 110, 150), source="invented")
AMERICAN = ("Concord", "Niagara", "Himrod")


@dataclass(frozen=True)
class Vine:
    """One zone: its vines are of `pounds` with a standard error of `error` of that; `dead` of `cut` buds are dead."""

    pounds: float
    rule: str = "vinifera"
    variety: str = "Riesling"
    training: str = "top-wire cordon"
    feet: float = 6.0
    error: float = 0.06
    planted: int | None = None
    dead: int = 0
    cut: int = 0
    method: str = "cornell"
    measured: int = 0
    thick: float = 9.0
    internode: float = 90.0
    bulls: float = 0.05
    load: float = float("nan")
    block_load: float = float("nan")
    renewed: float = 0.0
    target: float = float("nan")
    pruning: str = "hand"
    wood: tuple = ()

    @property
    def kilograms(self):
        return self.pounds * KG_PER_LB

    @property
    def spacing_m(self):
        return self.feet * M_PER_FT

    @property
    def vine_spacing_m(self):
        return self.spacing_m

    @property
    def curtains(self):
        return 2 if self.training.startswith("divided") else 1

    @property
    def american(self):
        return self.variety in AMERICAN

    @property
    def kg_m_canopy(self):
        return self.kilograms / self.spacing_m / self.curtains


CONCORD = Vine(2.4, "american", "Concord", "top-wire cordon", 8.0)
GDC = Vine(2.4, "concord 50+10", "Concord", "divided horizontal", 8.0)
FLAT = Vine(1.5, training="flat cane")
BULLS = {"measured": 8, "thick": 14.5, "internode": 150.0, "bulls": 0.4}

VINES = {
    # dead 0-100 %, on vinifera by every method, and on American vines
    **{f"dead {dead}": replace(FLAT, dead=dead, cut=100) for dead in (0, 5, 15, 19, 20, 35, 50, 79, 80, 81, 95, 100)},
    **{f"purdue {dead}": replace(FLAT, dead=dead, cut=100, method="purdue") for dead in (15, 16, 35, 36, 50, 51)},
    **{f"michigan {dead}": replace(FLAT, dead=dead, cut=100, method="michigan") for dead in (19, 20, 50, 51)},
    **{f"replace {dead}": replace(FLAT, dead=dead, cut=100, method="replace") for dead in (1, 50, 80)},
    **{f"american dead {dead}": replace(CONCORD, dead=dead, cut=100) for dead in (25, 50, 90)},
    "dead 80 packed": replace(FLAT, pounds=4.0, dead=79, cut=100),
    # too few buds
    "one bud dead": replace(FLAT, dead=1, cut=1),
    "1 of 4": replace(FLAT, dead=1, cut=4),
    "6 of 6": replace(FLAT, dead=6, cut=6),
    "40 of 40": replace(FLAT, dead=40, cut=40),
    "17 of 49": replace(FLAT, dead=17, cut=49),
    # n = 1 and a few
    **{f"canes on {n}": replace(FLAT, **(BULLS | {"measured": n})) for n in (1, 2, 4, 5, 8)},
    **{f"thin canes on {n}": replace(FLAT, measured=n, thick=5.9) for n in (1, 5, 9)},
    "thin by a hair": replace(FLAT, measured=6, thick=6.3),
    "long internodes": replace(FLAT, measured=6, internode=131.0),
    # tiny, small, huge
    **{f"{pounds} lb": replace(FLAT, pounds=pounds) for pounds in (0.02, 0.1, 0.24, 0.25, 0.3, 0.49, 0.75, 1.75, 3.0)},
    **{f"{pounds} lb at 6 ft": replace(FLAT, pounds=pounds) for pounds in (4.0, 5.5, 8.0)},
    "mostly to renew": replace(FLAT, pounds=0.35, renewed=0.55),
    "some to renew": replace(FLAT, pounds=0.6, renewed=0.12),
    "uncertain weight": replace(FLAT, pounds=1.0, error=0.4),
    "close planting": replace(FLAT, feet=2.7, pounds=0.5),
    "wide planting": replace(CONCORD, feet=12.0, pounds=6.0),
    "huge concord": replace(CONCORD, pounds=7.0),
    # young
    **{f"planted {year}": replace(FLAT, pounds=0.5, planted=year) for year in (2023, 2024, 2026)},
    "planted 2022": replace(FLAT, pounds=0.8, planted=2022),
    "young and dead": replace(FLAT, pounds=0.4, planted=2025, dead=90, cut=100),
    # divided
    "gdc": GDC,
    "gdc small": replace(GDC, pounds=0.9),
    "lyre small": replace(GDC, rule="vinifera", variety="Merlot", pounds=2.0, feet=8.0),
    "lyre large": replace(GDC, rule="vinifera", variety="Merlot", pounds=9.5),
    "scott henry": replace(FLAT, training="divided vertical", pounds=2.5),
    "single that would divide": replace(FLAT, pounds=4.5, **BULLS),
    "single too small to divide": replace(FLAT, pounds=2.6, **BULLS),
    "american bulls": replace(CONCORD, **BULLS),
    # other kinds and trainings
    "chambourcin": replace(FLAT, rule="chambourcin 15 per lb", variety="Chambourcin", pounds=1.3),
    "chambourcin small": replace(FLAT, rule="chambourcin 15 per lb", variety="Chambourcin", pounds=0.6),
    "chambourcin in balance": replace(
        FLAT, rule="chambourcin 15 per lb", variety="Chambourcin", pounds=2.2, measured=6, load=7.0
    ),
    "seedless": replace(CONCORD, rule="seedless table", variety="Himrod"),
    "unknown cultivar": replace(FLAT, rule="20+20", variety="Nobody's Grape"),
    "four-cane": replace(CONCORD, training="four-cane"),
    "four-cane small": replace(CONCORD, training="four-cane", pounds=0.65),
    "niagara arched": replace(CONCORD, rule="niagara 25+10", variety="Niagara", training="arched cane"),
    "low cordon": replace(FLAT, training="low cordon", pounds=2.2),
    # crop
    **{f"load {load}": replace(FLAT, pounds=2.6, load=load, measured=6) for load in (1.5, 3.9, 4.0, 7.0, 10.0, 10.5, 13.2)},
    **{f"block load {load}": replace(FLAT, pounds=2.6, block_load=load, measured=6) for load in (2.5, 7.0, 12.9)},
    "concord load": replace(CONCORD, load=18.0),
    "minimal": replace(FLAT, load=50.0, pruning="minimal"),
    **{f"target {target}": replace(FLAT, pounds=1.0, target=target) for target in (2.0, 5.0, 30.0)},
    # cut wrong: pieces fixed that do not make the count, wood with no room
    "spurs of three": replace(FLAT, training="top-wire cordon", pounds=1.75, wood=(("buds_per_spur", 3),)),
    "canes of twelve": replace(FLAT, pounds=1.6, wood=(("buds_per_cane", 12),)),
    "two canes": replace(
        FLAT,
        training="double guyot",
        variety="Chardonnay",
        pounds=2.0,
        measured=8,
        internode=85.0,
        wood=(("node_spacing_m", 0.085),),
    ),
    "half dead in balance": replace(FLAT, pounds=2.2, measured=6, load=7.0, dead=50, cut=100),
    "one cane": replace(FLAT, pounds=2.5, wood=(("canes", 1),)),
    "short internode room": replace(FLAT, pounds=3.0, wood=(("node_spacing_m", 0.1016),)),
}
NAMES = list(VINES)


@cache
def advised(name):
    """The vine, its injury, the number as a plan tells it (steps of five, held by the wood), and the advice."""
    vine = VINES[name]
    checks = pd.DataFrame({"buds_cut": [vine.cut], "primary_dead": [vine.dead]}) if vine.cut else None
    injury = assess_injury(checks, method=vine.method, variety=vine.variety)
    rule = BOOK.resolve(vine.rule, vine.variety, planted=vine.planted, season=2026)
    wood = dict(vine.wood)
    room = fit_recipe(0, vine.training, vine.spacing_m, **wood).capacity
    need = BudNeed(rule, injury_factor=injury.need_factor, cap=float(max(room // 5 * 5, 5)))
    asked = max(5 * round(float(need(vine.kilograms)) / 5), 5)
    buds = np.nan if injury.stop else count_of_whole_pieces(min(asked, int(need.cap)), vine.training, vine.spacing_m, **wood)
    row = {
        "zone": 1,
        "vines": 400,
        "area_ha": 0.3,
        "vine_size_kg": vine.kilograms,
        "vine_size_se_kg": vine.error * vine.kilograms,
        "buds_per_vine": buds,
        "injury_share": injury.share,
        "injury_low": injury.low,
        "injury_high": injury.high,
        "renew_share": vine.renewed,
        "bull_cane_share": vine.bulls if vine.measured else np.nan,
        "bull_cane_low": 0.5 * vine.bulls,
        "bull_cane_high": 1.5 * vine.bulls,
    }
    options = AdviceOptions(lengths=wood, crop=CROP, target_t_ha=vine.target, pruning=vine.pruning)
    advice = advise(
        row,
        vine,
        need=need,
        injury=injury,
        samples=samples(vine),
        yield_kg=vine.load * vine.kilograms * 400,
        block_load=vine.block_load,
        options=options,
    )
    return vine, injury, need, buds, advice


def samples(vine):
    spread = np.linspace(-0.02, 0.02, vine.measured) if vine.measured > 1 else np.zeros(vine.measured)
    return pd.DataFrame(
        {
            "vine_weight_kg": vine.kilograms * (1 + spread),
            "vines_weighed": 1,
            "canes": pd.array([20] * vine.measured, dtype="Int64"),
            "bull_canes": pd.array([round(20 * vine.bulls)] * vine.measured, dtype="Int64"),
            "cane_diameter_mm": vine.thick + spread,
            "internode_mm": vine.internode + spread,
        }
    )


def keys(advice):
    return {message.key for message in advice.messages}


def lines(advice, language="en", units="us"):
    return {message.key: say(message, language, units) for message in advice.messages}


def test_there_are_enough_vines():
    assert len(VINES) >= 60


@pytest.mark.parametrize("name", NAMES)
def test_every_sentence_can_be_reported(name):
    for language, units in product(("en", "es"), ("us", "metric")):
        for line in lines(advised(name)[-1], language, units).values():
            assert "{" not in line
            assert not re.search(r"\b(nan|inf)\b|–", line), line
            assert line.endswith(".") or len(line.split()) < 5, line


@pytest.mark.parametrize("name", NAMES)
def test_a_number_is_given_where_one_holds_and_nowhere_else(name):
    # Smith 2023: over 3 years old. Ours: under 0.25 lb, or half the vines. Martinson 2014: to 80 %; Purdue, Zabadal: 50 %
    vine, injury, _, _, advice = advised(name)
    limit = 0.5 if vine.method in ("purdue", "michigan") else 0.8
    young = vine.planted is not None and vine.planted >= 2023
    small = vine.pounds < 0.25 or vine.renewed >= 0.5
    killed = vine.cut >= 50 and vine.dead > limit * vine.cut
    few_but_sure = 0 < vine.cut < 50 and injury.low > limit
    assert (advice.recipe is None) == (young or small or killed or few_but_sure)
    if advice.recipe is None:
        assert advice.messages[0].key in ("injury.zone_stop", "rules.no_number_young", "rules.no_number_small")
        assert not [key for key in keys(advice) if key.startswith(("recipe.", "balance.", "crop."))]
        assert ("rules.frame_how" in keys(advice)) == young
        assert ("apart.renew_how" in keys(advice)) == (small and not young)


@pytest.mark.parametrize("name", NAMES)
def test_number_and_recipe_never_differ(name):
    _, _, _, buds, advice = advised(name)
    recipe = advice.recipe
    if recipe is not None:
        assert recipe.requested == buds
        assert recipe.total == buds or (not recipe.fits and "no_room" in " ".join(keys(advice)))
        renewal = recipe.training.kind == "cane" and recipe.training.renewal_spurs
        assert not renewal or not recipe.parts or buds < 4 or recipe.count("renewal") >= 1


@pytest.mark.parametrize("name", NAMES)
def test_live_buds_crowd_and_only_on_winegrapes(name):
    # Georgia 2018: 3-6 shoots per ft of fruit zone; Smith 2023: 4-6 per ft of spacing (one canopy)
    vine, injury, _, buds, advice = advised(name)
    if advice.recipe is None:
        return
    live = 1 - vine.dead / vine.cut if vine.cut and injury.enough else 1.0
    per_ft = buds * live / vine.feet / vine.curtains
    said = {key.split(".")[1].removesuffix("_live") for key in keys(advice)} & {"crowded", "wide"}
    judged = not vine.american and vine.variety != "Nobody's Grape"
    assert ("crowded" in said) == (judged and per_ft > 6.1)
    assert ("wide" in said) == (judged and per_ft < 2.9)
    if "crowded" in said and live < 1:
        assert f"{per_ft:.1f} per ft" in lines(advice)["balance.crowded_live"]
    assert "balance.remedy_thin_shoots" not in keys(advice) or "crowded" in said


@pytest.mark.parametrize("name", NAMES)
def test_live_buds_stand_beside_the_target(name):
    vine, injury, need, buds, advice = advised(name)
    said = keys(advice) & {"injury.live_short", "injury.live_enough"}
    if advice.recipe is None or not vine.cut or not injury.enough:
        assert not said
        return
    live, wanted = buds * (1 - vine.dead / vine.cut), float(need.rule.buds(vine.kilograms))
    assert said == {"injury.live_short" if round(live) < round(min(wanted, buds)) else "injury.live_enough"}
    assert "make up" not in " ".join(lines(advice).values()).replace("does not make up", "")
    # "the same number" only where rule and method give it, and not the cap
    ends = [wanted * float(injury.method.factor(min(end, injury.method.stop_above))) for end in (injury.low, injury.high)]
    assert ("injury.zone_same" in keys(advice)) == (round(ends[0]) == round(ends[1]))


@pytest.mark.parametrize("name", NAMES)
def test_few_buds_are_a_remark(name):
    # Martinson 2014: 50-100 buds per block
    vine, injury, need, _, _ = advised(name)
    if 0 < vine.cut < 50:
        said = {message.key for message in injury.messages}
        assert ("injury.too_few" in said) == (not injury.stop)
        assert injury.stop or need.injury_factor == 1.0


@pytest.mark.parametrize("name", NAMES)
def test_a_diagnosis_rests_on_enough(name):
    vine, _, _, _, advice = advised(name)
    key, said = advice.diagnosis_key, keys(advice)
    low, high = (vine.kg_m_canopy * (1 + sign * 1.96 * vine.error) for sign in (-1, 1))
    winegrape = not vine.american and vine.variety != "Nobody's Grape"
    single = vine.curtains == 1
    # Kliewer & Dokoozlian 2005: to 1.0 and 0.8 kg/m; below 0.298 (from memory, eastern) and 0.4 kg/m
    large = winegrape and vine.training != "divided vertical" and low > (1.0 if single else 0.8)
    small = winegrape and vine.training != "divided vertical" and high < (0.298 if single else 0.4)
    canes = vine.measured >= 5
    if key == "weak":
        assert small or vine.load > 10 or (canes and vine.thick < 6.35)
    if key == "rank":
        assert large or canes or vine.load < 4 or "balance.room_small" in said
    if key == "in balance":
        assert canes or np.isfinite(vine.load) or np.isfinite(vine.block_load)
        assert not large
        assert not small
        assert not said & {"balance.crowded", "balance.crowded_live", "balance.room_small", "balance.room_short"}
        assert not vine.block_load > 10
    if vine.american:
        assert key != "weak" or canes
        assert not [
            one for one in said if re.match(r"balance\.(pruning_(below|above|inside|between)|crop_load_(a|b|i))", one)
        ]


@pytest.mark.parametrize("name", NAMES)
def test_remedies_fit_the_vine(name):
    vine, _, _, _, advice = advised(name)
    said = keys(advice)
    if "balance.remedy_divide_canopy" in said:
        assert vine.curtains == 1
        assert vine.kg_m_canopy / 2 >= 0.4  # Kliewer & Dokoozlian 2005: divided canopies from 0.4 kg/m
    if "balance.remedy_one_curtain" in said:
        assert vine.training == "divided horizontal"
        assert vine.kg_m_canopy < 0.4
    assert ("balance.remedy_keep_on" in said) <= (advice.diagnosis_key == "in balance")
    # nobody keeps on as before whose buds winter killed (practice)
    assert not {"balance.remedy_keep_on", "injury.step_factor"} <= said
    assert not {"balance.remedy_keep_on", "injury.live_short"} <= said
    # outgrowing the trellis is said above a band: 0.595 and 0.6 kg/m from memory, 1.0 and 0.8 kg/m Kliewer & Dokoozlian 2005
    if "balance.room_small" in said and not vine.american and vine.curtains == 1:
        assert vine.kg_m_canopy * (1 - 1.96 * vine.error) > 0.59
    if "balance.room_short" in said:
        assert advice.diagnosis_key != "in balance"
    assert not {"balance.remedy_give_buds", "balance.remedy_hold_buds"} <= said
    assert not {"balance.remedy_give_buds", "balance.remedy_thin_shoots"} <= said


@pytest.mark.parametrize("name", NAMES)
def test_a_figure_shown_gives_its_count_back(name):
    # "35.0 buds to a vine of 1.75 lb": counted again from what is printed (1 lb = 0.45359237 kg)
    _, _, need, _, advice = advised(name)
    for units in ("us", "metric"):
        shown = lines(advice, units=units)
        for line in (shown[key] for key in ("rules.step_rule", "rules.step_prorated") if key in shown):
            buds, weight = re.search(r"gives ([\d.]+) buds to a vine of ([\d.]+)", line).groups()
            kilograms = float(weight) * (KG_PER_LB if units == "us" else 1.0)
            assert f"{float(need.rule.buds(kilograms)):.1f}" == buds


@pytest.mark.parametrize("name", NAMES)
def test_what_is_more_or_less_is_so_as_printed(name):
    # no "6 mm, thinner than 6 mm", no "20 fewer than (20 to 30)"
    number = r"([\d.]+)"
    for line in (line for units in ("us", "metric") for line in lines(advised(name)[-1], units=units).values()):
        for pattern, sign in (
            (rf"^Canes {number} \w+ thick.*thinner than {number}", -1),
            (rf"^(?:Canes|Internodes of) {number} \w+ .*(?:thicker|longer) than {number}", 1),
            (rf"uds {number} per \w+ of canopy.*more than {number} per", 1),
            (rf"uds {number} per \w+ of canopy.*less than {number} per", -1),
            (rf"^{number} buds are fewer than .*\({number} to", -1),
            (rf"^{number} buds are more than .* to {number}\)", 1),
            (rf"times the pruning weight \([\d.]+ to {number}\), below {number}", -1),
            (rf"times the pruning weight \({number} to [\d.]+\), above [\d.]+ to {number}", 1),
        ):
            if found := re.search(pattern, line):
                assert sign * (float(found[1]) - float(found[2])) > 0, line


def test_buds_cut_wrong_are_refused():
    for dead, cut in ((12, 10), (-1, 10), (3, 0)):
        with pytest.raises(DataError):
            assess_injury(pd.DataFrame({"buds_cut": [cut], "primary_dead": [dead]}))


def test_the_edges_bring_out_what_they_are_for():
    said = set().union(*(keys(advised(name)[-1]) for name in NAMES))
    wanted = {
        *("injury.zone_stop", "injury.zone_held", "injury.zone_same", "injury.live_short", "injury.live_enough"),
        *("rules.no_number_young", "rules.no_number_small", "rules.renew_share", "rules.flag_low", "rules.step_cap"),
        *(
            "balance.crowded",
            "balance.wide",
            "balance.room_small",
            "balance.room_short",
            "balance.bull_few_vines",
            "balance.bull_many",
        ),
        *("balance.remedy_divide_canopy", "balance.remedy_one_curtain", "balance.remedy_keep_on"),
        *("balance.crop_load_above", "balance.crop_load_below", "balance.crop_load_block_above"),
        *("balance.cane_diameter_below", "balance.internode_above", "balance.inside_band"),
        *("crop.more_than_target", "crop.less_than_target", "crop.meets_target", "recipe.top_canes_longer"),
    }
    assert wanted <= said, wanted - said
