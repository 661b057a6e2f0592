"""Layer styles for every other GIS, as OGC Styled Layer Descriptor 1.0.0 (OGC 02-070), which most of them read.

What the desktop GIS's own style shows is shown here with that standard's means: its six marks, and pixels of 0.28 mm. Areas
have plain fills: patterns of marks are drawn by some readers without the colour below them. Zones are told apart by
lightness and by the words of their labels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import pandas as pd

from geoprune.deliver.writing.styles import (
    WHOLE_BLOCK,
    class_names,
    ramp_colours,
    size_classes,
    styled_words,
    whole_values,
    zone_colour,
)
from geoprune.look import INK, SIZE_RAMP, ZONE_FILLS

SLD, OGC = "http://www.opengis.net/sld", "http://www.opengis.net/ogc"
#: The size of a pixel that the standard goes by (OGC 02-070, 10.2), mm.
PIXEL_MM = 0.28
#: Keeps a word of a label apart from its number where a reader drops blanks at the ends of texts.
BLANK = "\u00a0"
for _prefix, _space in (("sld", SLD), ("ogc", OGC)):
    ET.register_namespace(_prefix, _space)


@dataclass(frozen=True)
class Rule:
    """One entry of a legend: its name, which features it is for (None for all), and how they are drawn."""

    title: str
    which: ET.Element | None
    symbols: tuple[ET.Element, ...]


def layer_sld(layer: str, table: pd.DataFrame, language: str = "en") -> str:
    """Return the style of a layer as text.

    Parameters
    ----------
    layer : str
        Name of a layer that has a geometry.
    table : DataFrame
        The values that its style depends on (`styles.message_values`).
    language : str
        Of legends and labels.
    """
    return _document(layer, _rules(layer, table, language))


def plain_sld(layer: str, kind: str, colour: str, size_mm: float, *, mark: str = "circle", label: str = "") -> str:
    """Return the style of a layer to draw in: one symbol, and a column as label ("" for none).

    Parameters
    ----------
    kind : {"fill", "line", "marker"}
    size_mm : float
        Width of the outline or line, or size of the mark.
    """
    symbol = {
        "fill": lambda: _polygon(None, size_mm),
        "line": lambda: _line(colour, size_mm),
        "marker": lambda: _point(colour, size_mm, mark),
    }[kind]()
    named = (_text(label),) if label else ()
    return _document(layer, [Rule(layer.replace("_", " "), None, (symbol, *named))])


def _document(layer: str, rules: Sequence[Rule]) -> str:
    root = ET.Element(_sld("StyledLayerDescriptor"), {"version": "1.0.0"})
    named = ET.SubElement(root, _sld("NamedLayer"))
    ET.SubElement(named, _sld("Name")).text = layer
    style = ET.SubElement(named, _sld("UserStyle"))
    ET.SubElement(style, _sld("Name")).text = layer
    ET.SubElement(style, _sld("IsDefault")).text = "1"
    listed = ET.SubElement(style, _sld("FeatureTypeStyle"))
    for rule in rules:
        listed.append(_rule(rule))
    return "<?xml version='1.0' encoding='UTF-8'?>\n" + ET.tostring(root, encoding="unicode")


def _rules(layer: str, table: pd.DataFrame, language: str) -> list[Rule]:
    """How a layer is drawn, labels with their symbols: a rule of labels alone makes some readers take areas for points."""
    spoken = styled_words(language)
    if layer == "zones":
        return _zone_rules(whole_values(table["zone"]), language)
    if layer == "panels":
        values = whole_values(table["buds_per_vine"])
        shades = ramp_colours(len(values))
        return [
            Rule(spoken("buds", buds=str(value)), _is("buds_per_vine", str(value)), (_line(shade, 1.2),))
            for value, shade in zip(values, shades, strict=True)
        ]
    if layer == "vines":
        return _size_rules("vine_size_kg", table, grown_mm=0.0, symbols=())
    if layer == "samples":
        return _size_rules("vine_weight_kg", table, grown_mm=0.6, symbols=(_text("vine_weight_kg", below=True),))
    if layer == "replant_areas":
        return _replant_rules(spoken)
    symbols = {
        "blocks": (_polygon(None, 0.6), _text("block")),
        "rows": (_line("#8d8577", 0.2),),
        "next_vines": (_point("#ffffff", 3.2, "star"),),
        "flags": (_point("#ffffff", 2.6, "square"), _text("low_bands", f"{BLANK}|{BLANK}", "high_bands", below=True)),
    }[layer]
    return [Rule(layer.replace("_", " "), None, symbols)]


def _zone_rules(zones: Sequence[int], language: str) -> list[Rule]:
    """Zones with their class and number; a zone without a number has no label.

    The class is a word of the layer, which is English: in another language the zone's number stands in its place.
    """
    spoken, names = styled_words(language), class_names(language)
    whole, number = _is("class", WHOLE_BLOCK), _more("buds_per_vine", "0")
    kinds = [(names[WHOLE_BLOCK], whole, ZONE_FILLS[0])]
    kinds += [
        (spoken("zone", zone=str(zone)), _both(_not(whole), _is("zone", str(zone))), zone_colour(zone)) for zone in zones
    ]
    first = "class" if names[WHOLE_BLOCK] == WHOLE_BLOCK else "zone"
    label = _text(first, f":{BLANK}", "buds_per_vine", f"{BLANK}{spoken('word_buds')}")
    return [
        rule
        for title, which, colour in kinds
        for rule in (
            Rule(title, _both(which, number), (_polygon(colour, 0.5), label)),
            Rule(spoken("no_number", zone=title), _both(which, _not(number)), (_polygon(colour, 0.5),)),
        )
    ]


def _size_rules(column: str, table: pd.DataFrame, *, grown_mm: float, symbols: tuple[ET.Element, ...]) -> list[Rule]:
    """Points by their size in classes; larger ones `grown_mm` larger from class to class."""
    rules, classes = [], size_classes(table[column])
    for place, (low, high) in enumerate(classes):
        last = "OrEqualTo" if place == len(classes) - 1 else ""
        from_low = _compared("PropertyIsGreaterThanOrEqualTo", column, f"{low:.6f}")
        to_high = _compared(f"PropertyIsLessThan{last}", column, f"{high:.6f}")
        drawn = _point(SIZE_RAMP[place], 1.6 + grown_mm * place)
        rules.append(Rule(f"{low:.2f} - {high:.2f} kg", _both(from_low, to_high), (drawn, *symbols)))
    return rules


def _replant_rules(spoken: Callable[..., str]) -> list[Rule]:
    """Areas to replant, labelled by what they count."""
    missing, weak = _more("vines_missing", "0"), _more("vines_weak", "0")
    lacking, small = f"{BLANK}{spoken('missing')}", f"{BLANK}{spoken('weak')}"
    labels = {
        "missing": (_both(missing, _not(weak)), ("vines_missing", lacking)),
        "weak": (_both(weak, _not(missing)), ("vines_weak", small)),
        "both": (_both(missing, weak), ("vines_missing", f"{lacking},{BLANK}", "vines_weak", small)),
    }
    drawn = _polygon(None, 0.8, dashed=True)
    rules = [Rule(spoken(key), which, (drawn, _text(*pieces, below=True))) for key, (which, pieces) in labels.items()]
    return [*rules, Rule(spoken("others"), _both(_not(missing), _not(weak)), (drawn,))]


def _rule(rule: Rule) -> ET.Element:
    element = ET.Element(_sld("Rule"))
    ET.SubElement(element, _sld("Name")).text = rule.title
    ET.SubElement(element, _sld("Title")).text = rule.title
    if rule.which is not None:
        ET.SubElement(element, _ogc("Filter")).append(rule.which)
    element.extend(rule.symbols)
    return element


def _polygon(colour: str | None, outline_mm: float, *, dashed: bool = False) -> ET.Element:
    element = ET.Element(_sld("PolygonSymbolizer"))
    if colour is not None:
        element.append(_fill(colour))
    element.append(_stroke(INK, outline_mm, dashed=dashed))
    return element


def _line(colour: str, width_mm: float) -> ET.Element:
    element = ET.Element(_sld("LineSymbolizer"))
    element.append(_stroke(colour, width_mm))
    return element


def _point(colour: str, size_mm: float, mark: str = "circle") -> ET.Element:
    element = ET.Element(_sld("PointSymbolizer"))
    element.append(_graphic(colour, size_mm, mark))
    return element


def _graphic(colour: str, size_mm: float, mark: str) -> ET.Element:
    element = ET.Element(_sld("Graphic"))
    drawn = ET.SubElement(element, _sld("Mark"))
    ET.SubElement(drawn, _sld("WellKnownName")).text = mark
    drawn.extend((_fill(colour), _stroke(INK, 0.2)))
    ET.SubElement(element, _sld("Size")).text = _pixels(size_mm)
    return element


def _fill(colour: str) -> ET.Element:
    return _parameters("Fill", {"fill": colour})


def _stroke(colour: str, width_mm: float, *, dashed: bool = False) -> ET.Element:
    dashes = {"stroke-dasharray": "8 4"} if dashed else {}
    return _parameters("Stroke", {"stroke": colour, "stroke-width": _pixels(width_mm), **dashes})


def _text(*pieces: str, below: bool = False) -> ET.Element:
    """A label of columns and the words between them, in turn; in the middle of its feature, or below that."""
    element = ET.Element(_sld("TextSymbolizer"))
    label = ET.SubElement(element, _sld("Label"))
    last = label
    for place, piece in enumerate(pieces):
        if place % 2:
            last.tail = piece
        else:
            last = ET.SubElement(label, _ogc("PropertyName"))
            last.text = piece
    element.append(_parameters("Font", {"font-family": "SansSerif", "font-size": "12"}))
    point = ET.SubElement(ET.SubElement(element, _sld("LabelPlacement")), _sld("PointPlacement"))
    for kind, across, along in (("AnchorPoint", "0.5", "0.5"), ("Displacement", "0", "-18" if below else "0")):
        parent = ET.SubElement(point, _sld(kind))
        ET.SubElement(parent, _sld(f"{kind}X")).text = across
        ET.SubElement(parent, _sld(f"{kind}Y")).text = along
    halo = ET.SubElement(element, _sld("Halo"))
    ET.SubElement(halo, _sld("Radius")).text = "2"
    halo.append(_fill("#ffffff"))
    element.append(_fill(INK))
    return element


def _parameters(name: str, values: dict[str, str]) -> ET.Element:
    element = ET.Element(_sld(name))
    for key, value in values.items():
        ET.SubElement(element, _sld("CssParameter"), {"name": key}).text = value
    return element


def _compared(operator: str, column: str, value: str) -> ET.Element:
    element = ET.Element(_ogc(operator))
    ET.SubElement(element, _ogc("PropertyName")).text = column
    ET.SubElement(element, _ogc("Literal")).text = value
    return element


def _is(column: str, value: str) -> ET.Element:
    return _compared("PropertyIsEqualTo", column, value)


def _more(column: str, value: str) -> ET.Element:
    return _compared("PropertyIsGreaterThan", column, value)


def _not(inner: ET.Element) -> ET.Element:
    return _holding("Not", [inner])


def _both(first: ET.Element, second: ET.Element) -> ET.Element:
    return _holding("And", [first, second])


def _holding(name: str, inner: Sequence[ET.Element]) -> ET.Element:
    element = ET.Element(_ogc(name))
    element.extend(inner)
    return element


def _pixels(millimetres: float) -> str:
    return f"{millimetres / PIXEL_MM:.1f}"


def _sld(name: str) -> str:
    return f"{{{SLD}}}{name}"


def _ogc(name: str) -> str:
    return f"{{{OGC}}}{name}"
