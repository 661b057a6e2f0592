"""Waypoints for a phone or a hand-held receiver: GPX 1.1 and KML 2.2, in walking order, WGS 84."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd

from geoprune.errors import Message
from geoprune.text import clean

GPX = "http://www.topografix.com/GPX/1/1"
KML = "http://www.opengis.net/kml/2.2"
Say = Callable[[Message], str]


def flag_words(line: Any, say: Say) -> tuple[str, str]:
    """Return the name and the sentence of a flagged post."""
    fields = {
        "block": line.block,
        "row": line.row,
        "vine": int(line.after_vine),
        "zone": int(line.zone),
        "bands": int(line.bands),
    }
    key = "writing.flag_post" if line.after_vine else "writing.flag_first_post"
    return f"{line.row}/{int(line.after_vine)} Z{int(line.zone)}", say(Message(key, fields))


def next_vine_words(line: Any, say: Say) -> tuple[str, str]:
    """Return the name and the sentence of a vine worth weighing."""
    fields = {"block": line.block, "row": line.row, "vine": int(line.vine)}
    return f"{line.row}/{int(line.vine)}", say(Message("writing.next_vine", fields))


def waypoints(table: gpd.GeoDataFrame, words: Callable[[Any, Say], tuple[str, str]], say: Say) -> list[tuple]:
    """Return (latitude, longitude, block, name, sentence) per line, in order, to 1e-7 degree."""
    points = table.geometry.to_crs("EPSG:4326")
    return [
        (round(point.y, 7), round(point.x, 7), str(line.block), *words(line, say))
        for line, point in zip(table.itertuples(), points, strict=True)
    ]


def write_gpx(places: list[tuple], path: Path) -> None:
    """Write waypoints as GPX 1.1: a receiver lists them all together, so each name begins with its block."""
    ET.register_namespace("", GPX)
    root = ET.Element(f"{{{GPX}}}gpx", {"version": "1.1", "creator": "geoprune"})
    for latitude, longitude, block, name, sentence in places:
        point = ET.SubElement(root, f"{{{GPX}}}wpt", {"lat": f"{latitude:.7f}", "lon": f"{longitude:.7f}"})
        for tag, text in (("name", f"{block} {name}"), ("cmt", sentence), ("desc", sentence), ("type", block)):
            ET.SubElement(point, f"{{{GPX}}}{tag}").text = clean(text)
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)


def write_kml(places: list[tuple], path: Path) -> None:
    """Write waypoints as KML 2.2, one folder per block."""
    ET.register_namespace("", KML)
    root = ET.Element(f"{{{KML}}}kml")
    document = ET.SubElement(root, f"{{{KML}}}Document")
    folders: dict[str, ET.Element] = {}
    for latitude, longitude, block, name, sentence in places:
        if block not in folders:
            folders[block] = ET.SubElement(document, f"{{{KML}}}Folder")
            ET.SubElement(folders[block], f"{{{KML}}}name").text = clean(block)
        mark = ET.SubElement(folders[block], f"{{{KML}}}Placemark")
        ET.SubElement(mark, f"{{{KML}}}name").text = clean(name)
        snippet = ET.SubElement(mark, f"{{{KML}}}Snippet")
        snippet.text = clean(sentence)
        point = ET.SubElement(mark, f"{{{KML}}}Point")
        ET.SubElement(point, f"{{{KML}}}coordinates").text = f"{longitude:.7f},{latitude:.7f}"
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
