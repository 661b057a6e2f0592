"""Styles for programs that read Styled Layer Descriptor alone: of the standard's structure, and drawn by a second reader."""

import json
import sqlite3
import subprocess
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import pytest
from PIL import Image
from written_plans import two_blocks

from geoprune.deliver.writing import write_plan
from geoprune.deliver.writing.sld import layer_sld
from geoprune.deliver.writing.styles import layer_style
from geoprune.deliver.writing.templates import write_vineyard_template
from geoprune.look import SIZE_RAMP, ZONE_FILLS

PYTHON = "/usr/bin/python3"
SLD, OGC = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
#: Children in their order, as the schemas of OGC 02-070 (StyledLayerDescriptor.xsd, FeatureStyle.xsd 1.0.0) and OGC 02-059
#: (filter.xsd, expr.xsd) tell them, as far as they are used; a star: any number of these, in any order.
ORDER = {
    f"{SLD}StyledLayerDescriptor": ["Name", "Title", "Abstract", "NamedLayer*"],
    f"{SLD}NamedLayer": ["Name", "LayerFeatureConstraints", "UserStyle*"],
    f"{SLD}UserStyle": ["Name", "Title", "Abstract", "IsDefault", "FeatureTypeStyle*"],
    f"{SLD}FeatureTypeStyle": ["Name", "Title", "Abstract", "FeatureTypeName", "SemanticTypeIdentifier*", "Rule*"],
    f"{SLD}Rule": [
        *("Name", "Title", "Abstract", "LegendGraphic", "Filter", "MinScaleDenominator", "MaxScaleDenominator"),
        "PolygonSymbolizer LineSymbolizer PointSymbolizer TextSymbolizer*",
    ],
    f"{SLD}PolygonSymbolizer": ["Geometry", "Fill", "Stroke"],
    f"{SLD}LineSymbolizer": ["Geometry", "Stroke"],
    f"{SLD}PointSymbolizer": ["Geometry", "Graphic"],
    f"{SLD}TextSymbolizer": ["Geometry", "Label", "Font", "LabelPlacement", "Halo", "Fill"],
    f"{SLD}Fill": ["GraphicFill", "CssParameter*"],
    f"{SLD}Stroke": ["GraphicFill", "GraphicStroke", "CssParameter*"],
    f"{SLD}Font": ["CssParameter*"],
    f"{SLD}Graphic": ["Mark", "Opacity", "Size", "Rotation"],
    f"{SLD}Mark": ["WellKnownName", "Fill", "Stroke"],
    f"{SLD}Label": ["PropertyName*"],
    f"{SLD}LabelPlacement": ["PointPlacement"],
    f"{SLD}PointPlacement": ["AnchorPoint", "Displacement", "Rotation"],
    f"{SLD}AnchorPoint": ["AnchorPointX", "AnchorPointY"],
    f"{SLD}Displacement": ["DisplacementX", "DisplacementY"],
    f"{SLD}Halo": ["Radius", "Fill"],
    f"{OGC}Filter": ["And Not PropertyIsEqualTo PropertyIsGreaterThan"],
    f"{OGC}Not": ["And Not PropertyIsEqualTo PropertyIsGreaterThan"],
    f"{OGC}And": [
        "And Not PropertyIsEqualTo PropertyIsGreaterThan PropertyIsGreaterThanOrEqualTo PropertyIsLessThan "
        "PropertyIsLessThanOrEqualTo*"
    ],
}
COMPARED = ("EqualTo", "GreaterThan", "GreaterThanOrEqualTo", "LessThan", "LessThanOrEqualTo")
ORDER |= {f"{OGC}PropertyIs{name}": ["PropertyName", "Literal"] for name in COMPARED}
#: OGC 02-070, 11.3.2: every reader knows these.
MARKS = {"square", "circle", "triangle", "star", "cross", "x"}


def astray(element: ET.Element) -> list[str]:
    """Elements that the standard does not have there, or in that order."""
    left = [child.tag.rpartition("}")[2] for child in element]
    for wanted in ORDER.get(element.tag, []):
        names = wanted.removesuffix("*").split()
        while left and left[0] in names:
            left.pop(0)
            if not wanted.endswith("*"):
                break
    return [f"{element.tag}: {left}"] * bool(left) + [fault for child in element for fault in astray(child)]


def styles(package: Path) -> dict[str, str]:
    with sqlite3.connect(package) as base:
        return dict(base.execute("SELECT f_table_name, styleSLD FROM layer_styles"))


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Path:
    return write_plan(two_blocks(), tmp_path_factory.mktemp("sld") / "result")


def test_every_layer_has_a_style_of_the_standards_structure(written, tmp_path):
    write_vineyard_template(tmp_path / "vineyard.gpkg", crs="EPSG:32610", language="es", units="metric")
    for package, layers in ((written / "prescription.gpkg", 9), (tmp_path / "vineyard.gpkg", 5)):
        found = styles(package)
        assert len(found) == layers
        for name, text in found.items():
            root = ET.fromstring(text)
            assert root.get("version") == "1.0.0"
            assert astray(root) == [], name
            assert root.findtext(f"{SLD}NamedLayer/{SLD}Name") == name
            columns = set(gpd.read_file(package, layer=name).columns)
            assert {one.text for one in root.iter(f"{OGC}PropertyName")} <= columns, name
            assert {one.text for one in root.iter(f"{SLD}WellKnownName")} <= MARKS


def test_a_style_out_of_order_would_be_found(written):
    root = ET.fromstring(styles(written / "prescription.gpkg")["zones"])
    rule = next(root.iter(f"{SLD}Rule"))
    rule.insert(0, rule[-1])
    assert astray(root)


def test_no_name_breaks_out_of_a_style(written):
    assert not any("<script" in text or "]]>" in text for text in styles(written / "prescription.gpkg").values())


def colours(path: Path) -> set[str]:
    with Image.open(path) as image:
        return {"#{:02x}{:02x}{:02x}".format(*colour) for _, colour in image.convert("RGB").getcolors(1 << 24)}


def test_a_second_reader_draws_layers_as_they_are_meant(written, tmp_path):
    asked = subprocess.run([PYTHON, "-c", "import mapscript"], capture_output=True, check=False)
    if asked.returncode:
        pytest.skip("needs MapServer (Debian's package python3-mapscript), which is not installed here")
    zones = gpd.read_file(written / "prescription.gpkg", layer="zones").query("block == 'North'")
    west, south, east, north = zones.total_bounds
    extent = (west - 20, south - 20, east + 20, north + 20)
    script = Path(__file__).with_name("draw_with_mapserver.py")
    command = [PYTHON, script, written / "prescription.gpkg", tmp_path / "{}.png", *extent]
    ran = subprocess.run([str(one) for one in command], capture_output=True, text=True, timeout=120, check=True)
    classes = json.loads(ran.stdout)
    assert classes["zones"][2::2] == ["zone 1", "zone 2"]
    assert {ZONE_FILLS[1], ZONE_FILLS[2]} <= {colour.casefold() for colour in colours(tmp_path / "zones.png")}
    assert len(classes["vines"]) == len(SIZE_RAMP)
    assert len(colours(tmp_path / "vines.png") & {colour.casefold() for colour in SIZE_RAMP}) >= 3
    assert len(colours(tmp_path / "panels.png")) > 2


def test_legends_and_labels_speak_the_language_of_the_run():
    zones = pd.DataFrame({"zone": [1, 2]})
    text = layer_sld("zones", zones, "es") + layer_style("zones", zones, "es").split("<aliases>")[0]
    assert "zona 1" in text
    assert "todo el cuartel" in text
    assert "THEN 'cepas chicas'" in text
    assert " buds" not in text.replace("buds_per_vine", "")
    areas = layer_sld("replant_areas", pd.DataFrame(), "es") + layer_style("replant_areas", pd.DataFrame(), "es")
    assert "faltan" in areas
    assert "weak" not in areas.replace("vines_weak", "").split("<aliases>")[0]
    assert layer_style("zones", zones).count("zone 1") == 1
