"""The pages as text: nothing from elsewhere, nothing of the user's that runs, the same text every time."""

from __future__ import annotations

import hashlib
import html
import re
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from small_plans import HOSTILE, edition, small_brief, small_estate, small_plan
from test_maps_packing import unpack

from geoprune.brief import brief_block, zone_labels
from geoprune.brief.places import zone_parts
from geoprune.deliver.maps import render_block_map, render_estate
from geoprune.deliver.maps.ground import lay_ground
from geoprune.deliver.maps.shell import LEAFLET_SHA256, asset, leaflet, tile_host
from geoprune.deliver.maps.wording import page_words
from geoprune.errors import Message
from geoprune.words import say


def payload(page: str) -> str:
    return re.search(r'id="plan">([^<]*)<', page)[1]


def links_of(plan) -> dict[str, dict[str, str]]:
    return {
        block.name: {"map": f"block-{i}/map.html", "sheet": f"block-{i}/crew_sheet.html"}
        for i, block in enumerate(plan.blocks)
    }


@pytest.fixture(scope="module")
def plan():
    return small_plan()


@pytest.fixture(scope="module")
def page(plan) -> str:
    return render_block_map(edition(plan))


def test_leaflet_is_the_published_one() -> None:
    # SHA-256 of dist/leaflet.js and dist/leaflet.css as carried by the npm package leaflet 1.9.4.
    for name, digest in LEAFLET_SHA256.items():
        assert hashlib.sha256((files("geoprune.deliver.maps") / "leaflet" / name).read_bytes()).hexdigest() == digest
    assert "Leaflet 1.9.4" in leaflet()[0][:200]
    assert "BSD 2-Clause" in (files("geoprune.deliver.maps") / "leaflet" / "LICENSE").read_text("utf-8")
    for text, end in zip(leaflet(), ("</script", "</style"), strict=True):
        assert end not in text.lower()
        assert "url(images" not in text


def test_same_plan_same_text(plan, page: str) -> None:
    assert render_block_map(edition(plan)) == page
    assert not re.search(r"[a-z]_[0-9a-f]{32}", page)


def test_exactly_two_scripts_run_and_all_are_named_in_the_policy(page: str) -> None:
    scripts = re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL)
    assert len(scripts) == 2
    assert page.lower().count("<script") == 3
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1]
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    assert policy.count("'sha256-") == 2 + len(re.findall(r"<style>", page))
    assert "unsafe" not in policy
    assert "http" not in policy


def test_no_address_elsewhere_is_loaded(page: str) -> None:
    marked = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    assert not re.search(r"<(link|img|iframe|object|embed|base)\b", marked)
    assert not re.search(r"\b(src|href)=\"?https?:", marked)
    assert not re.search(r"url\((?!data:|#)", marked)
    assert "sourceMappingURL" not in page


def test_hostile_text_stays_text() -> None:
    page = render_block_map(edition(small_plan(name=HOSTILE, note=HOSTILE)))
    outside = page.replace(payload(page), "")
    assert len(re.findall(r"<script>", page)) == 2
    assert "<img" not in page
    assert html.escape(HOSTILE) in outside.replace("&#34;", "&quot;").replace("&#39;", "&#x27;")
    said, _ = unpack(payload(page))
    assert said["name"] == HOSTILE
    assert HOSTILE in said["samples"]["note"]


def test_the_packed_panels_are_the_plans(plan, page: str) -> None:
    said, columns = unpack(payload(page))
    panels = plan.panels
    assert [said["rows"][row] for row in columns["panel_row"]] == panels["row"].tolist()
    for column, name in (
        ("panel", "number"),
        ("zone", "zone"),
        ("last_vine", "last"),
    ):
        assert columns[f"panel_{name}"].tolist() == panels[column].tolist()
    assert np.abs(columns["panel_size"] * 1e-5 - panels["vine_size_kg"]).max() < 1e-5
    renewed = (plan.vines["treatment"] == "renew").sum()
    counts = [(plan.vines["status"] == word).sum() for word in ("bearing", "young", "missing", "dead", "diseased")]
    assert renewed > 0
    assert np.bincount(columns["vine_status"], minlength=6).tolist() == [counts[0] - renewed, *counts[1:], renewed]


def test_a_plan_without_extras_still_makes_a_page(plan) -> None:
    bare = replace(
        plan,
        surface_grid=None,
        replant_areas=plan.replant_areas.iloc[:0],
        panels=plan.panels.assign(bull_cane_share=np.nan),
        zones=plan.zones.assign(bull_cane_share=np.nan),
    )
    said, columns = unpack(payload(render_block_map(edition(bare))))
    assert said["grid"] is None
    assert said["said"]["en"]["us"]["replant"] == []
    assert not columns["panel_bull"].any()
    assert said["said"]["en"]["us"]["zones"][0]["figures"]["bull_share"] == "–"


def test_a_panel_in_an_unknown_row_is_refused(plan) -> None:
    with pytest.raises(ValueError, match="not among its rows"):
        lay_ground(replace(plan, panels=plan.panels.assign(row="nowhere")))


def test_labels_lie_in_their_zones(plan) -> None:
    import shapely

    for label in zone_labels(plan.zones):
        spot = shapely.Point(label.easting, label.northing)
        geometry = plan.zones.geometry.iloc[label.zone]
        assert geometry.contains(spot)
        assert spot.distance(geometry.boundary) == pytest.approx(label.radius_m, abs=1.5)


def test_where_a_zone_lies_is_reported_by_compass() -> None:
    import geopandas as gpd
    import shapely

    block = shapely.box(0, 0, 300, 300)
    shapes = [shapely.box(0, 200, 300, 300), shapely.box(0, 0, 300, 100), shapely.box(0, 100, 300, 200)]
    corners = shapely.MultiPolygon([shapely.box(0, 0, 40, 40), shapely.box(260, 260, 300, 300)])
    crumbs = shapely.MultiPolygon([shapely.box(60 * i, 0, 60 * i + 9, 9) for i in range(5)])
    zones = gpd.GeoDataFrame(geometry=[*shapes, corners, crumbs])
    assert zone_parts(zones, block) == [["n"], ["s"], ["middle"], ["sw", "ne"], ["scattered"]]


def test_two_zones_on_the_same_side_are_told_apart() -> None:
    import geopandas as gpd
    import shapely

    block = shapely.box(0, 0, 300, 100)
    shapes = [shapely.box(0, 0, 150, 100), shapely.box(150, 0, 230, 100), shapely.box(230, 0, 300, 100)]
    assert zone_parts(gpd.GeoDataFrame(geometry=shapes), block) == [["w"], ["e_inner"], ["e_end"]]


def test_both_word_lists_say_everything() -> None:
    words = page_words()
    assert set(words) >= {"en", "es"}
    assert set(words["en"]) == set(words["es"])
    for key, sentence in words["en"].items():
        assert sorted(re.findall(r"\{[^}]*\}", sentence)) == sorted(re.findall(r"\{[^}]*\}", words["es"][key])), key


def test_every_word_a_page_asks_for_is_there() -> None:
    text = "".join(
        asset(name)
        for name in ("words.js", "ground.js", "shared.js", "block_layers.js", "block_words.js", "estate.js", "paint.js")
    )
    asked = set(re.findall(r'say\("([a-z_]+)"', text)) | set(re.findall(r"link_[a-z]+", text))
    listed = re.findall(r"\[((?:\"[a-z_]+\",?\s*)+)\]\.map\(\(key\)", text)
    asked |= {key for group in listed for key in re.findall(r'"([a-z_]+)"', group)}
    layers = set(re.findall(r'^    name: "([a-z_]+)"', asset("block_layers.js"), flags=re.MULTILINE))
    assert len(layers) == 16
    assert len(asked) > 60
    assert asked | {f"layer_{name}" for name in layers} <= set(page_words()["en"])


def test_sentences_are_reported_in_the_readers_units() -> None:
    message = Message("map.size_sentence", {"vine_size_kg": 0.90718474})
    assert say(message, "en", "us") == "Pruning weight 2.0 lb per vine."
    assert say(message, "es", "metric") == "Peso de poda 0.91 kg por cepa."
    with pytest.raises(KeyError):
        say(Message("map.nothing"), "en", "us")


@pytest.mark.parametrize(
    ("address", "host"),
    [
        ("https://tiles.example/{z}/{x}/{y}.png", "https://tiles.example"),
        ("https://{s}.tiles.example:8080/{z}/{x}/{y}.png", "https://*.tiles.example:8080"),
    ],
)
def test_a_background_opens_its_own_host_only(plan, address: str, host: str) -> None:
    assert tile_host(address) == host
    page = render_block_map(edition(plan, background=address, credit="<b>survey office</b>"))
    assert f"img-src data: blob: {host};" in page
    assert "&lt;b&gt;survey office&lt;/b&gt;" in page


@pytest.mark.parametrize(
    "address",
    [
        "file:///etc/{z}/{x}/{y}",
        "https://tiles.example/flat.png",
        "https://a.example; script-src */{z}/{x}/{y}",
        "javascript:alert(1)//{z}{x}{y}",
        "https://tiles.example/{z}/{x}/{y}?key={apikey}",
        "https://tiles.example/{z}/{x}/{y}.png?key={apikey}",
        "https://tiles.example/{z}/{x}/{y}/{}.png",
    ],
)
def test_other_backgrounds_are_refused(plan, address: str) -> None:
    with pytest.raises(ValueError, match="not a tile address"):
        render_block_map(edition(plan, background=address))


def test_unknown_choices_are_refused(plan) -> None:
    with pytest.raises(ValueError, match="no word list for language 'xx'"):
        render_block_map(edition(plan, language="xx"))
    with pytest.raises(ValueError, match="us or metric"):
        render_block_map(edition(plan, units="stone"))


def test_the_estate_links_to_every_block() -> None:
    plan = small_estate(3, rows=20, vines=40)
    briefs = [brief_block(block) for block in plan.blocks]
    page = render_estate(briefs, links=links_of(plan))
    said, columns = unpack(payload(page))
    assert [block["name"] for block in said["blocks"]] == [block.name for block in plan.blocks]
    assert [block["links"]["map"] for block in said["blocks"]] == [f"block-{i}/map.html" for i in range(3)]
    assert sum(block["vines"] for block in said["blocks"]) == sum(b.zones["vines"].sum() for b in plan.blocks)
    assert len(columns["vine_status"]) == sum(len(block.vines) for block in plan.blocks)
    plain = re.search(r"<noscript>(.*?)</noscript>", page, flags=re.DOTALL)[1]
    assert 'href="block-2/map.html"' in plain
    assert render_estate(briefs, links=links_of(plan)) == page


@pytest.mark.parametrize("href", ["javascript:alert(1)", "https://far.example/", "/etc/passwd", "../up.html", "a\\b"])
def test_links_that_leave_the_folder_are_refused(href: str) -> None:
    brief = small_brief()
    with pytest.raises(ValueError, match="not an address below"):
        render_estate([brief], links={brief.name: href})


def test_an_estate_without_blocks_is_refused() -> None:
    with pytest.raises(ValueError, match="without blocks"):
        render_estate((), links={})
