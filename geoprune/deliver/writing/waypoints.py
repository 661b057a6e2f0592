"""Waypoints for a phone or a hand-held receiver: GPX 1.1 and KML 2.2, in walking order, WGS 84."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import pandas as pd
import shapely

from geoprune.errors import Message
from geoprune.signs import READ_SIGNS, short_place, short_sign, sign_message
from geoprune.text import clean

GPX = "http://www.topografix.com/GPX/1/1"
KML = "http://www.opengis.net/kml/2.2"
Say = Callable[[Message], str]
#: Gives the name and the sentence of a line of a table.
Words = Callable[[Any, Say], tuple[str, str]]


def flag_words(line: Any, say: Say, *, surveyed: Container[str] = ()) -> tuple[str, str]:
    """Return the name of a post with tape, and of which block it is, what hangs there and how it is read.

    `surveyed`: blocks whose posts have numbers.
    """
    sign = sign_message(line, surveyed=line.block in surveyed)
    return short_sign(line), f"{line.block}: {say(sign)} {say(READ_SIGNS)}"


def next_vine_words(line: Any, say: Say) -> tuple[str, str]:
    """Return the name and the sentence of a vine worth weighing."""
    fields = {"block": line.block, "row": line.row, "vine": int(line.vine)}
    return short_place(line.row, line.vine), say(Message("writing.next_vine", fields))


def waypoints(table: gpd.GeoDataFrame, words: Words, say: Say) -> list[tuple]:
    """Return (latitude, longitude, block, name, sentence) per line, in order, to 1e-7 degree."""
    points = shapely.get_coordinates(table.geometry.to_crs("EPSG:4326").to_numpy()).tolist()
    lines = pd.DataFrame(table.drop(columns="geometry")).itertuples()
    return [
        (round(latitude, 7), round(longitude, 7), str(line.block), *words(line, say))
        for line, (longitude, latitude) in zip(lines, points, strict=True)
    ]


def gpx_part(places: list[tuple]) -> str:
    """Return waypoints as elements of GPX 1.1: a receiver lists them all together, so each name begins with its block."""
    points = []
    for latitude, longitude, block, name, sentence in places:
        point = ET.Element("wpt", {"lat": f"{latitude:.7f}", "lon": f"{longitude:.7f}"})
        for tag, text in (("name", f"{block} {name}"), ("cmt", sentence), ("desc", sentence), ("type", block)):
            ET.SubElement(point, tag).text = clean(text)
        points.append(ET.tostring(point, encoding="unicode"))
    return "".join(points)


def kml_part(places: list[tuple]) -> str:
    """Return waypoints as elements of KML 2.2, one folder per block."""
    folders: dict[str, ET.Element] = {}
    for latitude, longitude, block, name, sentence in places:
        if block not in folders:
            folders[block] = ET.Element("Folder")
            ET.SubElement(folders[block], "name").text = clean(block)
        mark = ET.SubElement(folders[block], "Placemark")
        ET.SubElement(mark, "name").text = clean(name)
        ET.SubElement(mark, "Snippet").text = clean(sentence)
        point = ET.SubElement(mark, "Point")
        ET.SubElement(point, "coordinates").text = f"{longitude:.7f},{latitude:.7f}"
    return "".join(ET.tostring(folder, encoding="unicode") for folder in folders.values())


def parts_of(places: list[tuple]) -> dict[str, str]:
    """Return waypoints as elements of each format: "gpx", "kml"."""
    return {"gpx": gpx_part(places), "kml": kml_part(places)}


#: What stands before and behind the elements of a file.
AROUND = {
    "gpx": (f'<gpx xmlns="{GPX}" version="1.1" creator="geoprune">', "</gpx>"),
    "kml": (f'<kml xmlns="{KML}"><Document>', "</Document></kml>"),
}


def write_parts(parts: Iterable[str], path: Path) -> None:
    """Write a file of waypoints from elements, as `parts_of` gives them; its ending says the format."""
    before, behind = AROUND[path.suffix[1:]]
    with path.open("w", encoding="utf-8", errors="xmlcharrefreplace", newline="") as target:
        target.write(f"<?xml version='1.0' encoding='utf-8'?>\n{before}")
        for part in parts:
            target.write(part)
        target.write(behind)


def write_gpx(places: list[tuple], path: Path) -> None:
    """Write waypoints as GPX 1.1."""
    write_parts([gpx_part(places)], path)


def write_kml(places: list[tuple], path: Path) -> None:
    """Write waypoints as KML 2.2."""
    write_parts([kml_part(places)], path)
