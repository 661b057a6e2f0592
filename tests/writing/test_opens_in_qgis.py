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
    rasters = sorted(str(path) for path in out.glob("*/vine_size.tif"))
    script, picture = Path(__file__).with_name("open_in_qgis.py"), folder / "drawn.png"
    command = [PYTHON, str(script), str(out / "prescription.gpkg"), str(picture), *rasters]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    return json.loads(ran.stdout.strip().splitlines()[-1]), picture


def test_every_layer_opens_with_its_style_and_crs(opened):
    layers, _ = opened
    for name, layer in layers.items():
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
