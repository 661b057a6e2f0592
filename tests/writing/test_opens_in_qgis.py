"""The layers open in a desktop GIS (QGIS from Debian, headless) already styled."""

import json
import subprocess
from pathlib import Path

import pytest
from PIL import Image
from written_plans import two_blocks

from geoprune.deliver.writing import write_plan

PYTHON = "/usr/bin/python3"
STYLED = {
    "zones": "categorizedSymbol",
    "panels": "categorizedSymbol",
    "vines": "graduatedSymbol",
    "samples": "graduatedSymbol",
}
ZONE_COLOURS = {(0xE9, 0xD8, 0xA6), (0x94, 0xB0, 0xA0)}


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    asked = subprocess.run([PYTHON, "-c", "import qgis.core"], capture_output=True, check=False)
    if asked.returncode:
        pytest.skip("needs QGIS (Debian's package python3-qgis), which is not installed here")
    folder = tmp_path_factory.mktemp("gis")
    out = write_plan(two_blocks(), folder / "result")
    rasters = sorted(str(path) for path in out.glob("*/vine_size*.tif"))
    script, picture = Path(__file__).with_name("open_in_qgis.py"), folder / "drawn.png"
    command = [PYTHON, str(script), str(out / "prescription.gpkg"), str(picture), *rasters]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    return json.loads(ran.stdout.strip().splitlines()[-1]), picture


def test_every_layer_opens_with_its_style_and_crs(opened):
    layers, _ = opened
    for name, layer in layers.items():
        if name not in ("labels", "sld"):
            assert layer["valid"], name
    for name, renderer in STYLED.items():
        assert layers[name]["renderer"] == renderer, name
        assert layers[name]["crs"] == "EPSG:32610"
        assert layers[name]["features"] > 0
    assert layers["zones"]["labels"]
    assert layers["zones"]["legend"] == ["whole block", "zone 1", "zone 2"]


def test_columns_are_explained_in_the_gis(opened):
    layers, _ = opened
    said = [alias for alias in layers["zones"]["aliases"] if alias]
    assert "vine_size_kg: Mean vine size (dormant pruning weight), kg per vine" in said


def test_the_drawing_shows_the_zone_colours(opened):
    _, picture = opened
    with Image.open(picture) as image:
        colours = {colour for _, colour in image.convert("RGB").getcolors(1 << 24)}
    assert colours >= ZONE_COLOURS


def test_rasters_open_as_one_band_in_the_colours_of_vine_sizes(opened):
    layers, _ = opened
    for name in ("vine_size.tif", "vine_size_error.tif"):
        assert (layers[name]["bands"], layers[name]["renderer"]) == (1, "singlebandpseudocolor")
        assert sum(label.endswith(" kg") for label in layers[name]["legend"]) == 5


def apart(first, second):
    return first[2] < second[0] or second[2] < first[0] or first[3] < second[1] or second[3] < first[1]


def test_labels_of_areas_to_replant_say_what_they_count_and_lie_on_no_zones_label(opened):
    layers, _ = opened
    boxes = {name: [one for one in layers["labels"] if one["layer"] == name] for name in ("zones", "replant_areas")}
    assert boxes["zones"]
    assert boxes["replant_areas"]
    assert {one["text"] for one in boxes["replant_areas"]} <= {f"{n} missing" for n in range(1, 100)}
    assert all(apart(one["box"], other["box"]) for one in boxes["zones"] for other in boxes["replant_areas"])


def test_the_style_for_other_programs_is_taken_whole(opened):
    layers, _ = opened
    for name, layer in layers["sld"].items():
        assert layer["taken"], (name, layer["said"])
        assert layer["legend"], name
    assert layers["sld"]["zones"]["legend"][2::2] == ["zone 1", "zone 2"]
    assert layers["sld"]["zones"]["labels"]
