"""The report page: its figures show the plan's data, and what the plan lacks is left out with a sentence."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from small_plans import HOSTILE, brief_without_number, edition, small_plan

from geoprune.deliver.edition import Provenance
from geoprune.deliver.pages import report_html
from geoprune.deliver.pages.charts import HEIGHT, LEFT, TOP, WIDTH, ticks
from geoprune.deliver.pages.figures import (
    draw_benefit,
    draw_histogram,
    draw_loo,
    draw_residuals,
    draw_variogram,
    zone_counts,
)
from geoprune.errors import Message, Remark
from geoprune.layers import COUNTED, Source
from geoprune.plan import BlockPlan, Diagnostics, Model, PlanOptions
from geoprune.rules import load_rules, load_trainings
from geoprune.units import KG_PER_LB, M_PER_FT
from geoprune.words import Reader, languages, word_lists

READERS = [Reader("en", "us"), Reader("es", "metric")]


@pytest.fixture(scope="module")
def plan() -> BlockPlan:
    return small_plan(rows=30, vines=60)


def nodes(svg: str, name: str) -> list[ElementTree.Element]:
    return [node for node in ElementTree.fromstring(svg).iter() if name in (node.get("class") or "").split()]


def read_axis(svg: str, *, upright: bool) -> tuple[float, float]:
    """Return value = a + b * place, read from two tick labels of the picture as a person would."""
    found = []
    for node in ElementTree.fromstring(svg).iter():
        text = (node.text or "").replace("−", "-").replace(",", "")
        wanted = node.get("text-anchor") == ("end" if upright else "middle")
        if node.tag.endswith("text") and wanted and re.fullmatch(r"-?[\d.]+", text) and node.get("font-size") == "12":
            at = float(node.get("y", "0")) - 4 if upright else float(node.get("x", "0"))
            found.append((at, float(text)))
    (p, u), (q, v) = found[0], found[-1]
    slope = (v - u) / (q - p)
    return u - slope * p, slope


def centre(node: ElementTree.Element) -> tuple[float, float]:
    if node.tag.endswith("rect"):
        return tuple(float(node.get(a, "0")) + float(node.get(b, "0")) / 2 for a, b in (("x", "width"), ("y", "height")))
    return float(node.get("cx", "nan")), float(node.get("cy", "nan"))


def values(svg: str, name: str) -> np.ndarray:
    (a, b), (c, d) = read_axis(svg, upright=False), read_axis(svg, upright=True)
    return np.array([(a + b * x, c + d * y) for x, y in map(centre, nodes(svg, name))])


@pytest.mark.parametrize("reader", READERS)
def test_the_leave_one_out_plot_shows_every_sample_where_it_is(plan: BlockPlan, reader: Reader) -> None:
    samples = plan.samples[plan.samples["loo_kg"].notna()]
    unit = KG_PER_LB if reader.units == "us" else 1.0
    shown = values(draw_loo(plan, reader), "sample")
    wanted = samples[["loo_kg", "vine_weight_kg"]].to_numpy() / unit
    np.testing.assert_allclose(shown, wanted, atol=0.02)
    assert len(nodes(draw_loo(plan, reader), "odd")) == int(samples["outlier"].sum())


@pytest.mark.parametrize("reader", READERS)
def test_the_variogram_shows_every_lag_where_it_is(plan: BlockPlan, reader: Reader) -> None:
    said = plan.diagnostics.variogram
    metre, kilogram = (M_PER_FT, KG_PER_LB) if reader.units == "us" else (1.0, 1.0)
    shown = values(draw_variogram(plan, reader), "lag")
    np.testing.assert_allclose(shown[:, 0], np.array(said.distance_m) / metre, rtol=0.02, atol=0.5)
    np.testing.assert_allclose(shown[:, 1], np.array(said.gamma_kg2) / kilogram**2, rtol=0.02)
    assert len(nodes(draw_variogram(plan, reader), "line")) == 1


@pytest.mark.parametrize("reader", READERS)
def test_the_benefit_curve_shows_every_point_and_the_choice(plan: BlockPlan, reader: Reader) -> None:
    svg = draw_benefit(plan, reader)
    wanted = [(point.zones, point.misfit.value) for point in plan.benefit.zones.curve]
    np.testing.assert_allclose(values(svg, "choice"), wanted, atol=0.05)
    assert values(svg, "chosen")[:, 0] == pytest.approx([plan.benefit.zones.chosen_zones], abs=0.01)


def test_misses_lie_on_the_map_and_have_their_sign(plan: BlockPlan) -> None:
    samples = plan.samples[plan.samples["loo_kg"].notna()]
    residual = (samples["vine_weight_kg"] - samples["loo_kg"]).to_numpy()
    drawn = nodes(draw_residuals(plan, READERS[0]), "residual")
    filled = [node.get("fill") != "#ffffff" for node in drawn]
    assert filled == (residual > 0).tolist()
    radii = np.array([float(node.get("r", "nan")) for node in drawn])
    assert (np.argsort(radii) == np.argsort(np.abs(residual))).mean() > 0.9
    places = np.array([centre(node) for node in drawn])
    ground = np.column_stack([samples.geometry.x, samples.geometry.y])
    for axis, sign in ((0, 1), (1, -1)):
        assert np.corrcoef(places[:, axis], sign * ground[:, axis])[0, 1] == pytest.approx(1, abs=1e-4)


def test_the_histogram_counts_every_counted_vine_once(plan: BlockPlan) -> None:
    _, counts = zone_counts(plan)
    counted = plan.vines[plan.vines["status"].isin(COUNTED)]
    assert [int(count.sum()) for count in counts] == counted.groupby("zone").size().tolist()
    svg = draw_histogram(plan, READERS[1])
    _, b = read_axis(svg, upright=True)
    solid = nodes(svg, "bars")[::2]
    heights = [sum(-b * float(bar.get("height", "0")) for bar in group) for group in solid]
    np.testing.assert_allclose(heights, [count.sum() for count in counts], rtol=0.02)


@pytest.mark.parametrize("language", languages())
def test_what_the_plan_lacks_is_left_out_with_a_sentence(language: str) -> None:
    bare = replace(
        small_plan(rows=8, vines=30),
        diagnostics=Diagnostics(),
        model=Model(covariance="none", nugget_share=1.0, variance_kg2=0.1, samples_used=8),
    )
    bare = replace(bare, samples=bare.samples.assign(loo_kg=np.nan, loo_se_kg=np.nan, loo_z=np.nan))
    page = report_html(edition(bare, language=language))
    words = word_lists()[language]["report"]
    for name in ("variogram", "loo", "residual", "more"):
        assert words[f"{name}_none"] in page
        assert f'<figure id="{name}"' not in page
    assert '<figure id="histogram"' in page


def test_sources_and_provenance_are_reported(plan: BlockPlan) -> None:
    rule = load_rules().resolve("20+20", "Concord")
    origin = Provenance(
        (Source("estate.gpkg", "0123abcd" * 8),), PlanOptions(seed=77), "WGS 84 / UTM zone 10N", {"numpy": "9.8.7"}
    )
    page = report_html(edition(replace(plan, rule=rule), provenance=origin))
    for said in (rule.source, "0123abcd" * 8, "estate.gpkg", "seed = 77<", "UTM zone 10N", "9.8.7", "December 3, 2026"):
        assert said in page
    assert load_trainings()["top-wire cordon"].source.split(";")[0] in page
    stopped = report_html(edition(brief_without_number()))
    assert "Martinson" in stopped
    assert Reader().say(brief_without_number().verdict) in stopped


@pytest.mark.parametrize("language", languages())
def test_remarks_are_reported_as_text(plan: BlockPlan, language: str) -> None:
    fields = {"row": HOSTILE, "vine": 3, "weight_kg": 1.0, "expected_kg": 0.5}
    remark = Remark("warning", Message("surface.outlier", fields), plan.name)
    page = report_html(edition(replace(plan, remarks=(remark,)), language=language))
    assert "<script" not in page
    assert "<img" not in page
    assert "\u202e" not in page
    assert "window.PWNED=1" in page


def test_ticks_are_round_and_within_the_limits() -> None:
    for low, high in ((0.0, 1.0), (-3.2, 118.0), (0.012, 0.019), (2000.0, 2001.0)):
        marks, digits = ticks(low, high)
        assert 2 <= len(marks) <= 8
        assert marks[0] >= low - 1e-9
        assert marks[-1] <= high + 1e-9
        np.testing.assert_allclose(np.round(marks, digits), marks, atol=1e-12)


def test_marks_stay_inside_the_plane(plan: BlockPlan) -> None:
    for draw in (draw_variogram, draw_loo, draw_benefit):
        for name in ("sample", "lag", "choice"):
            for node in nodes(draw(plan, READERS[0]), name):
                x, y = centre(node)
                assert LEFT <= x <= WIDTH
                assert TOP <= y <= max(HEIGHT, 400)


def _figure_of(page: str, name: str) -> Any:
    return re.search(rf'<figure id="{name}">(<svg.*?</svg>)', page, flags=re.DOTALL)


def test_the_page_holds_the_figures_as_drawn(plan: BlockPlan) -> None:
    page = report_html(edition(plan))
    for name in ("variogram", "loo", "residual", "benefit", "histogram", "more"):
        found = _figure_of(page, name)
        assert found
        assert ElementTree.fromstring(found.group(1)).get("aria-label")
