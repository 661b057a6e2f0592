"""The pages as text: nothing from elsewhere, nothing of the user's that runs, the same text every time."""

from __future__ import annotations

import hashlib
import html
import re
import tomllib
from importlib.resources import files

import numpy as np
import pytest
from invented_plan import HOSTILE, invented_block_plan, invented_plan, without_extras
from test_maps_packing import unpack

from geoprune.maps import render_block_map, render_estate
from geoprune.maps.ground import lay_ground, zone_labels, zone_parts
from geoprune.maps.shell import LEAFLET_SHA256, asset, leaflet, tile_host
from geoprune.maps.telling import page_words
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
    return invented_block_plan()


@pytest.fixture(scope="module")
def page(plan) -> str:
    return render_block_map(plan)


def test_leaflet_is_the_published_one() -> None:
    # SHA-256 of leaflet.js 1.9.4 as carried by the npm package leaflet 1.9.4.
    text = (files("js_lib_leaflet") / "static" / "js_lib_leaflet" / "leaflet.js").read_bytes()
    assert hashlib.sha256(text).hexdigest() == LEAFLET_SHA256
    assert "Leaflet 1.9.4" in leaflet()[0][:200]


def test_same_plan_same_text(plan, page: str) -> None:
    assert render_block_map(plan) == page
    assert not re.search(r"[a-z]_[0-9a-f]{32}", page)


def test_exactly_three_scripts_run_and_all_are_named_in_the_policy(page: str) -> None:
    scripts = re.findall(r"<script>(.*?)</script>", page, flags=re.DOTALL)
    assert len(scripts) == 3
    assert page.lower().count("<script") == 4
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1]
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    assert policy.count("'sha256-") == 3 + len(re.findall(r"<style>", page))
    assert "unsafe" not in policy
    assert "http" not in policy


def test_no_address_elsewhere_is_loaded(page: str) -> None:
    marked = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    assert not re.search(r"<(link|img|iframe|object|embed|base)\b", marked)
    assert not re.search(r"\b(src|href)=\"?https?:", marked)
    assert not re.search(r"url\((?!data:|#)", marked)
    assert "sourceMappingURL" not in page


def test_hostile_text_stays_text() -> None:
    page = render_block_map(invented_block_plan(hostile=True))
    outside = page.replace(payload(page), "")
    assert len(re.findall(r"<script>", page)) == 3
    assert "<img" not in page
    assert html.escape(HOSTILE) in outside.replace("&#34;", "&quot;").replace("&#39;", "&#x27;")
    told, _ = unpack(payload(page))
    assert told["name"] == f"{HOSTILE} Creek Bench"
    assert f"{HOSTILE} tied, old trunk" in told["samples"]["note"]
    assert told["rows"][0] == f"{HOSTILE} 1"


def test_the_packed_panels_are_the_plans(plan, page: str) -> None:
    told, columns = unpack(payload(page))
    panels = plan.panels
    assert [told["rows"][row] for row in columns["panel_row"]] == panels["row"].tolist()
    for column, name in (
        ("panel", "number"),
        ("zone", "zone"),
        ("buds_per_vine", "buds"),
        ("last_vine", "last"),
    ):
        assert columns[f"panel_{name}"].tolist() == panels[column].tolist()
    assert np.abs(columns["panel_size"] * 1e-5 - panels["vine_size_kg"]).max() < 1e-5
    assert np.bincount(columns["vine_status"], minlength=5).tolist() == [
        (plan.vines["status"] == word).sum() for word in ("bearing", "young", "missing", "dead", "diseased")
    ]


def test_a_plan_without_extras_still_makes_a_page(plan) -> None:
    told, columns = unpack(payload(render_block_map(without_extras(plan))))
    assert told["grid"] is None
    assert told["replant"] == []
    assert not columns["panel_bull"].any()
    assert told["zones"][0]["injury_share"] is None


def test_a_panel_in_an_unknown_row_is_refused(plan) -> None:
    from dataclasses import replace

    with pytest.raises(ValueError, match="not among its rows"):
        lay_ground(replace(plan, panels=plan.panels.assign(row="nowhere")))


def test_labels_lie_in_their_zones(plan) -> None:
    import shapely

    for label in zone_labels(plan.zones):
        spot = shapely.Point(label["easting"], label["northing"])
        geometry = plan.zones.geometry.iloc[label["zone"]]
        assert geometry.contains(spot)
        assert spot.distance(geometry.boundary) == pytest.approx(label["radius_m"], abs=1.5)


def test_where_a_zone_lies_is_told_by_compass() -> None:
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
    text = "".join(asset(name) for name in ("words.js", "ground.js", "shared.js", "block_words.js", "estate.js", "paint.js"))
    asked = set(re.findall(r'say\("([a-z_]+)"', text)) | set(re.findall(r"link_[a-z]+", text))
    listed = re.findall(r"\[((?:\"[a-z_]+\",?\s*)+)\]\.map\(\(key\)", text)
    asked |= {key for group in listed for key in re.findall(r'"([a-z_]+)"', group)}
    layers = set(re.findall(r'\["([a-z_]+)", (?:true|false)\]', asset("block.js")))
    assert len(layers) == 15
    assert len(asked) > 60
    assert asked | {f"layer_{name}" for name in layers} <= set(page_words()["en"])


def test_sentences_are_told_in_the_readers_units() -> None:
    from invented_plan import Message

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
    page = render_block_map(plan, background=address, credit="<b>survey office</b>")
    assert f"img-src data: blob: {host};" in page
    assert "&lt;b&gt;survey office&lt;/b&gt;" in page


@pytest.mark.parametrize(
    "address",
    [
        "file:///etc/{z}/{x}/{y}",
        "https://tiles.example/flat.png",
        "https://a.example; script-src */{z}/{x}/{y}",
        "javascript:alert(1)//{z}{x}{y}",
    ],
)
def test_other_backgrounds_are_refused(plan, address: str) -> None:
    with pytest.raises(ValueError, match="not a tile address"):
        render_block_map(plan, background=address)


def test_unknown_choices_are_refused(plan) -> None:
    with pytest.raises(ValueError, match="no word list for language 'xx'"):
        render_block_map(plan, language="xx")
    with pytest.raises(ValueError, match="us or metric"):
        render_block_map(plan, units="stone")


def test_the_estate_links_to_every_block() -> None:
    plan = invented_plan(3)
    page = render_estate(plan, links=links_of(plan))
    told, columns = unpack(payload(page))
    assert [block["name"] for block in told["blocks"]] == [block.name for block in plan.blocks]
    assert [block["links"]["map"] for block in told["blocks"]] == [f"block-{i}/map.html" for i in range(3)]
    assert sum(block["vines"] for block in told["blocks"]) == sum(b.zones["vines"].sum() for b in plan.blocks)
    assert len(columns["vine_status"]) == sum(len(block.vines) for block in plan.blocks)
    plain = re.search(r"<noscript>(.*?)</noscript>", page, flags=re.DOTALL)[1]
    assert 'href="block-2/map.html"' in plain
    assert render_estate(plan, links=links_of(plan)) == page


@pytest.mark.parametrize("href", ["javascript:alert(1)", "https://far.example/", "/etc/passwd", "../up.html", "a\\b"])
def test_links_that_leave_the_folder_are_refused(href: str) -> None:
    plan = invented_plan(1)
    with pytest.raises(ValueError, match="not an address below"):
        render_estate(plan, links={plan.blocks[0].name: href})


def test_an_estate_without_blocks_is_refused() -> None:
    with pytest.raises(ValueError, match="without blocks"):
        render_estate((), links={})


def test_the_word_lists_are_plain_toml() -> None:
    for code in page_words():
        tables = tomllib.loads((files("geoprune.words") / f"{code}.toml").read_text(encoding="utf-8"))
        assert all(isinstance(sentence, str) for sentence in tables["map"].values())
