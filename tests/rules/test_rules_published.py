"""Pruning rules and injury against printed examples."""

import numpy as np
import pandas as pd
import pytest

from geoprune.errors import DataError
from geoprune.layers import TRAININGS
from geoprune.rules import assess_injury, bud_need, load_rules, recipe, resolve_rule
from geoprune.units import KG_PER_LB


@pytest.mark.parametrize(
    ("rule", "pounds", "buds", "source"),
    [
        (
            "30+10",
            1,
            30,
            "Smith 2023, Ohio State University; West Virginia Dept of Agriculture, Growing Grapes in WV p. 14",
        ),
        ("30+10", 3, 50, "West Virginia Dept of Agriculture, Growing Grapes in WV, p. 14, printed example"),
        ("30+10", 4, 60, "home-garden page on third-year vines, printed example"),
        ("20+20", 2, 40, "grower's log, Pruning 2013 part 2, printed example: 20 two-bud spurs"),
        ("20+20", 1.75, 35, "common practice, no source"),
        ("20+10", 2.5, 35, "computed from Smith 2023 table 1"),
        ("44/kg", 1 / KG_PER_LB, 44, "Zabadal et al. 2002, Am. J. Enol. Vitic. 53:204: 44 nodes per kg"),
        ("vinifera", 1.5, 30, "Smith 2023 table 1"),
    ],
)
def test_rule_gives_the_printed_count(rule, pounds, buds, source):
    assert resolve_rule(rule).buds(np.array([pounds * KG_PER_LB]))[0] == pytest.approx(buds, rel=1e-9), source


def test_every_rule_names_a_source_and_rises_with_weight():
    weights = np.linspace(0, 4, 200)
    for name, entry in load_rules().items():
        assert entry["source"]
        assert (np.diff(resolve_rule(name).buds(weights)) > 0).all()


def test_unknown_rule_is_refused_with_near_names():
    with pytest.raises(DataError, match="vinifera"):
        resolve_rule("vinifra")


@pytest.mark.parametrize(
    ("dead", "cut", "buds", "source"),
    [
        (10, 100, 40, "Martinson 2014, Cornell: below 20 % nothing is added"),
        (35, 100, 54, "Martinson 2014, Cornell: 35 % injury, 35 % more"),
        (55, 100, 62, "Martinson 2014, Cornell: 40 x 1.55"),
    ],
)
def test_injury_follows_cornell(dead, cut, buds, source):
    injury = assess_injury(pd.DataFrame({"buds_cut": [cut], "primary_dead": [dead]}))
    need = bud_need(resolve_rule("20+20"), injury)
    assert need(np.array([2 * KG_PER_LB]))[0] == pytest.approx(buds), source


def test_injury_interval_and_stop():
    # 35 of 100 reads as about 26-44 % (binomial, computed); over 80 % no number (Martinson 2014)
    injury = assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [35]}))
    assert (round(injury.low, 2), round(injury.high, 2)) == pytest.approx((0.26, 0.45), abs=0.011)
    assert assess_injury(pd.DataFrame({"buds_cut": [100], "primary_dead": [85]})).stop


def test_recipe_adds_up():
    for training in TRAININGS:
        for buds in range(1, 121):
            parts = [p.split(" x ") for p in recipe(buds, training).split(" + ")]
            assert sum(int(p[0]) * (int(p[1]) if len(p) == 2 else 1) for p in parts) == buds
    # printed example (home arbor page quoting common advice): 40 nodes, four 2-bud renewal spurs -> 8 on each of 4 canes
    assert recipe(40, "four-cane") == "4 x 8 + 4 x 2"
