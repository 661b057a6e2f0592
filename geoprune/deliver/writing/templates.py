"""Empty files to begin with: a vineyard ready to be drawn in any GIS, and a workbook for weights with checked cells.

Entries are limited by the GeoPackage schema extension (OGC 12-128r18, F.9): lists of words and ranges of numbers.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import xlsxwriter

from geoprune.deliver.writing.geopackage import SCHEMA_TABLES, SCHEMA_URL, STYLE_TABLE, ensure_extensions, write_layer
from geoprune.deliver.writing.sld import plain_sld
from geoprune.deliver.writing.styles import KINDS, PLACEMENTS, add_symbol, fill, labels, line, marker
from geoprune.errors import Message
from geoprune.layers import Column, columns_of
from geoprune.look import INK
from geoprune.rules import load_rules, load_trainings
from geoprune.units import SUFFIXES
from geoprune.words import say

GEOMETRIES = {
    "blocks": "MultiPolygon",
    "rows": "LineString",
    "vines": "Point",
    "samples": "Point",
    "bud_checks": "Point",
}
#: Colour, size in mm and shape of what is drawn.
SYMBOLS = {
    "blocks": ("#ffffff", 0.8, ""),
    "rows": (INK, 0.4, ""),
    "vines": ("#ffffff", 1.6, "cross"),
    "samples": ("#f4b942", 2.6, "circle"),
    "bud_checks": ("#ffffff", 2.6, "triangle"),
}
#: Units of the templates' columns.
UNITS = {"us": {"length": "ft", "weight": "lb", "cane": "in"}, "metric": {"length": "m", "weight": "kg", "cane": "mm"}}
#: Columns of no use where shapes are drawn, and those that a drawn vineyard seldom needs.
LEFT_OUT = {"blocks": ("row_by_vine",), "samples": ("lon", "lat", "easting", "northing"), "bud_checks": ("lon", "lat")}
LABELS = {"blocks": "block", "rows": "row", "vines": "vine", "samples": "vine"}
#: Lines of the workbook that are made ready.
LINES = 500
SHEET = ("block", "row", "vine", "pruning_weight", "vines_weighed", "canes", "bull_canes", "season", "date", "note")


def template_columns(layer: str) -> list[Column]:
    """Return the columns that a layer of the template has."""
    return [entry for entry in columns_of(layer) if entry.name not in LEFT_OUT.get(layer, ())]


def write_vineyard_template(path: Path, *, crs: str, language: str, units: str) -> None:
    """Write an empty vineyard: layers, columns with their meanings, words and ranges to choose from, styles.

    Parameters
    ----------
    path : Path
        A GeoPackage that does not exist yet.
    crs : str
        CRS of the layers.
    language : str
        Of the meanings.
    units : {"us", "metric"}
        Of the columns.
    """
    for layer, geometry in GEOMETRIES.items():
        write_layer(_empty(layer, crs, units), path, layer, geometry, say(Message(f"check.{layer}"), language, units))
    with closing(sqlite3.connect(path)) as base, base:
        ensure_extensions(base)
        base.executescript(SCHEMA_TABLES + STYLE_TABLE)
        lines = _constraints(units, language)
        base.executemany("INSERT INTO gpkg_data_column_constraints VALUES (?, ?, ?, ?, ?, ?, ?, ?)", lines)
        base.executemany(
            "INSERT INTO gpkg_data_columns (table_name, column_name, name, title, description, constraint_name)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            [
                (layer, _name(entry, units), *_described(entry, units, language))
                for layer in GEOMETRIES
                for entry in template_columns(layer)
            ],
        )
        base.executemany(
            "INSERT INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', ?, 'read-write')",
            [("gpkg_data_columns", SCHEMA_URL), ("gpkg_data_column_constraints", SCHEMA_URL)],
        )
        base.executemany(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column,"
            " styleName, styleQML, styleSLD, useAsDefault, description, owner)"
            " VALUES ('', '', ?, 'geom', ?, ?, ?, 1, '', '')",
            [(layer, layer, _style(layer, units, language), _sld(layer)) for layer in GEOMETRIES],
        )
        base.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, description)"
            " VALUES ('layer_styles', 'attributes', 'layer_styles', 'Styles of the layers')"
        )


def choices(entry: Column) -> list[tuple[str, str]]:
    """Return the words that a column is filled with, each with what it stands for; empty where any text will do."""
    if (entry.layer, entry.name) == ("blocks", "training"):
        return [(name, ", ".join(system.also_called[:2])) for name, system in load_trainings().items()]
    if (entry.layer, entry.name) == ("blocks", "rule"):
        rules = load_rules().rules
        figures = [(text, "") for text in dict.fromkeys(rule.text for rule in rules if "+" in rule.text)]
        return figures + [(rule.id, rule.text) for rule in rules]
    return [(word, "") for word in entry.one_of]


def _name(entry: Column, units: str) -> str:
    return f"{entry.name}_{UNITS[units][entry.kind]}" if entry.units else entry.name


def _meaning(entry: Column, units: str, language: str) -> str:
    return say(Message(f"layers.{entry.layer}_{entry.name}"), language, units)


def _limits(entry: Column, units: str) -> tuple[float, float] | None:
    """Lowest and highest value of a column in its own unit."""
    if entry.limits is None:
        return None
    factor = SUFFIXES[entry.kind][UNITS[units][entry.kind]] if entry.units else 1.0
    return tuple(float(f"{limit / factor:.4g}") for limit in entry.limits)  # type: ignore[return-value]


def _empty(layer: str, crs: str, units: str) -> gpd.GeoDataFrame:
    kinds = {"text": "object", "whole": "Int64"}
    entries = template_columns(layer)
    columns = {_name(entry, units): pd.Series([], dtype=kinds.get(entry.kind, "float64")) for entry in entries}
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries([], crs=crs), crs=crs)


def _constraint(entry: Column, units: str) -> str | None:
    if choices(entry):
        return f"{entry.layer}_{entry.name}"
    return f"{entry.layer}_{_name(entry, units)}" if _limits(entry, units) else None


def _constraints(units: str, language: str) -> list[tuple[Any, ...]]:
    """Lines of the table of constraints: the words of each list, and the range of each number."""
    lines: list[tuple[Any, ...]] = []
    for entry in (entry for layer in GEOMETRIES for entry in template_columns(layer)):
        name, limits = _constraint(entry, units), _limits(entry, units)
        lines += [(name, "enum", word, None, None, None, None, meaning or word) for word, meaning in choices(entry)]
        if limits:
            lines.append((name, "range", None, limits[0], 1, limits[1], 1, _meaning(entry, units, language)))
    return lines


def _described(entry: Column, units: str, language: str) -> tuple[str, str, str, str | None]:
    """Name, title, description and constraint of a column; the name is different for each in its layer."""
    meaning = _meaning(entry, units, language)
    return _name(entry, units), meaning, meaning, _constraint(entry, units)


def _style(layer: str, units: str, language: str) -> str:
    """QML of a layer: one symbol, its names as labels, meanings as aliases, and lists to choose from."""
    geometry = GEOMETRIES[layer]
    root = ET.Element("qgis", {"version": "3.22.0", "styleCategories": "Symbology|Labeling|Fields|Forms"})
    renderer = ET.SubElement(root, "renderer-v2", {"type": "singleSymbol", "enableorderby": "0", "forceraster": "0"})
    colour, size_mm, mark = SYMBOLS[layer]
    kind = KINDS[geometry]
    symbol = {
        "fill": fill(colour, "no", size_mm),
        "line": line(colour, size_mm),
        "marker": marker(colour, size_mm, mark),
    }[kind]
    add_symbol(ET.SubElement(renderer, "symbols"), "0", kind, [symbol])
    if layer in LABELS:
        root.append(labels(f'"{LABELS[layer]}"', PLACEMENTS[kind]))
    fields, aliases = ET.SubElement(root, "fieldConfiguration"), ET.SubElement(root, "aliases")
    for index, entry in enumerate(template_columns(layer), start=1):
        name = _name(entry, units)
        alias = f"{name}: {_meaning(entry, units, language)}"
        ET.SubElement(aliases, "alias", {"index": str(index), "field": name, "name": alias})
        if words := choices(entry):
            _list_widget(ET.SubElement(fields, "field", {"name": name}), words)
    return "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + ET.tostring(root, encoding="unicode")


def _sld(layer: str) -> str:
    """The same symbol and labels for other programs."""
    colour, size_mm, mark = SYMBOLS[layer]
    return plain_sld(layer, KINDS[GEOMETRIES[layer]], colour, size_mm, mark=mark, label=LABELS.get(layer, ""))


def _list_widget(field: ET.Element, words: list[tuple[str, str]]) -> None:
    """A list to choose from, and nothing where there is nothing to choose."""
    widget = ET.SubElement(field, "editWidget", {"type": "ValueMap"})
    options = ET.SubElement(ET.SubElement(widget, "config"), "Option", {"type": "Map"})
    listed = ET.SubElement(options, "Option", {"name": "map", "type": "List"})
    for word, meaning in words:
        one = ET.SubElement(listed, "Option", {"type": "Map"})
        ET.SubElement(one, "Option", {"name": f"{word} ({meaning})" if meaning else word, "type": "QString", "value": word})


def write_weights_template(path: Path, *, language: str, units: str) -> None:
    """Write a workbook for weights: its columns with their meanings, and cells that take only what can be."""
    entries = [entry for name in SHEET for entry in columns_of("samples") if entry.name == name]
    with xlsxwriter.Workbook(str(path), {"in_memory": True}) as book:
        head = book.add_format({"bold": True, "bottom": 1, "bg_color": "#f3efe6"})
        text, day = book.add_format({"num_format": "@"}), book.add_format({"num_format": "yyyy-mm-dd"})
        sheet = book.add_worksheet("samples")
        sheet.freeze_panes(1, 0)
        for column, entry in enumerate(entries):
            name, meaning = _name(entry, units), _meaning(entry, units, language)
            sheet.write_string(0, column, name, head)
            sheet.write_comment(0, column, meaning)
            sheet.set_column(
                column, column, max(len(name) + 2, 9), {"row": text, "block": text, "date": day}.get(entry.name)
            )
            if entry.name == "date":
                rule: dict[str, Any] = {"validate": "any"}
            elif entry.kind == "text":
                rule = {"validate": "length", "criteria": "<=", "value": 200}
            else:
                low, high = _limits(entry, units) or (0.0, 1e6)
                kind = "integer" if entry.kind == "whole" else "decimal"
                rule = {"validate": kind, "criteria": "between", "minimum": low, "maximum": high}
            more = {f"{when}_title": name[:32] for when in ("input", "error")}
            more |= {f"{when}_message": meaning[:255] for when in ("input", "error")}
            sheet.data_validation(1, column, LINES, column, rule | more)
        notes = book.add_worksheet(say(Message("new.sheet"), language, units))
        notes.set_column(0, 0, 24)
        notes.set_column(1, 1, 90)
        for place, entry in enumerate(entries):
            notes.write_string(place, 0, _name(entry, units), head)
            notes.write_string(place, 1, _meaning(entry, units, language))
