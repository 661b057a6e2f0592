"""The estate's page at many blocks: light, and its list in the order one asks for. The blocks are invented."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely.affinity import translate
from small_plans import small_brief

from geoprune.brief import BlockBrief, estate_alert
from geoprune.deliver.maps import render_estate
from geoprune.deliver.writing.block import lighten
from geoprune.words import Reader

SIZES_KG = {"A": 1.2, "B": 0.6, "C": 0.9}
FARMS = {"B": "Farm 10", "C": "Farm 2"}


def moved(brief: BlockBrief, name: str, number: int, size_kg: float) -> BlockBrief:
    """The block elsewhere, under another name and with another vine size."""
    plan, to = brief.plan, ((number % 70) * 300.0, number // 70 * 300.0)
    shapes = {
        layer: getattr(plan, layer).assign(geometry=getattr(plan, layer).translate(*to))
        for layer in ("zones", "replant_areas")
    }
    settings = replace(plan.settings, block=name, variety="Concord" if number % 2 else "Niagara", farm=FARMS.get(name, ""))
    polygon = translate(plan.polygon, *to)
    return replace(brief, plan=replace(plan, name=name, settings=settings, polygon=polygon, vine_size_kg=size_kg, **shapes))


def names_listed(page) -> list[str]:
    return page.locator("#zones tbody button.link").all_inner_texts()


@pytest.mark.browser
def test_blocks_are_put_in_order_and_grouped(open_page):
    light = lighten(small_brief(), drawn=False)
    briefs = [moved(light, name, number, size) for number, (name, size) in enumerate(SIZES_KG.items())]
    page = open_page(render_estate(briefs, links={name: f"{name}/map.html" for name in SIZES_KG})).page
    assert names_listed(page) == ["A", "B", "C"]
    page.select_option("#order", "size_kg")
    assert names_listed(page) == sorted(SIZES_KG, key=SIZES_KG.get)
    page.select_option("#group", "variety")
    assert names_listed(page) == ["B", "C", "A"]  # Concord before Niagara, the weaker first in each
    assert page.locator("#zones tr.group").all_inner_texts() == ["Concord", "Niagara"]
    assert page.locator("#zones tr.under a").first.get_attribute("href") == "B/map.html"
    page.select_option("#group", "farm")
    assert names_listed(page) == ["C", "B", "A"]  # farm 2 before farm 10, blocks of no farm last
    assert page.locator("#zones tr.group").all_inner_texts() == ["Farm 2", "Farm 10", "No farm named"]
    page.fill("#row", "farm 1")
    assert names_listed(page) == ["B"]
    page.press("#row", "Enter")
    assert page.locator("#card h3").inner_text() == "B"


def test_a_thousand_blocks_weigh_little_and_tell_where_to_stop():
    light = lighten(small_brief(), drawn=False)
    briefs = [moved(light, f"Block {number:04d}", number, 0.9) for number in range(1000)]
    page = render_estate(briefs, links={brief.name: f"b{number}/map.html" for number, brief in enumerate(briefs)})
    assert len(page) < 1_000_000
    assert page.count('/map.html">') == 1000
    stopped = [replace(brief, headline="stop") for brief in briefs]
    said = Reader().say(estate_alert(stopped))
    assert all(brief.name in said for brief in briefs)
