"""The pages in headless Chromium, opened from a file with the network off."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from small_plans import HOSTILE, brief_without_number, drawn_plan, edition, small_estate, small_plan

from geoprune.brief import BlockBrief, brief_block
from geoprune.deliver.edition import Style
from geoprune.deliver.maps import render_block_map, render_estate
from geoprune.deliver.maps.page import LINKS
from geoprune.errors import Message
from geoprune.units import KG_PER_LB
from geoprune.words import Reader, word_lists

pytestmark = pytest.mark.browser

INK = """() => {
  const canvas = document.getElementById('canvas');
  const copy = Object.assign(document.createElement('canvas'), { width: canvas.width, height: canvas.height });
  const pen = copy.getContext('2d', { willReadFrequently: true });
  pen.drawImage(canvas, 0, 0);
  let sum = 0;
  for (const value of new Uint32Array(pen.getImageData(0, 0, copy.width, copy.height).data.buffer)) {
    sum = (Math.imul(sum, 31) + value) | 0;
  }
  return sum;
}"""


@pytest.fixture(scope="module")
def plan() -> Any:
    return drawn_plan(bend_m=5.0, dead=0.1)


@pytest.fixture(scope="module")
def brief(plan: Any) -> BlockBrief:
    return brief_block(plan)


@pytest.fixture(scope="module")
def html(brief: BlockBrief) -> str:
    return render_block_map(edition(brief))


@pytest.fixture(scope="module")
def fields() -> list[BlockBrief]:
    """Three blocks, of three zones, of one number and of two zones."""
    return [brief_block(block) for block in small_estate(3, rows=20, vines=40).blocks]


@pytest.fixture(scope="module")
def estate(fields: list[BlockBrief]) -> str:
    links = {b.name: {"map": f"b{i}/map.html", "pdf": f"b{i}/crew_sheet.pdf"} for i, b in enumerate(fields)}
    return render_estate(fields, links=links)


def click_on(page: Any, plan: Any, point: shapely.Point) -> None:
    """Click the map where a place of the plan is drawn; the place goes in as longitude and latitude."""
    import geopandas as gpd

    at = gpd.GeoSeries([point], crs=plan.crs).to_crs(4326).iloc[0]
    spot = page.evaluate(
        "([lat, lon]) => { const p = geoprune.ground.map.latLngToContainerPoint([lat, lon]);"
        " const box = geoprune.ground.map.getContainer().getBoundingClientRect();"
        " return [p.x + box.left, p.y + box.top]; }",
        [at.y, at.x],
    )
    page.mouse.click(*spot)


def quiet(watched: Any) -> None:
    """No word on the console, no error, and nothing asked for but the file itself."""
    assert watched.messages == []
    assert len(watched.requests) == 1
    assert watched.requests[0].startswith("file://")


def wait_until(page: Any, condition: str) -> None:
    """Wait for a condition; the page's policy forbids the driver's own way of doing so."""
    for _ in range(100):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never came true: {condition}")


def open_drawer(page: Any, name: str) -> Any:
    page.locator(f'[data-drawer="{name}"] summary').click()
    drawer = page.locator(f'[data-drawer="{name}"] div').first
    drawer.locator("> *").first.wait_for()
    return drawer


def pounds(kg: float) -> str:
    return f"{kg / KG_PER_LB:.1f}"


def test_the_first_screen_answers(open_page: Callable, plan: Any, brief: BlockBrief, html: str) -> None:
    watched = open_page(html)
    page = watched.page
    assert page.locator("h1").inner_text() == plan.name
    assert page.locator("#verdict").inner_text() == "Prune in 3 zones."
    reader = Reader()
    assert reader.say(plan.verdict_reasons[0]) in page.locator("#why").inner_text()
    assert reader.say(brief.instead) in page.locator("#why").inner_text()
    entries = page.locator("#zones > li")
    kinds = plan.zones["class"]
    for zone, kind, said, entry in zip(plan.zones.itertuples(), kinds, brief.zones, entries.all(), strict=True):
        assert entry.locator(".numeral b").inner_text() == str(zone.buds_per_vine)
        assert entry.locator("h3").inner_text() == f"{zone.zone} · {kind}"
        assert entry.locator(".tape i").count() == zone.zone
        known = "" if zone.diagnosis == "unknown" else zone.diagnosis
        assert entry.locator(".where").inner_text().lower().startswith(known)
        assert (said.condition is None) == (known == "")
        assert all(reader.say(place).lower() in entry.locator(".where").inner_text().lower() for place in said.place)
        assert "Leave " + " · ".join(reader.say(wood) for wood in said.leave) in entry.inner_text()
        assert f"{pounds(zone.vine_size_kg)} lb" in entry.inner_text()
        box = entry.bounding_box()
        assert box["y"] + box["height"] <= 800
    quiet(watched)


def test_one_number_is_said_when_it_will_do(open_page: Callable) -> None:
    plan = small_plan(zones=1, seed=4)
    page = open_page(render_block_map(edition(plan))).page
    number = int(plan.zones["buds_per_vine"].iloc[0])
    assert page.locator("#verdict").inner_text() == f"One number will do: {number} buds on every vine."


def test_zones_given_that_are_not_worth_it_are_said_first_with_the_one_number(open_page: Callable) -> None:
    plan = small_plan()
    saving = {"zones": 3, "saving": 0.4, "saving_low": -0.2, "saving_high": 0.9, "marks": 40, "hours": 0.3}
    plan = replace(plan, verdict_reasons=(Message("zones.given_little", saving),))
    said = f"The 3 zones given are not worth it. One number would do as well: {plan.buds_per_vine} buds on every vine."
    page = open_page(render_block_map(edition(plan))).page
    assert page.locator("#verdict").inner_text() == said
    assert "If you must give one number" not in page.locator("#why").inner_text()
    page = open_page(render_estate([brief_block(plan)], links={})).page
    counts = "Blocks to prune in zones: 0; with one number: 0. Blocks whose given zones are not worth it: 1."
    assert page.locator("#verdict").inner_text() == counts
    page.get_by_role("button", name=plan.name).click()
    assert said in page.locator("#card").inner_text()


def test_every_layer_changes_the_picture_and_comes_back(open_page: Callable, html: str) -> None:
    watched = open_page(html)
    page = watched.page
    boxes = page.locator("#layers input")
    assert boxes.count() == 15
    for name in [box.get_attribute("data-layer") for box in boxes.all()]:
        before = page.evaluate(INK)
        box = page.locator(f'[data-layer="{name}"]')
        box.click()
        changed = page.evaluate(INK)
        assert changed != before, name
        box.click()
        assert page.evaluate(INK) == before, name
    quiet(watched)


def test_only_one_colour_of_the_ground_at_a_time(open_page: Callable, html: str) -> None:
    page = open_page(html).page
    page.locator('[data-layer="size"]').check()
    page.locator('[data-layer="bull"]').check()
    assert not page.locator('[data-layer="size"]').is_checked()
    assert page.locator('.ramp[data-of="bull"]').is_visible()
    assert not page.locator('.ramp[data-of="size"]').is_visible()


def test_the_picture_shows_the_zones_where_they_are(open_page: Callable, plan: Any, html: str) -> None:
    from geoprune.look import ZONE_FILLS

    page = open_page(html).page
    for name in ("rows", "panels", "vines", "replant"):
        page.locator(f'[data-layer="{name}"]').uncheck()
    rng = np.random.default_rng(5)
    hits = 0
    for zone in plan.zones.itertuples():
        inner = zone.geometry.buffer(-6)
        spots = [shapely.Point(p) for p in rng.uniform(*np.array(inner.bounds).reshape(2, 2), (300, 2))]
        want = np.array([int(ZONE_FILLS[zone.zone][i : i + 2], 16) for i in (1, 3, 5)])
        near = []
        for spot in [s for s in spots if inner.contains(s)][:24]:
            near.append(np.abs(colour_at(page, plan, spot) - want).sum() < 40)
        hits += np.mean(near) > 0.2  # fine hatching covers most of zone 3; another zone's fill is never hit
    assert hits == 3


def colour_at(page: Any, plan: Any, point: shapely.Point) -> np.ndarray:
    import geopandas as gpd

    at = gpd.GeoSeries([point], crs=plan.crs).to_crs(4326).iloc[0]
    script = """([lat, lon]) => {
      const canvas = document.getElementById('canvas');
      const p = geoprune.ground.map.latLngToLayerPoint([lat, lon]).subtract(geoprune.ground.layer._bounds.min);
      return Array.from(canvas.getContext('2d').getImageData(Math.round(p.x), Math.round(p.y), 1, 1).data);
    }"""
    return np.array(page.evaluate(script, [at.y, at.x])[:3])


def test_a_tapped_panel_shows_the_plans_numbers(open_page: Callable, plan: Any, html: str) -> None:
    watched = open_page(html)
    page = watched.page
    brief = brief_block(plan)
    for index in (40, 150, 333):
        panel = plan.panels.iloc[index]
        click_on(page, plan, panel.geometry.interpolate(0.5, normalized=True))
        card = page.locator('[data-card="panel"]').inner_text()
        assert f"Row {panel['row']} · panel {panel['panel']}" in card
        assert re.search(rf"^{panel['buds_per_vine']}$", card, flags=re.MULTILINE)
        assert f"{panel['first_vine']} to {panel['last_vine']}, {panel['vines']} counted" in card
        size, error = panel["vine_size_kg"], panel["vine_size_se_kg"]
        # 1.645: the 0.95 quantile of the normal distribution.
        low, high = pounds(size - 1.645 * error), pounds(size + 1.645 * error)
        assert f"{pounds(size)} lb ({low}–{high} lb)" in card
        zone = plan.zones.set_index("zone").loc[panel["zone"]]
        assert f"{panel['zone']} · {zone['class']}" in card
        said = next(entry for entry in brief.zones if entry.zone == panel["zone"])
        assert " · ".join(Reader().say(wood) for wood in said.leave) in card
        assert f"{100 * panel['injury_share']:.0f} %" in card
        held = plan.vines[(plan.vines["row"] == panel["row"]) & (plan.vines["panel"] == panel["panel"])]
        words = held["status"].where(held["treatment"] != "renew", "to renew").tolist()
        assert len(words) == panel["last_vine"] - panel["first_vine"] + 1
        for word in ("missing", "young", "dead", "diseased", "to renew"):
            assert (f"{words.count(word)} {word}" in card) == (word in words)
    page.get_by_role("button", name="Close", exact=True).click()
    assert not page.locator("#card").is_visible()
    quiet(watched)


def test_a_weighed_vine_shows_its_weight_and_note(open_page: Callable, plan: Any, html: str) -> None:
    page = open_page(html).page
    page.locator('[data-layer="samples"]').check()
    noted = plan.samples[plan.samples["note"] != ""].iloc[0]
    click_on(page, plan, noted.geometry)
    card = page.locator('[data-card="sample"]').inner_text()
    assert f"row {noted['row']}, vine {noted['vine']}" in card
    assert f"{noted['vine_weight_kg'] / KG_PER_LB:.2f} lb" in card
    assert noted["note"] in card


def test_units_switch_everywhere(open_page: Callable, plan: Any, html: str) -> None:
    watched = open_page(html)
    page = watched.page
    page.locator('[data-layer="size"]').check()
    assert "lb" in page.locator("#zones").inner_text()
    page.get_by_role("button", name="kg, m, ha").click()
    text = page.locator("#sheet").inner_text()
    assert not re.search(r"\d (lb|ft|ac)\b", text)
    for zone in plan.zones.itertuples():
        assert f"Vine size {zone.vine_size_kg:.2f} kg" in text
        assert f"{zone.area_ha:.2f} ha" in text
    assert re.search(r"\d+ m$", page.locator("#scale").inner_text())
    assert page.locator('[data-layer="size"]').is_checked()
    quiet(watched)


def test_language_switch_says_it_all_in_spanish(open_page: Callable, html: str) -> None:
    watched = open_page(html)
    page = watched.page
    page.get_by_role("button", name="Español").click()
    assert page.locator("html").get_attribute("lang") == "es"
    text = page.locator("#sheet").inner_text()
    assert "Pode en 3 zonas." in text
    assert "yemas por cepa" in text
    for english in ("buds", "vines", "Vine size", "Rows", "Find"):
        assert english not in text
    assert page.evaluate("document.activeElement.dataset.value") == "es"
    quiet(watched)


def test_a_page_can_open_in_spanish_and_metric(open_page: Callable, plan: Any) -> None:
    page = open_page(render_block_map(edition(plan, language="es", units="metric"))).page
    assert page.locator("html").get_attribute("lang") == "es"
    assert "kg" in page.locator("#zones").inner_text()


def test_search_finds_a_row_and_lists_its_numbers(open_page: Callable, plan: Any, html: str) -> None:
    page = open_page(html).page
    page.get_by_label("Find a row").fill(" 17 ")
    page.keyboard.press("Enter")
    lines = page.locator('[data-card="row"] tbody tr').all_inner_texts()
    runs = plan.runs[plan.runs["row"] == "17"].sort_values("first_vine")
    want = {
        (min(r.first_vine, r.last_vine), max(r.first_vine, r.last_vine), r.buds_per_vine, r.zone, r.vines)
        for r in runs.itertuples()
    }
    assert {tuple(int(n) for n in re.findall(r"\d+", line)) for line in lines} == want
    bands = page.locator('[data-card="row"] tbody tr').evaluate_all(
        "all => all.map(tr => tr.querySelectorAll('.tape i').length)"
    )
    assert sorted(bands) == sorted(runs["zone"])
    start, end = (plan.rows.set_index("row").geometry["17"].coords[at] for at in (0, -1))
    sector = int(np.round(np.degrees(np.arctan2(end[0] - start[0], end[1] - start[1])) / 45.0)) % 8
    letters = ["N", "NE", "E", "SE", "S", "SW", "W", "NW"]
    assert f"{letters[(sector + 4) % 8]} → {letters[sector]}" in page.locator('[data-card="row"]').inner_text()
    page.get_by_label("Find a row").fill("999")
    page.keyboard.press("Enter")
    assert page.locator("#row-found").inner_text() == "There is no row 999 in this block."


def test_tables_say_what_the_map_draws(open_page: Callable, plan: Any, html: str) -> None:
    page = open_page(html).page
    assert open_drawer(page, "rows").locator("tbody tr").count() == len(plan.runs)
    assert open_drawer(page, "samples").locator("tbody tr").count() == len(plan.samples)
    assert open_drawer(page, "next").locator("tbody tr").count() == len(plan.next_vines)
    text = open_drawer(page, "zones").inner_text()
    for zone in plan.zones.itertuples():
        assert f"{zone.buds_total:,}" in text
        assert f"{100 * zone.injury_share:.0f} % ({100 * zone.injury_low:.0f}–{100 * zone.injury_high:.0f})" in text


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_table_is_cut_on_a_laptop(open_page: Callable, plan: Any, language: str) -> None:
    page = open_page(render_block_map(edition(plan, language=language)), width=1366, height=768).page
    for name in ("zones", "rows", "samples", "replant", "next"):
        open_drawer(page, name)
    cut = page.evaluate("[...document.querySelectorAll('.wide')].filter((w) => w.scrollWidth > w.clientWidth).length")
    assert cut == 0
    heads = page.locator('details[data-drawer="samples"] th[scope="col"]').all_inner_texts()
    assert sum("(lb)" in head for head in heads) == 2
    assert not any("lb" in cell for cell in page.locator('details[data-drawer="samples"] td').all_inner_texts()[:200])


def test_feet_are_pies_in_spanish(open_page: Callable, plan: Any) -> None:
    page = open_page(render_block_map(edition(plan, language="es", units="us"))).page
    assert re.search(r"\d pies$", page.locator("#scale").inner_text())
    assert "lb/pie" in open_drawer(page, "zones").inner_text()


def test_keyboard_alone_reaches_everything(open_page: Callable, plan: Any, html: str) -> None:
    watched = open_page(html)
    page = watched.page
    seen = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        seen.add(
            page.evaluate(
                "(document.activeElement.dataset.layer || document.activeElement.dataset.tool"
                " || document.activeElement.id || document.activeElement.className)"
            )
        )
        if page.evaluate("document.activeElement.classList.contains('folium-map')"):
            break
    assert {"zones", "injury", "next", "row"} <= seen
    before = page.evaluate("geoprune.ground.map.getZoom()")
    page.keyboard.press("Enter")
    assert page.locator('[data-card="panel"]').is_visible()
    page.keyboard.press("-")
    wait_until(page, f"geoprune.ground.map.getZoom() < {before}")
    for _ in range(4):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.dataset.tool"))
    assert {"in", "out", "whole"} <= seen
    quiet(watched)


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("kind", ["block", "estate"])
def test_no_accessibility_violation_is_found(open_page: Callable, estate: str, kind: str, width: int) -> None:
    # axe-core, the rules of WCAG 2.1 A and AA and its best practices, as carried by axe-playwright-python. It needs
    # its own script to run in the page, which our policy forbids: the policy is lifted for this test only.
    from axe_playwright_python.sync_playwright import Axe

    small = render_block_map(edition(small_plan(rows=12, vines=24)))
    watched = open_page(small if kind == "block" else estate, width=width, height=760, bypass_csp=True)
    page = watched.page
    for name in ("size", "samples"):
        if page.locator(f'[data-layer="{name}"]').count():
            page.locator(f'[data-layer="{name}"]').check()
    for drawer in page.locator("details summary").all():
        drawer.click()
    page.locator("#row").fill("5")
    page.keyboard.press("Enter")
    result = Axe().run(page)
    assert result.violations_count == 0, result.generate_report()


def test_a_phone_needs_no_sideways_scroll_and_gives_room_for_fingers(open_page: Callable, html: str) -> None:
    watched = open_page(html, width=360, height=740, has_touch=True, is_mobile=True)
    page = watched.page
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.locator("#ground").bounding_box()["y"] == 0
    assert page.locator("#verdict").bounding_box()["y"] < 740
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, #layers label, summary, input[type=search], a')]
        .filter((node) => node.offsetParent && !node.classList.contains('skip'))
        .map((node) => [node.textContent, node.getBoundingClientRect()])
        .filter(([, box]) => box.height < 44 || box.width < 44).map(([text]) => text)"""
    )
    assert small == []
    quiet(watched)


def test_a_tap_on_the_phone_opens_the_card_over_the_page(open_page: Callable, plan: Any, html: str) -> None:
    page = open_page(html, width=360, height=740).page
    click_on(page, plan, plan.panels.geometry.iloc[300].interpolate(0.5, normalized=True))
    box = page.locator("#card").bounding_box()
    assert box["y"] + box["height"] == pytest.approx(740, abs=1)
    assert box["height"] < 0.6 * 740


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_it_prints_on_one_page_with_map_and_numbers(
    open_page: Callable, plan: Any, html: str, tmp_path: Path, paper: str
) -> None:
    page = open_page(html).page
    data = page.pdf(format=paper)
    (tmp_path / "map.pdf").write_bytes(data)
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 1
    assert page.evaluate("document.getElementById('paper').width") >= 2000
    drawn = page.evaluate(
        """() => { const c = document.getElementById('paper');
        const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
        let n = 0; for (let i = 3; i < d.length; i += 4) n += d[i] > 0; return n / (d.length / 4); }"""
    )
    assert drawn > 0.2
    text = printed_words(tmp_path / "map.pdf")
    assert plan.name in text
    assert "Prune in 3 zones." in text
    assert "Local rules and a licensed adviser come first." in text
    assert "Find a row" not in text


@pytest.mark.parametrize("kind", ["block", "estate"])
def test_the_printed_scale_bar_lies_on_nothing(open_page: Callable, html: str, estate: str, kind: str) -> None:
    page = open_page(html if kind == "block" else estate).page
    page.pdf()
    colours = page.evaluate(
        """() => { const c = document.getElementById('paper'); const strip = 3 * 40;
        const d = c.getContext('2d').getImageData(0, c.height - strip, c.width, strip).data; let n = 0;
        for (let i = 0; i < d.length; i += 4) {
          if (d[i + 3] > 200 && Math.max(d[i], d[i + 1], d[i + 2]) - Math.min(d[i], d[i + 1], d[i + 2]) > 30) n += 1; }
        return n; }"""
    )
    assert colours == 0


def printed_words(pdf: Path) -> str:
    import shutil

    if not shutil.which("pdftotext"):
        pytest.skip("needs pdftotext (Debian's package poppler-utils), which is not installed here")
    said = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
    return " ".join(said.split())


def test_patterns_tell_zones_apart_in_grey(open_page: Callable, plan: Any, html: str) -> None:
    """In grey, the swatches of the zones differ in mean or in how much they vary."""
    page = open_page(html).page
    stats = page.evaluate(
        """() => [...document.querySelectorAll('#zones .swatch')].map((c) => {
        const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; const g = [];
        for (let i = 0; i < d.length; i += 4) g.push(0.299 * d[i] + 0.587 * d[i + 1] + 0.114 * d[i + 2]);
        const m = g.reduce((a, b) => a + b) / g.length;
        return [m, Math.sqrt(g.reduce((a, b) => a + (b - m) ** 2, 0) / g.length)]; })"""
    )
    means = np.array(stats)[:, 0]
    assert np.all(-np.diff(means) > 25)
    assert np.all(np.array(stats)[:, 1] > 3)


def with_row(plan: Any, old: str, new: str) -> Any:
    """The plan with a row of another name."""
    tables = {name: getattr(plan, name) for name in ("rows", "panels", "vines", "samples", "flags", "runs", "next_vines")}
    return replace(plan, **{name: table.assign(row=table["row"].replace(old, new)) for name, table in tables.items()})


def test_hostile_text_is_shown_and_does_nothing(open_page: Callable) -> None:
    plan = with_row(small_plan(rows=12, vines=24, name=HOSTILE, note=HOSTILE), "4", HOSTILE)
    watched = open_page(render_block_map(edition(plan)))
    page = watched.page
    assert page.locator("h1").inner_text().replace("\n", "") == plan.name
    assert HOSTILE in page.title()
    page.locator('[data-layer="samples"]').check()
    noted = plan.samples[plan.samples["note"] != ""].iloc[0]
    click_on(page, plan, noted.geometry)
    assert HOSTILE in page.locator('[data-card="sample"] dd').last.inner_text()
    for drawer in page.locator("details summary").all():
        drawer.click()
    page.locator("#row").fill(plan.rows["row"].iloc[3])
    page.keyboard.press("Enter")
    assert HOSTILE in page.locator('[data-card="row"] h3').inner_text()
    assert page.evaluate("window.PWNED") is None
    assert page.locator("#page img, #page script").count() == 0
    assert page.evaluate("[...document.scripts].filter((s) => !s.type).length") == 2
    quiet(watched)


def test_hostile_estate_does_nothing(open_page: Callable) -> None:
    plan = small_plan(rows=12, vines=24, name=HOSTILE, note=HOSTILE)
    briefs = [brief_block(plan), brief_block(replace(plan, name=f"Second {HOSTILE}"))]
    watched = open_page(render_estate(briefs, links={brief.name: "b/map.html" for brief in briefs}))
    assert HOSTILE in watched.page.locator("#zones").inner_text()
    assert watched.page.evaluate("window.PWNED") is None
    quiet(watched)


def test_without_scripts_the_numbers_still_stand(open_page: Callable, plan: Any, html: str) -> None:
    page = open_page(html, java_script_enabled=False).page
    text = page.locator(".plain").inner_text()
    assert "Prune in 3 zones." in text
    for zone in plan.zones.itertuples():
        assert f"{zone.zone} · {plan.zones['class'][zone.Index]}" in text
        assert str(zone.buds_per_vine) in text
    assert page.locator(".plain svg path").count() >= 3
    assert not page.locator("#page").is_visible()


def test_a_broken_page_falls_back_to_the_numbers(browser: Any, tmp_path: Path, html: str) -> None:
    file = tmp_path / "page.html"
    file.write_text(html, encoding="utf-8")
    page = browser.new_context(offline=True).new_page()
    page.add_init_script("delete window.DecompressionStream;")
    page.goto(file.as_uri())
    page.wait_for_selector("html[data-ready=failed]")
    assert "Prune in 3 zones." in page.locator(".plain").inner_text()
    page.context.close()


def test_my_position_is_shown_when_the_browser_gives_it(open_page: Callable, plan: Any, html: str) -> None:
    import geopandas as gpd

    at = gpd.GeoSeries([plan.vines.geometry.iloc[1000]], crs=plan.crs).to_crs(4326).iloc[0]
    place = {"longitude": at.x, "latitude": at.y, "accuracy": 6}
    page = open_page(html, geolocation=place, permissions=["geolocation"]).page
    before = page.evaluate(INK)
    page.get_by_label("Where am I?").click()
    wait_until(page, "document.getElementById('spoken').textContent !== ''")
    assert page.locator("#spoken").inner_text() == "Your place is shown, within 20 ft."
    assert page.evaluate(INK) != before
    center = page.evaluate("geoprune.ground.map.getCenter()")
    assert (center["lat"], center["lng"]) == pytest.approx((at.y, at.x), abs=1e-5)


def test_the_estate_leads_to_each_block(open_page: Callable, estate: str) -> None:
    watched = open_page(estate)
    page = watched.page
    assert page.locator("#verdict").inner_text() == "Blocks to prune in zones: 2; with one number: 1."
    assert page.locator("#zones a").first.get_attribute("href") == "b0/map.html"
    page.get_by_role("button", name="Field 2", exact=True).click()
    assert "Field 2" in page.locator("#card h3").inner_text()
    assert page.locator('#card a[href="b1/crew_sheet.pdf"]').count() == 1
    page.get_by_role("button", name="Close", exact=True).click()
    for name in ("zones", "vines", "block"):
        before = page.evaluate(INK)
        page.locator(f'[data-layer="{name}"]').uncheck()
        assert page.evaluate(INK) != before, name
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    quiet(watched)


DRAWN_WORDS = """() => {
  const pen = CanvasRenderingContext2D.prototype;
  const write = pen.fillText;
  const map = geoprune.ground.map;
  const corner = map.containerPointToLayerPoint([0, 0]);
  const told = [];
  pen.fillText = function (words, x, y) {
    const half = this.measureText(words).width / 2;
    told.push({ words, font: this.font, left: x - half - corner.x, right: x + half - corner.x, down: y - corner.y });
    write.call(this, words, x, y);
  };
  geoprune.ground.redraw();
  pen.fillText = write;
  return told;
}"""


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("width", [360, 1366])
def test_a_stopped_block_says_so_once_and_inside_the_map(
    open_page: Callable, fields: list[BlockBrief], width: int, language: str
) -> None:
    east = brief_without_number(name="East", rows=20, vines=40, zones=2, corner=(501_200.0, 4_700_000.0))
    made = [brief for brief in fields if len(brief.zones) > 1]
    assert east.plan.polygon.bounds[0] > max(brief.plan.polygon.bounds[2] for brief in made)
    page = open_page(render_estate([*made, east], links={}, style=Style(Reader(language))), width=width, height=740).page
    stop = word_lists()[language]["map"]["stop_word"]
    assert page.locator("#zones .big").all_inner_texts().count(stop) == 1
    frame = page.locator(".folium-map").bounding_box()
    drawn = page.evaluate(DRAWN_WORDS)
    assert [entry["words"] for entry in drawn if stop in entry["words"]] == [stop]
    for _ in range(8):
        assert all(entry["left"] >= 0 and entry["right"] <= frame["width"] for entry in page.evaluate(DRAWN_WORDS))
        page.evaluate("geoprune.ground.map.panBy([-30, 0], { animate: false })")
    page.get_by_role("button", name=east.name, exact=True).click()
    assert page.locator("#card .stop").count() == 1
    assert page.locator("#card .numeral").count() == 0
    assert [entry["words"] for entry in page.evaluate(DRAWN_WORDS) if stop in entry["words"]] == [stop]


def named_rows(page: Any) -> list[dict[str, Any]]:
    return [entry for entry in page.evaluate(DRAWN_WORDS) if entry["words"].isdigit() and "12px" in entry["font"]]


@pytest.mark.parametrize(("width", "seed"), [(360, 1), (1366, 1), (1366, 2), (1366, 3)])
@pytest.mark.parametrize("rows", [40, 120])
def test_row_names_stand_apart(open_page: Callable, width: int, seed: int, rows: int) -> None:
    plan = small_plan(rows=rows, vines=3600 // rows, seed=seed)
    page = open_page(render_block_map(edition(plan)), width=width, height=768).page
    named = named_rows(page)
    assert len(named) >= 4
    for i, one in enumerate(named):
        for other in named[:i]:
            apart = max(one["left"] - other["right"], other["left"] - one["right"])
            assert apart >= 5 or abs(one["down"] - other["down"]) >= 12, (one, other)
    page.locator("#row").fill("8")
    page.locator("#row").press("Enter")
    assert "8" in [entry["words"] for entry in named_rows(page)]


PLATES = """() => {
  const pen = CanvasRenderingContext2D.prototype;
  const frame = pen.strokeRect;
  const told = [];
  pen.strokeRect = function (...box) { told.push(box); frame.apply(this, box); };
  geoprune.ground.redraw();
  pen.strokeRect = frame;
  return told;
}"""


def test_numbers_of_zones_hide_no_other_on_the_estate(open_page: Callable, estate: str) -> None:
    page = open_page(estate, width=1000).page
    seen = 0
    for block in (None, "Field 3"):
        if block:  # near enough that its zones have plates of their own
            page.get_by_role("button", name=block, exact=True).click()
        for _ in range(7):
            plates = page.evaluate(PLATES)
            seen += len(plates)
            for i, (left, top, wide, tall) in enumerate(plates):
                for west, north, broad, high in plates[:i]:
                    assert left >= west + broad or west >= left + wide or top >= north + high or north >= top + tall
            step = "- 0.25" if block else "+ 0.25"
            page.evaluate(f"geoprune.ground.map.setZoom(geoprune.ground.map.getZoom() {step}, {{ animate: false }})")
    assert seen > 14


@pytest.mark.parametrize(("width", "language", "lines"), [(1366, "en", 1), (1366, "es", 2), (360, "en", 1), (360, "es", 2)])
def test_a_blocks_links_take_the_width_of_the_list(
    open_page: Callable, fields: list[BlockBrief], width: int, language: str, lines: int
) -> None:
    links = {block.name: {kind: f"{i}/{kind}.html" for kind in LINKS} for i, block in enumerate(fields)}
    page = open_page(render_estate(fields, links=links, style=Style(Reader(language))), width=width, height=768).page
    for listed in page.locator("#zones .links").all():
        tops = listed.locator("a").evaluate_all("links => links.map(link => link.getBoundingClientRect().top)")
        assert len(tops) == len(LINKS)
        assert len(set(tops)) == lines


def test_a_background_is_asked_for_only_when_wanted(open_page: Callable, plan: Any) -> None:
    address = "http://127.0.0.1:9/{z}/{x}/{y}.png"
    watched = open_page(render_block_map(edition(plan, background=address)))
    watched.page.wait_for_timeout(300)
    outside = [url for url in watched.requests if not url.startswith("file:")]
    assert outside
    assert all(url.startswith("http://127.0.0.1:9/") for url in outside)
