"""Rules against printed worked examples and tables; each row names its source."""

import numpy as np
import pytest

from geoprune.rules import BudNeed, load_rules, parse_rule
from geoprune.units import KG_PER_LB

BOOK = load_rules()
SMITH = "Smith 2023, Ohio State University, Grape Pruning Primer, table 1"
WEST_VIRGINIA = "West Virginia Department of Agriculture, Growing Grapes in WV, p. 14"


@pytest.mark.parametrize(
    ("rule", "pounds", "buds", "source"),
    [
        ("30+10", 1, 30, f"printed: {SMITH}; {WEST_VIRGINIA}"),
        ("american", 1, 30, f"printed: {SMITH}"),
        ("french hybrids", 1, 20, f"printed: {SMITH}"),
        ("french hybrids", 2, 30, f"applied: {SMITH}"),
        ("new hybrids", 2, 40, f"applied: {SMITH}"),
        ("seedless table", 2, 40, f"applied: {SMITH}"),
        ("vinifera", 2, 40, f"applied: {SMITH}"),
        ("30+10", 3, 50, f"printed: {WEST_VIRGINIA}, printed example"),
        ("west virginia 30+10", 3, 50, f"printed: {WEST_VIRGINIA}, printed example"),
        ("30+10", 4, 60, "printed: 98905.com, growing grapes, third-year vines, printed example (second-hand)"),
        ("20+20", 2, 40, "printed: cooksplace.us, Pruning 2013 Part 2, printed example (second-hand)"),
        ("20+20", 1.5, 30, "ours: by the rule; linear between pounds is common practice, no source"),
        ("20+20", 1.75, 35, "ours: common practice, no source"),
        ("winegrapes 20+10", 2, 30, "applied: White, quoting Wolf & Poling 1995; Vidon Vineyard 2017 (second-hand)"),
        ("mid-atlantic vinifera", 3, 60, "applied: White, quoting Wolf & Poling 1995: 20 per lb (second-hand)"),
        ("concord 50+10", 2, 60, "applied: Morris & Cawthon 1984, J. Amer. Soc. Hort. Sci. 109:676"),
        ("concord 30+10", 2, 40, "applied: Morris & Cawthon 1984, J. Amer. Soc. Hort. Sci. 109:676"),
        ("norton 50+10", 2, 60, "applied: Main & Morris 2008, Am. J. Enol. Vitic. 59:179"),
        ("vignoles 15+15", 2, 30, "applied: Howell et al. 1991, Am. J. Enol. Vitic. 42:191"),
        ("chambourcin 15 per lb", 2, 30, "applied: Kurtural, Dami & Taylor 2006, HortTechnology 16:233"),
        ("chambourcin 20 per lb", 2, 40, "applied: Kurtural, Dami & Taylor 2006, HortTechnology 16:233"),
        ("hybrids 10+10", 2, 20, "applied: Morris et al. 1984, Am. J. Enol. Vitic. 35:26"),
        ("hybrids 20+10", 2, 30, "applied: Morris et al. 1984, Am. J. Enol. Vitic. 35:26"),
        ("fredonia 40+10", 2, 50, "memory: from memory"),
        ("niagara 25+10", 2, 35, "memory: from memory"),
        ("delaware 20+10", 2, 30, "memory: from memory, other printings"),
        ("medium-cluster hybrids", 2, 20, "memory: from memory"),
    ],
)
def test_buds_by_weight(rule, pounds, buds, source):
    found = BOOK.resolve(rule)
    assert found.buds(pounds * KG_PER_LB) == pytest.approx(buds, abs=1e-9), source


@pytest.mark.parametrize(
    ("rule", "kilograms", "buds", "source"),
    [
        ("concord 44 per kg", 1, 44, "printed: Am. J. Enol. Vitic. 2002, 53(3):204"),
        ("44/kg", 2, 88, "applied: Am. J. Enol. Vitic. 2002, 53(3):204"),
        ("9/kg", 1, 9, "printed: Lider, Kasimatis & Kliewer 1975, Am. J. Enol. Vitic. 26:175"),
        ("15/kg", 1, 15, "printed: Lider, Kasimatis & Kliewer 1975, Am. J. Enol. Vitic. 26:175"),
        ("22/kg", 1, 22, "printed: Lider, Kasimatis & Kliewer 1975, Am. J. Enol. Vitic. 26:175"),
    ],
)
def test_buds_by_kilogram(rule, kilograms, buds, source):
    assert BOOK.resolve(rule).buds(kilograms) == pytest.approx(buds, abs=1e-9), source


#: Computed from the published rules by definition, prorated below 1 lb; rows are pounds.
GRID_RULES = ("30+10", "20+10", "20+20", "15+15", "50+10", "10+10", "40+10", "25+10")
GRID = {
    0.25: (7.5, 5, 5, 3.75, 12.5, 2.5, 10, 6.25),
    0.5: (15, 10, 10, 7.5, 25, 5, 20, 12.5),
    0.75: (22.5, 15, 15, 11.25, 37.5, 7.5, 30, 18.75),
    1: (30, 20, 20, 15, 50, 10, 40, 25),
    1.25: (32.5, 22.5, 25, 18.75, 52.5, 12.5, 42.5, 27.5),
    1.5: (35, 25, 30, 22.5, 55, 15, 45, 30),
    2: (40, 30, 40, 30, 60, 20, 50, 35),
    2.5: (45, 35, 50, 37.5, 65, 25, 55, 40),
    3: (50, 40, 60, 45, 70, 30, 60, 45),
    4: (60, 50, 80, 60, 80, 40, 70, 55),
    5: (70, 60, 100, 75, 90, 50, 80, 65),
}


@pytest.mark.parametrize("column", range(len(GRID_RULES)), ids=GRID_RULES)
def test_grid_of_rules(column):
    pounds = np.array(list(GRID))
    expected = [line[column] for line in GRID.values()]
    assert parse_rule(GRID_RULES[column]).buds(pounds * KG_PER_LB) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("rule", "unit", "further", "source"),
    [
        ("30+10", "kg", 22.05, "ours: 10 per lb, exact conversion"),
        ("15+15", "kg", 33.07, "ours: 15 per lb, exact conversion"),
        ("20+20", "kg", 44.09, "ours: 20 per lb, exact conversion"),
        ("25+25", "kg", 55.12, "ours: 25 per lb, exact conversion"),
        ("44/kg", "lb", 19.958, "applied: 44 nodes per kg (Am. J. Enol. Vitic. 2002, 53(3):204), exact conversion"),
        ("9/kg", "lb", 4.08, "applied: Lider et al. 1975, exact conversion"),
        ("15/kg", "lb", 6.80, "applied: Lider et al. 1975, exact conversion"),
        ("22/kg", "lb", 9.98, "applied: Lider et al. 1975, exact conversion"),
    ],
)
def test_conversion_between_pound_and_kilogram_rules(rule, unit, further, source):
    assert parse_rule(rule).per_unit(unit)[2] == pytest.approx(further, abs=0.005), source


def test_metric_rule_is_not_rounded_to_half_kilograms():
    # 0.5 kg is 1.102 lb, so "30 for the first 0.5 kg" is another rule (exact conversion)
    step, within, after = parse_rule("30+10").per_unit("kg")
    assert step == KG_PER_LB
    assert step * within == pytest.approx(30, abs=1e-12)
    assert parse_rule("30+10").buds(0.5) == pytest.approx(30 + (0.5 - KG_PER_LB) * after, abs=1e-12)
    assert parse_rule("30+10").buds(0.5) > 31


@pytest.mark.parametrize(
    ("rule", "pounds", "spacing_ft", "factor", "nodes", "per_ft", "source"),
    [
        ("american", 2.4, 8, 1.0, 44, 5.5, f"applied: Concord 30+10, {SMITH}; 9 x 8 ft"),
        ("american", 2.4, 8, 1.25, 55, 6.875, f"applied: the same after Martinson 2014, 25 % of buds dead; {SMITH}"),
        ("vinifera", 1.5, 6, 1.0, 30, 5.0, f"applied: vinifera 20+20, {SMITH}; 9 x 6 ft; 10 % of buds dead adds nothing"),
    ],
)
def test_whole_chain_examples(rule, pounds, spacing_ft, factor, nodes, per_ft, source):
    need = BudNeed(BOOK.resolve(rule), injury_factor=factor)
    weight = pounds * KG_PER_LB
    assert need(weight) == pytest.approx(nodes, abs=1e-9), source
    assert need(weight) / spacing_ft == pytest.approx(per_ft, abs=1e-9), source


def test_every_rule_and_trial_has_source_and_standing():
    assert len({rule.id for rule in BOOK.rules}) == len(BOOK.rules)
    for entry in (*BOOK.rules, *BOOK.trials):
        assert len(entry.source) > 10
        assert entry.tag in {"read", "second-hand", "memory"}
        assert ("from memory:" in entry.source) == (entry.tag == "memory")
