"""Benefit, its intervals, the curve, the chosen number and the reasons."""

import tomllib
from dataclasses import dataclass
from importlib.resources import files

import numpy as np
import pytest
from scipy.stats import norm
from small_blocks import draws_of, field_of, lay_block, need

from geoprune.errors import DataError, Message
from geoprune.sizes import SizeDraws
from geoprune.words import say
from geoprune.zones import GivenLabels, ZoneOptions, draw_zones, judge_zones
from geoprune.zones.benefit import best_counts, measure_misfits
from geoprune.zones.graph import build_graph
from geoprune.zones.judging import worth_message
from geoprune.zones.limits import broken_limits
from geoprune.zones.loss import asymmetric_loss, loss_quantile
from geoprune.zones.result import Interval, Worth


@pytest.fixture(scope="module")
def block():
    trellis, _ = lay_block([15] * 12)
    return trellis, draws_of(field_of(trellis, 7, sd_kg=0.35), draws=60, vine_sd_kg=0.1)


@pytest.fixture(scope="module")
def zoning(block):
    return draw_zones(*block, need)


def test_misfit_is_that_of_vines_drawn_one_by_one(block, zoning):
    _, draws = block
    rng = np.random.default_rng(0)
    said = zoning.buds[zoning.panel_zone - 1]
    misses, off = [], []
    for mean, sd in zip(draws.panel_mean, draws.vine_sd, strict=True):
        vines = np.maximum(mean[:, None] + sd * rng.standard_normal((len(mean), 200)), 0)
        miss = np.abs(said[:, None] - need(vines))
        misses.append(miss.mean())
        off.append((miss > 5).mean())
    assert zoning.benefit.gains.zones_misfit.value == pytest.approx(np.mean(misses), rel=0.02)
    assert zoning.benefit.gains.share_over_5_zones.value == pytest.approx(np.mean(off), abs=0.02)
    low, high = np.quantile(misses, [0.05, 0.95])
    assert zoning.benefit.gains.zones_misfit.low == pytest.approx(low, rel=0.03)
    assert zoning.benefit.gains.zones_misfit.high == pytest.approx(high, rel=0.03)


def test_misfit_of_known_panels_has_its_closed_form():
    # vines N(m, s) told b: |b - 40 w| has mean s' sqrt(2/pi) exp(-d^2/2s'^2) + d (1 - 2 Phi(-d/s')), folded normal law
    draws = SizeDraws(np.array([[0.8, 1.0, 1.2]] * 5), np.full(5, 0.2))
    said = np.array([[40.0], [40.0], [50.0]])
    found = measure_misfits(draws, need, said, np.zeros((3, 1), dtype=int), np.array([3, 3, 3]), options=ZoneOptions())
    gap, sd = np.array([8.0, 0.0, 2.0]), 8.0
    folded = sd * np.sqrt(2 / np.pi) * np.exp(-(gap**2) / (2 * sd**2)) + gap * (1 - 2 * norm.cdf(-gap / sd))
    assert found.misfit.ravel() == pytest.approx(np.full(5, folded.mean()), rel=0.01)


def test_gains_are_in_order(zoning):
    gains = zoning.benefit.gains
    for name, figure in vars(gains).items():
        assert figure.low <= figure.value <= figure.high, name
    assert gains.perfect_misfit.value < gains.zones_misfit.value < gains.one_number_misfit.value
    assert gains.saving_buds.value == pytest.approx(gains.one_number_misfit.value - gains.zones_misfit.value)
    assert 0 < gains.variance_explained.value < 1


def test_variance_explained_is_that_between_zones():
    # two halves at 0.5 and 1.5 kg, vines 0.5 kg about them: variance 0.25 between, 0.25 within
    trellis, _ = lay_block([6] * 6)
    halves = np.where(trellis.panels["panel"] <= 3, 0.5, 1.5)
    draws = SizeDraws(np.repeat(halves[None, :], 4, axis=0) + 2.0, np.full(4, 0.5))
    groups = np.column_stack([(halves > 1).astype(int)])
    found = measure_misfits(draws, need, np.full((36, 1), 100.0), groups, np.full(36, 3), options=ZoneOptions())
    assert found.explained.ravel() == pytest.approx(np.full(4, 0.5), rel=1e-6)


def test_vines_may_scatter_differently_from_panel_to_panel():
    # as above, but 0.3 kg in one half and sqrt(0.41) kg in the other: the same 0.25 kg2 within on average
    trellis, _ = lay_block([6] * 6)
    small = (trellis.panels["panel"] <= 3).to_numpy()
    sd = np.where(small, 0.3, np.sqrt(0.41))
    draws = SizeDraws(np.repeat(np.where(small, 2.5, 3.5)[None, :], 4, axis=0), np.repeat(sd[None, :], 4, axis=0))
    groups = small.astype(int)[:, None]
    found = measure_misfits(draws, need, np.full((36, 1), 100.0), groups, np.full(36, 3), options=ZoneOptions())
    assert found.explained.ravel() == pytest.approx(np.full(4, 0.5), rel=1e-6)
    assert draw_zones(trellis, draws, need).verdict == "zone"


def test_the_curve_runs_from_one_to_the_most_and_marks_the_chosen(block):
    zoning = draw_zones(*block, need, options=ZoneOptions(max_zones=4))
    curve = zoning.benefit.curve
    assert [point.zones for point in curve] == [1, 2, 3, 4]
    assert [point.zones for point in curve if point.chosen] == [zoning.benefit.chosen_zones] == [len(zoning.buds)]
    assert curve[0].misfit.value == pytest.approx(zoning.benefit.gains.one_number_misfit.value)
    for point in curve:
        assert point.misfit.low <= point.misfit.value <= point.misfit.high
        assert point.lower_bound <= point.cost + 1e-6
        assert len(point.buds) == point.zones


def keys(zoning):
    return [reason.key for reason in zoning.reasons]


def test_the_verdict_says_why(block, zoning):
    assert zoning.verdict == "zone"
    assert keys(zoning)[0] == "zones.benefit_sentence"
    little = draw_zones(*block, need, options=ZoneOptions(worth=0.0))
    assert (little.verdict, keys(little)) == ("one_number", ["zones.too_little"])
    assert (little.panel_zone == 1).all()
    assert little.buds.tolist() == [little.one_number]
    none = draw_zones(*block, need, pattern="none")
    assert (none.verdict, keys(none)) == ("one_number", ["zones.no_pattern", "zones.anyway"])
    likely = draw_zones(*block, need, pattern="likely")
    assert (likely.verdict, keys(likely)) == ("one_number", ["zones.likely_pattern", "zones.anyway"])
    none_fit = draw_zones(*block, need, options=ZoneOptions(smallest_share=0.49, smallest_ha=50.0))
    assert (none_fit.verdict, keys(none_fit)) == ("one_number", ["zones.cannot_draw"])
    assert none_fit.alternative is None


def stairs():
    """Rows of three sizes, the first two nearly alike: a third zone saves little."""
    trellis, _ = lay_block([12] * 6)
    size = np.array([0.62, 0.70, 1.0])[np.arange(72) % 12 // 4]
    return trellis, draws_of(size, doubt_kg=0.03, vine_sd_kg=0.1)


def test_why_there_are_no_more_zones():
    cheap, dear = (draw_zones(*stairs(), need, options=ZoneOptions(minutes_per_mark=m)).reasons for m in (0.0, 5.0))
    assert cheap[-1].key == "zones.most_zones"
    assert dear[-1].key == "zones.next_zone"
    assert dear[-1].fields["next"] == 3
    assert dear[-1].fields["marks"] == 6  # one more change in each of six rows
    assert 0 < dear[-1].fields["gain"] < 0.2


def test_a_level_block_needs_one_number():
    trellis, _ = lay_block([10] * 8)
    flat = draw_zones(trellis, draws_of(np.full(80, 0.9), doubt_kg=0.02), need)
    assert flat.verdict == "one_number"
    assert flat.one_number == 34  # need 36; steps of two, and a bud too many is dearer
    fives = draw_zones(trellis, draws_of(np.full(80, 0.9), doubt_kg=0.02), need, options=ZoneOptions(bud_step=5))
    assert fives.one_number == 35


def test_one_number_is_the_best_single_number(block, zoning):
    _, draws = block
    needed = np.concatenate([need(weights) for weights in draws.vines()])
    loss = {said: float(asymmetric_loss(said, needed, 1.25).mean()) for said in range(2, 90, 2)}
    assert zoning.one_number == min(loss, key=loss.get)  # steps of two: the largest within 6 % of some 35 buds


def test_the_best_count_is_the_quantile_of_the_asymmetric_loss():
    # newsvendor: the least expected loss lies at the quantile 1 / (1 + ratio)
    needed = np.random.default_rng(0).gamma(4.0, 8.0, (1, 20_001))
    said = np.arange(5.0, 100.0, 0.05)
    loss = [float(asymmetric_loss(t, needed, 1.25).mean()) for t in said]
    assert said[int(np.argmin(loss))] == pytest.approx(np.quantile(needed, loss_quantile(1.25)), abs=0.1)
    best = best_counts(needed, need, options=ZoneOptions(bud_step=5))[0]
    fives = said[np.isclose(said % 5, 0) | np.isclose(said % 5, 5)]
    assert best == pytest.approx(min(fives, key=lambda t: float(asymmetric_loss(t, needed, 1.25).mean())))


@dataclass(frozen=True)
class Held:
    """A need with a floor and a cap."""

    floor: float | None = None
    cap: float | None = None

    def __call__(self, weight_kg):
        return np.clip(need(weight_kg), self.floor, self.cap)


@pytest.mark.parametrize(
    ("floor", "cap", "least", "most"), [(None, 34.0, 21, 34), (30.5, None, 31, 49), (30.0, 34.4, 30, 34)]
)
def test_counts_keep_floor_and_cap_though_the_step_does_not_divide_them(floor, cap, least, most):
    # halves that need 20 and 48 buds, told in sevens
    trellis, _ = lay_block([6] * 6)
    size = np.where(np.arange(36) % 6 < 3, 0.5, 1.2)
    held = Held(floor, cap)
    zoning = draw_zones(trellis, draws_of(size, doubt_kg=0.01, vine_sd_kg=0.02), held, options=ZoneOptions(bud_step=7))
    assert zoning.buds.tolist() == [least, most]
    known = best_counts(held(np.array([[0.5] * 9, [1.2] * 9])), held, options=ZoneOptions(bud_step=7))
    assert known.tolist() == [least, most]
    assert zoning.benefit.gains.perfect_misfit.value <= zoning.benefit.gains.zones_misfit.value + 1e-9


def test_no_vine_to_count_is_an_error():
    trellis, _ = lay_block([2], missing=[("R1", vine) for vine in range(1, 7)])
    with pytest.raises(DataError, match="no vine of the block"):
        draw_zones(trellis, draws_of(np.array([0.9, 0.9])), need)


def told_sentences(block):
    """All sentences the room can say, brought out by odd drawings."""
    trellis, draws = block
    said = []
    for options in (
        ZoneOptions(max_zones=2),
        ZoneOptions(max_zones=4, smallest_share=0.3, worth=1e6),
        ZoneOptions(worth=0.0),
        ZoneOptions(smallest_share=0.49, smallest_ha=50.0),
    ):
        said += draw_zones(trellis, draws, need, options=options).reasons
    ours = draw_zones(trellis, draws, need)
    said += draw_zones(*stairs(), need, options=ZoneOptions(minutes_per_mark=5.0)).reasons
    said += draw_zones(trellis, draws, need, pattern="none").reasons
    said += draw_zones(trellis, draws, need, pattern="likely").reasons
    rng = np.random.default_rng(3)
    for labels in (rng.integers(0, 2, len(trellis.panels)) + 1, ours.panel_zone):
        names = tuple("abc"[: labels.max()])
        said += judge_zones(trellis, draws, need, GivenLabels(labels, names), ours).reasons
    said += judge_zones(trellis, draws, need, GivenLabels(np.ones(len(trellis.panels), dtype=int), ("a",)), ours).reasons
    weak = draw_zones(trellis, draws, need, options=ZoneOptions(max_zones=2, smallest_share=0.4))
    said += judge_zones(trellis, draws, need, GivenLabels(ours.panel_zone, tuple("abc"[: len(ours.buds)])), weak).reasons
    strict = ZoneOptions(smallest_share=0.45, smallest_ha=1.0)
    said += broken_limits(ours.panel_zone, build_graph(trellis), strict)
    said.append(Message("zones.named_by", {"column": "soil"}))
    said.append(worth_message(Interval(0.4, -0.2, 1.0), 2, Worth(marks=9, minutes=6.0, net_minutes=-1.0)))
    said.append(worth_message(Interval(-0.4, -1.0, 0.2), 2, Worth(marks=9, minutes=6.0, net_minutes=-1.0)))
    said.append(Message("zones.given_alike", {"zones": 2}))
    said += [Message(f"zones.{key}", {"panels": 3}) for key in ("panels_outside", "polygons_overlap", "panels_split")]
    return said


def test_every_sentence_can_be_said_in_every_language(block):
    said = told_sentences(block)
    for language in ("en", "es"):
        words = tomllib.loads(files("geoprune.words").joinpath(language, "zones.toml").read_text("utf-8"))
        assert {m.key.removeprefix("zones.") for m in said} == set(words), language
        for message in said:
            assert "{" not in say(message, language, "us")
