"""Layer styles for a desktop GIS, as QML built with ElementTree so that no name can break out of its label.

Sizes run from light (small) to dark (large); zones differ by pattern and word, not by colour alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoprune.deliver.writing.tables import GEOMETRIES, column_words
from geoprune.errors import Message
from geoprune.look import INK, SIZE_RAMP, ZONE_FILLS, ramp_color
from geoprune.plan.tables import CLASSES
from geoprune.words import say

ZONE_PATTERNS = ("dense6", "f_diagonal", "diagonal_x", "solid")
#: A block with one number is no zone 1 of small vines: it is drawn plain, as class 0.
WHOLE_BLOCK = "whole block"
ZONE_CLASS = f'if("class" = \'{WHOLE_BLOCK}\', 0, "zone")'
PLACEMENTS = {"fill": "4", "line": "2", "marker": "0"}
#: Labels of areas that lie within zones stand outside of them, so as not to lie on the zones' labels.
OUTSIDE = {"replant_areas": "8"}
KINDS = {"MultiPolygon": "fill", "LineString": "line", "Point": "marker"}


#: Layer -> the column whose values its style depends on.
STYLED_BY = {"zones": "zone", "panels": "buds_per_vine", "vines": "vine_size_kg", "samples": "vine_weight_kg"}


def message_values(layer: str, table: pd.DataFrame) -> pd.DataFrame:
    """Return the few values of a layer that its style depends on: the different whole numbers, or the ends of the range.

    Styles made of these and of the whole layer are alike; of several parts, join theirs.
    """
    if layer not in STYLED_BY:
        return pd.DataFrame()
    values = table[STYLED_BY[layer]].dropna()
    few = values.unique() if layer in ("zones", "panels") else [values.min(), values.max()] if len(values) else []
    return pd.DataFrame({STYLED_BY[layer]: pd.Series(few, dtype=values.dtype)})


def styled_words(language: str) -> Callable[..., str]:
    """Return what says the words of styles in a language: a key of section [writing] after "style_", and its fields."""

    def spoken(key: str, **fields: object) -> str:
        return say(Message(f"writing.style_{key}", fields), language, "metric")

    return spoken


def class_names(language: str) -> dict[str, str]:
    """Return class of zones in the layers -> what a language calls it."""
    names = sorted({name for few in CLASSES.values() for name in few})
    return {name: say(Message("brief.class_" + name.replace(" ", "_")), language, "metric") for name in names}


def labels_of(layer: str, language: str) -> str:
    """Return the expression that labels the features of a layer; "" where they have none."""
    word = {key: _quoted(styled_words(language)(key)) for key in ("word_buds", "missing", "weak")}
    when = " ".join(f'WHEN "class" = {_quoted(given)} THEN {_quoted(told)}' for given, told in class_names(language).items())
    return {
        "zones": f"CASE {when} ELSE \"class\" END || ': ' || \"buds_per_vine\" || ' ' || {word['word_buds']}",
        "blocks": '"block"',
        "samples": 'round("vine_weight_kg", 2)',
        "flags": "coalesce(\"low_bands\", '-') || ' | ' || coalesce(\"high_bands\", '-')",
        "replant_areas": f"concat(if(\"vines_missing\" > 0, \"vines_missing\" || ' ' || {word['missing']}, ''), "
        "if(\"vines_missing\" > 0 and \"vines_weak\" > 0, ', ', ''), "
        f"if(\"vines_weak\" > 0, \"vines_weak\" || ' ' || {word['weak']}, ''))",
    }.get(layer, "")


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def layer_style(layer: str, table: pd.DataFrame, language: str = "en") -> str:
    """Return the QML text of one layer: symbols, labels and the columns' explanations as aliases."""
    root = ET.Element("qgis", {"version": "3.22.0", "styleCategories": "Symbology|Labeling|Fields"})
    root.append(renderer(layer, table, styled_words(language), class_names(language)[WHOLE_BLOCK]))
    if expression := labels_of(layer, language):
        kind = KINDS[str(GEOMETRIES[layer])]
        root.append(labels(expression, OUTSIDE.get(layer, PLACEMENTS[kind])))
    aliases = ET.SubElement(root, "aliases")
    for index, (name, (_, meaning)) in enumerate(column_words()[layer].items(), start=1):
        ET.SubElement(aliases, "alias", {"index": str(index), "field": name, "name": f"{name}: {meaning}"})
    return "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + ET.tostring(root, encoding="unicode")


def renderer(layer: str, table: pd.DataFrame, spoken: Callable[..., str], whole: str) -> ET.Element:
    """Choose how a layer is drawn; `spoken` says words of legends, `whole` is what a block with one number is called."""
    if layer == "zones":
        plain = [(0, whole, [fill(ZONE_FILLS[0], "solid", 0.5)])]
        zones = [(z, spoken("zone", zone=str(z)), zone_fill(z)) for z in whole_values(table["zone"])]
        return categories(ZONE_CLASS, plain + zones, "fill")
    if layer == "panels":
        values = whole_values(table["buds_per_vine"])
        shades = ramp_colours(len(values))
        marks = [(v, spoken("buds", buds=str(v)), [line(c, 1.2)]) for v, c in zip(values, shades, strict=True)]
        return categories("buds_per_vine", marks, "line")
    if layer == "vines":
        return graduated("vine_size_kg", table["vine_size_kg"], (1.6,) * len(SIZE_RAMP))
    if layer == "samples":
        return graduated("vine_weight_kg", table["vine_weight_kg"], (1.6, 2.2, 2.8, 3.4, 4.0))
    return single(layer)


def single(layer: str) -> ET.Element:
    """Draw a layer with one symbol."""
    parts = {
        "replant_areas": [fill("#ffffff", "no", 0.8), fill(INK, "b_diagonal", 0.0)],
        "blocks": [fill("#ffffff", "no", 0.6)],
        "rows": [line("#8d8577", 0.2)],
        "next_vines": [marker("#ffffff", 3.2, "star")],
        "flags": [marker("#ffffff", 2.6, "square")],
    }[layer]
    root = ET.Element("renderer-v2", {"type": "singleSymbol", "enableorderby": "0", "forceraster": "0"})
    add_symbol(ET.SubElement(root, "symbols"), "0", KINDS[str(GEOMETRIES[layer])], parts)
    return root


def categories(column: str, entries: Sequence[tuple[int, str, list[tuple[str, dict[str, str]]]]], kind: str) -> ET.Element:
    """Draw a layer with one symbol per whole number of a column."""
    root = ET.Element("renderer-v2", {"type": "categorizedSymbol", "attr": column, "enableorderby": "0"})
    listed, symbols = ET.SubElement(root, "categories"), ET.SubElement(root, "symbols")
    for index, (value, label, parts) in enumerate(entries):
        ET.SubElement(
            listed,
            "category",
            {"symbol": str(index), "value": str(value), "type": "long", "label": label, "render": "true"},
        )
        add_symbol(symbols, str(index), kind, parts)
    return root


def graduated(column: str, values: pd.Series, sizes: Sequence[float]) -> ET.Element:
    """Draw points in five classes of equal width between the smallest and largest value."""
    root = ET.Element("renderer-v2", {"type": "graduatedSymbol", "attr": column, "graduatedMethod": "GraduatedColor"})
    ranges, symbols = ET.SubElement(root, "ranges"), ET.SubElement(root, "symbols")
    for index, (lower, upper) in enumerate(size_classes(values)):
        ET.SubElement(
            ranges,
            "range",
            {
                "lower": f"{lower:.6f}",
                "upper": f"{upper:.6f}",
                "symbol": str(index),
                "label": f"{lower:.2f} - {upper:.2f} kg",
                "render": "true",
            },
        )
        add_symbol(symbols, str(index), "marker", [marker(SIZE_RAMP[index], sizes[index])])
    return root


def size_classes(values: pd.Series) -> list[tuple[float, float]]:
    """Return classes of equal width between the smallest and largest value, one for each colour of vine sizes."""
    return list(pairwise(np.linspace(*value_range(values.to_numpy(float)), len(SIZE_RAMP) + 1).tolist()))


def value_range(values: NDArray[np.floating]) -> tuple[float, float]:
    """Return the smallest and the largest finite value, never equal."""
    finite = values[np.isfinite(values)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 1.0)
    return low, high if high > low else low + 0.01


def add_symbol(parent: ET.Element, name: str, kind: str, parts: list[tuple[str, dict[str, str]]]) -> None:
    """Add a symbol of several layers; each setting both as Option and as the older prop."""
    symbol = ET.SubElement(parent, "symbol", {"name": name, "type": kind, "alpha": "1", "clip_to_extent": "1"})
    for class_name, settings in parts:
        layer = ET.SubElement(symbol, "layer", {"class": class_name, "enabled": "1", "pass": "0", "locked": "0"})
        options = ET.SubElement(layer, "Option", {"type": "Map"})
        for key, value in settings.items():
            ET.SubElement(options, "Option", {"name": key, "type": "QString", "value": value})
        for key, value in settings.items():
            ET.SubElement(layer, "prop", {"k": key, "v": value})


def zone_fill(zone: int) -> list[tuple[str, dict[str, str]]]:
    """Return a zone's fill: its colour, and its pattern over it."""
    pattern = ZONE_PATTERNS[min(zone, len(ZONE_PATTERNS)) - 1]
    return [fill(zone_colour(zone), "solid", 0.5), *([fill(INK, pattern, 0.0)] if pattern != "solid" else [])]


def zone_colour(zone: int) -> str:
    """Return a zone's colour."""
    return ZONE_FILLS[min(max(zone, 1), max(ZONE_FILLS))]


def fill(colour: str, style: str, outline_mm: float) -> tuple[str, dict[str, str]]:
    """Describe a polygon fill."""
    outline = {"outline_style": "solid" if outline_mm else "no", "outline_width": f"{outline_mm}"}
    return "SimpleFill", {
        "color": rgba(colour),
        "style": style,
        "outline_color": rgba(INK),
        **outline,
        "outline_width_unit": "MM",
    }


def line(colour: str, width_mm: float) -> tuple[str, dict[str, str]]:
    """Describe a line."""
    return "SimpleLine", {
        "line_color": rgba(colour),
        "line_style": "solid",
        "line_width": f"{width_mm}",
        "line_width_unit": "MM",
    }


def marker(colour: str, size_mm: float, shape: str = "circle") -> tuple[str, dict[str, str]]:
    """Describe a point mark."""
    return "SimpleMarker", {
        "name": shape,
        "color": rgba(colour),
        "outline_color": rgba(INK),
        "outline_width": "0.2",
        "size": f"{size_mm}",
        "size_unit": "MM",
    }


def labels(expression: str, placement: str) -> ET.Element:
    """Label features by an expression over their columns, at one of the GIS's placements, whatever lies on them."""
    root = ET.Element("labeling", {"type": "simple"})
    settings = ET.SubElement(root, "settings", {"calloutType": "simple"})
    style = ET.SubElement(
        settings,
        "text-style",
        {
            "fieldName": expression,
            "isExpression": "1",
            "fontSize": "9",
            "fontSizeUnit": "Point",
            "textColor": rgba(INK),
        },
    )
    ET.SubElement(
        style,
        "text-buffer",
        {"bufferDraw": "1", "bufferSize": "0.8", "bufferSizeUnits": "MM", "bufferColor": "255,255,255,255"},
    )
    ET.SubElement(settings, "placement", {"placement": placement, "centroidInside": "1", "priority": "8"})
    ET.SubElement(settings, "rendering", {"obstacle": "0", "drawLabels": "1"})
    return root


def rgba(colour: str) -> str:
    """Turn "#rrggbb" into "r,g,b,255"."""
    return ",".join(str(int(colour[place : place + 2], 16)) for place in (1, 3, 5)) + ",255"


def ramp_colours(count: int) -> list[str]:
    """Return `count` colours spread over the ramp of vine sizes, leaving out its palest end."""
    return [ramp_color(share) for share in np.linspace(0.25, 1.0, max(count, 1))][:count]


def whole_values(values: pd.Series) -> list[int]:
    """Return the whole numbers that occur, ascending."""
    return sorted({int(v) for v in values.dropna()})
