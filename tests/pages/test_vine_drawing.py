"""The drawn vine shows the wood that is told: as many buds, canes and spurs as the recipe has."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoprune.deliver.pages.vine import HEIGHT, WIDTH, draw_vine
from geoprune.rules import Recipe, fit_recipe, load_trainings

TRAININGS = tuple(load_trainings())


def drawn(recipe: Recipe) -> ElementTree.Element:
    return ElementTree.fromstring(draw_vine(recipe, title="vine"))


def of_class(svg: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    return [node for node in svg.iter() if node.get("class") == name]


@pytest.mark.parametrize("training", TRAININGS)
def test_every_count_that_fits_is_drawn_bud_by_bud(training: str) -> None:
    for buds in range(0, 121):
        recipe = fit_recipe(buds, training, 2.4)
        svg = drawn(recipe)
        assert len(of_class(svg, "bud")) == recipe.total == (buds if recipe.fits else 0)
        assert [len(of_class(svg, kind)) for kind in ("cane", "spur", "renewal")] == [
            recipe.count(kind) for kind in ("cane", "spur", "renewal")
        ]


@given(training=st.sampled_from(TRAININGS), buds=st.integers(1, 160), spacing=st.floats(0.9, 3.5))
@settings(max_examples=150, deadline=None)
def test_any_spacing_is_drawn_within_the_picture(training: str, buds: int, spacing: float) -> None:
    recipe = fit_recipe(buds, training, spacing)
    dots = of_class(drawn(recipe), "bud")
    places = {(float(dot.get("cx", "nan")), float(dot.get("cy", "nan"))) for dot in dots}
    assert len(places) == len(dots) == recipe.total
    assert all(0 < x < WIDTH and 0 < y < HEIGHT for x, y in places)


@pytest.mark.parametrize("training", [name for name, system in load_trainings().items() if system.kind == "cane"])
def test_the_number_beside_each_cane_is_its_buds(training: str) -> None:
    recipe = fit_recipe(41, training, 2.4)
    for cane in of_class(drawn(recipe), "cane"):
        text = next(node.text for node in cane.iter() if node.tag.endswith("text"))
        assert int(str(text)) == sum(1 for node in cane.iter() if node.get("class") == "bud")


def test_every_training_has_a_drawing_of_its_own() -> None:
    pictures = {re.sub(r"\s+", " ", draw_vine(fit_recipe(20, name, 2.4), title="")) for name in TRAININGS}
    assert len(pictures) == len(TRAININGS)


def test_the_longer_canes_of_four_lie_on_the_upper_wire() -> None:
    # the two upper canes may carry 4 to 6 buds more than the lower ones (Hedrick, Manual of American Grape-Growing)
    recipes = [fit_recipe(buds, "four-cane", 2.4) for buds in range(30, 60)]
    recipe = next(one for one in recipes if len({part.buds for part in one.parts if part.kind == "cane"}) == 2)
    drawn = draw_vine(recipe, title="")
    canes = re.findall(r'<g class="cane">(.*?)</g>', drawn)
    lies = []
    for cane in canes:
        dots = re.findall(r'<circle[^>]*cy="([0-9.]+)"', cane)
        lies.append((float(dots[-1]), len(dots)))
    upper = sorted(lies)[:2]
    assert min(count for _, count in upper) >= max(count for _, count in sorted(lies)[2:])


@pytest.mark.parametrize("training", ["divided horizontal", "lyre"])
def test_two_cordons_side_by_side_lie_aside_of_each_other_and_bars_lead_across(training: str) -> None:
    svg = drawn(fit_recipe(40, training, 2.4))
    dots = [(float(dot.get("cx", "nan")), float(dot.get("cy", "nan"))) for dot in of_class(svg, "bud")]
    middle = (min(y for _, y in dots) + max(y for _, y in dots)) / 2
    far, near = [x for x, y in dots if y < middle], [x for x, y in dots if y > middle]
    assert len(far) == len(near) == 20
    assert min(far) - min(near) > 20  # seen aslant: one over the other they would begin at one place
    assert max(far) - max(near) > 20


def test_a_vine_without_wires_stands_without_posts() -> None:
    assert not [node for node in drawn(fit_recipe(20, "head-trained", 2.4)).iter() if node.tag.endswith("rect")]
    assert [node for node in drawn(fit_recipe(20, "low cordon", 2.4)).iter() if node.tag.endswith("rect")]
