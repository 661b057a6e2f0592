"""Laws of rules and needs, and files of own rules."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoprune.errors import DataError
from geoprune.rules import BudNeed, load_rules, parse_rule, rule_table
from geoprune.units import KG_PER_LB

#: What these checks are worth, see test_standing_of_checks.py.
STANDING = "ours: definition and design, but for what is named beside a check"


BOOK = load_rules()
rules = st.builds(
    lambda first, further, unit: parse_rule(f"{first}+{further}{unit}"),
    st.integers(1, 100),
    st.integers(0, 100),
    st.sampled_from(["", "/kg"]),
)
weights = st.floats(0, 8, allow_nan=False)


@settings(max_examples=200, deadline=None)
@given(rule=rules, small=weights, more=st.floats(0, 3), factor=st.floats(1, 3), cap=st.floats(10, 90))
def test_counts_never_fall_with_weight(rule, small, more, factor, cap):
    need = BudNeed(rule, injury_factor=factor, floor=5, cap=cap)
    low, high = need([small, small + more])
    assert low <= high + 1e-9


@settings(max_examples=200, deadline=None)
@given(rule=rules, weight=weights, floor=st.floats(0, 30), cap=st.floats(30, 90), factor=st.floats(0.5, 3))
def test_a_cap_never_raises_and_a_floor_never_lowers(rule, weight, floor, cap, factor):
    free = BudNeed(rule, injury_factor=factor)(weight)
    assert BudNeed(rule, injury_factor=factor, cap=cap)(weight) <= free + 1e-12
    assert BudNeed(rule, injury_factor=factor, floor=floor)(weight) >= free - 1e-12
    both = BudNeed(rule, injury_factor=factor, floor=floor, cap=cap)(weight)
    assert floor <= both <= cap


@settings(max_examples=200, deadline=None)
@given(first=st.integers(1, 90), further=st.integers(0, 90), pounds=st.floats(0, 12))
def test_pounds_and_kilograms_agree(first, further, pounds):
    # A rule per lb told exactly in kg gives the same counts to 1e-9
    rule = parse_rule(f"{first}+{further}")
    step, within, after = rule.per_unit("kg")
    kilograms = pounds * KG_PER_LB
    metric = within * min(kilograms, step) + after * max(kilograms - step, 0)
    assert rule.buds(kilograms) == pytest.approx(metric, abs=1e-9)
    by_pounds = first * min(pounds, 1) + further * max(pounds - 1, 0)
    assert rule.buds(kilograms) == pytest.approx(by_pounds, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(rule=rules)
def test_continuous_at_the_first_unit_and_zero_at_nothing(rule):
    edge = rule.unit_kg
    assert rule.buds([edge * (1 - 1e-12), edge * (1 + 1e-12)]) == pytest.approx([rule.first] * 2, abs=1e-6)
    assert rule.buds(0.0) == 0.0


@settings(max_examples=50, deadline=None)
@given(each=st.sampled_from([10, 15, 20]), weight=weights)
def test_equal_parts_are_a_straight_line(each, weight):
    assert parse_rule(f"{each}+{each}").buds(weight) == pytest.approx(each * weight / KG_PER_LB, abs=1e-9)


@settings(max_examples=50, deadline=None)
@given(
    rule=rules,
    sizes=st.lists(st.floats(0.05, 3), min_size=2, max_size=6),
    vines=st.lists(st.integers(1, 50), min_size=6, max_size=6),
)
def test_zone_means_weighted_by_vines_are_the_block_total(rule, sizes, vines):
    buds = BudNeed(rule)(np.array(sizes))
    count = np.array(vines[: len(sizes)])
    assert np.average(buds, weights=count) * count.sum() == pytest.approx((buds * count).sum(), rel=1e-12)


def test_injury_factor_per_panel_runs_along_the_first_axis():
    need = BudNeed(parse_rule("20+20"), injury_factor=np.array([1.0, 1.5]))
    assert need(np.full((2, 3), 2 * KG_PER_LB)) == pytest.approx(np.array([[40.0] * 3, [60.0] * 3]))
    with pytest.raises(ValueError, match="2 injury factors"):
        need(np.ones(3))
    with pytest.raises(ValueError, match="say which panel"):
        need.explain(1.0)
    # 2 lb by 20+20 are 40, half as many more 60; in kilograms counted on from 0.907 kg, as shown
    assert need.explain(2 * KG_PER_LB, panel=1)[-1].fields["buds"] == pytest.approx({"us": 60.0, "metric": 60.0}, abs=0.05)


def test_small_vines_are_flagged_and_still_counted():
    # Limits of 0.5 and 0.25 lb are design choices; counts below them stay in proportion
    need = BudNeed(parse_rule("30+10"))
    sizes = np.array([0.2, 0.3, 0.6]) * KG_PER_LB
    assert need(sizes) == pytest.approx([6, 9, 18])
    assert need.is_renew(sizes).tolist() == [True, False, False]
    assert [m.key for m in need.explain(sizes[0])] == ["rules.step_prorated", "rules.flag_renew"]
    assert [m.key for m in need.explain(sizes[1])] == ["rules.step_prorated", "rules.flag_low"]


def test_steps_are_reported_in_order():
    need = BudNeed(parse_rule("30+10"), injury_factor=1.25, cap=50)
    keys = [message.key for message in need.explain(2.4 * KG_PER_LB)]
    assert keys == ["rules.step_rule", "injury.step_factor", "rules.step_cap"]
    floor = BudNeed(parse_rule("30+10"), floor=20).explain(0.55 * KG_PER_LB)
    assert [message.key for message in floor] == ["rules.step_prorated", "rules.step_floor"]


def test_missing_weights_stay_missing_and_negative_ones_are_refused():
    assert np.isnan(BudNeed(parse_rule("20+20"), floor=5, cap=60)(np.nan))
    with pytest.raises(ValueError, match="negative"):
        parse_rule("20+20").buds([-0.1])


@pytest.mark.parametrize("wrong", [{"floor": 60, "cap": 50}, {"cap": 0}, {"floor": -1}, {"injury_factor": -1.0}])
def test_impossible_limits_are_refused(wrong):
    with pytest.raises(DataError):
        BudNeed(parse_rule("20+20"), **wrong)


@pytest.mark.parametrize("text", ["20+20", "20 + 20", " 20+20 ", "20+20/lb", "20 per lb", "20/lb"])
def test_ways_to_write_a_rule(text):
    assert BOOK.resolve(text).text == "20+20"


@pytest.mark.parametrize("text", ["French Hybrids", "french-hybrids", "french_hybrids", "French  hybrids"])
def test_case_hyphens_and_spaces_do_not_matter(text):
    assert BOOK.resolve(text).id == "french hybrids"


@pytest.mark.parametrize(
    ("text", "variety", "said"),
    [
        ("", "", "no pruning rule, and none is guessed"),
        ("", "Concord", "rules that name Concord: 'american', 'concord 30\\+10'"),
        ("  ", "Unheard", "Write one in the column"),
        ("frnch hybrids", "", "Nearest: 'french hybrids'"),
        ("concord", "", "names a cultivar, not a rule"),
        ("20+20/oz", "", "Count buds per lb or per kg"),
        ("0+10", "", "impossible"),
        ("900+10", "", "impossible"),
        ("-20+20", "", "unknown rule"),
        ("20+20+20", "", "unknown rule"),
        ("{{7*7}}", "", "unknown rule"),
    ],
)
def test_a_rule_is_never_guessed(text, variety, said):
    with pytest.raises(DataError, match=said):
        BOOK.resolve(text, variety)


def test_cautions_go_with_a_rule():
    keys = [m.key for m in BOOK.resolve("french hybrids", "Riesling", planted=2024, season=2026).cautions]
    assert keys == ["rules.needs_cluster_thinning", "rules.other_cultivar", "rules.young_vines"]
    assert [m.key for m in BOOK.resolve("fredonia 40+10", "Fredonia").cautions] == ["rules.from_memory"]
    assert BOOK.resolve("american", "Concord", planted=2010, season=2026).cautions == ()


GOOD = '[[rule]]\nid = "house rule"\nfirst = 25\nfurther = 12.5\nunit = "pound"\nsource = "own trial 2019-2024"\n'


def test_own_rules_join_the_book(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(GOOD + 'cap = 60\ncultivars = ["Concord"]\n')
    book = load_rules(file)
    rule = book.resolve("House-Rule")
    assert (rule.text, rule.tag, rule.unit, rule.cap) == ("25+12.5", "own", "lb", 60)
    assert BudNeed(rule)(9 * KG_PER_LB) == 60
    assert "house rule" in [row["rule"] for row in rule_table(book)]
    assert rule in book.named_for("concord")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (GOOD.replace('source = "own trial 2019-2024"\n', ""), "`source` is missing"),
        (GOOD.replace('"own trial 2019-2024"', '"  "'), "`source` is missing"),
        (GOOD.replace('unit = "pound"\n', ""), "`unit` is missing"),
        (GOOD.replace('"pound"', '"stone"'), "`unit` is 'stone'"),
        (GOOD.replace("first = 25", 'first = "many"'), "`first` is 'many'"),
        (GOOD.replace("first = 25", "first = true"), "`first` is True"),
        (GOOD.replace("first = 25", "first = nan"), "`first` is nan"),
        (GOOD.replace("first = 25", "first = -5"), "impossible"),
        (GOOD + "floor = 50\ncap = 40\n", "floor lies above the cap"),
        (GOOD + "colour = 3\n", "`colour` is not a key"),
        (GOOD.replace("house rule", "vinifera"), "name is taken"),
        (GOOD.replace("house rule", "20+30"), "reads like a rule in figures"),
        (GOOD + GOOD, "name is taken"),
        (GOOD + 'cultivars = "Concord"\n', "not a list of names"),
        ("# nothing", r"no \[\[rule\]\]"),
        ("rule = 3", r"no \[\[rule\]\]"),
        ("[[rule]\n", "not valid TOML"),
    ],
)
def test_faulty_files_of_rules_are_refused(tmp_path, text, said):
    file = tmp_path / "own.toml"
    file.write_text(text)
    with pytest.raises(DataError, match=said) as caught:
        load_rules(file)
    assert all(problem.file == "own.toml" for problem in caught.value.problems)


def test_all_faults_of_a_file_are_reported_together(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text('[[rule]]\nid = "a"\nfirst = 3\n\n[[rule]]\nfirst = 20\nfurther = 20\nunit = "lb"\n')
    with pytest.raises(DataError) as caught:
        load_rules(file)
    assert {problem.row for problem in caught.value.problems} == {"rule 1 'a'", "rule 2"}
    assert len(caught.value.problems) == 5


def test_a_file_that_is_not_there_or_not_text(tmp_path):
    with pytest.raises(DataError, match="does not exist"):
        load_rules(tmp_path / "none.toml")
    (tmp_path / "own.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DataError, match="not valid TOML"):
        load_rules(tmp_path / "own.toml")
