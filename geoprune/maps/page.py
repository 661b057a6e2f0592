"""What both pages share: the frame around the map, the plain table and picture for when scripts do not run."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import cache
from typing import Any
from urllib.parse import quote, urlsplit

import geopandas as gpd
import shapely
from jinja2 import Environment, StrictUndefined, Template

from geoprune import look
from geoprune.maps.ground import plain_count
from geoprune.maps.picture import draw_picture
from geoprune.maps.shell import asset, tile_host
from geoprune.maps.telling import page_words
from geoprune.words import UNITS, figure

#: Pages of a block, by what they are.
LINKS = ("map", "sheet", "pdf", "card", "report")
CAUTIONS = ("caution_each_vine", "caution_safety", "caution_wounds", "caution_local")


def check_choices(language: str, units: str, background: str | None) -> None:
    """Raise ValueError where a language, unit system or background cannot be used."""
    if language not in page_words():
        raise ValueError(f"no word list for language {language!r}: {', '.join(page_words())}")
    if units not in UNITS:
        raise ValueError(f"units {units!r}: {' or '.join(UNITS)}")
    if background is not None:
        tile_host(background)


def safe_links(given: str | Mapping[str, str]) -> dict[str, str]:
    """Return the links by kind, percent-encoded; anything that leaves the folder is refused."""
    named = {"map": given} if isinstance(given, str) else {kind: given[kind] for kind in LINKS if kind in given}
    for href in named.values():
        parts = urlsplit(href)
        away = parts.scheme or parts.netloc or href.startswith(("/", "\\")) or ".." in href.split("/")
        if away or re.search(r"[\x00-\x1f\\:]", href):
            raise ValueError(f"the link {href!r} is not an address below the estate's folder")
    return {kind: quote(href, safe="/%#?=&-._~") for kind, href in named.items()}


def look_told() -> dict[str, Any]:
    """Return colours, patterns and fonts as the page's script takes them."""
    return {
        "ink": look.INK,
        "paper": look.PAPER,
        "alarm": look.ALARM,
        "serif": look.SERIF,
        "sans": look.SANS,
        "size_ramp": look.SIZE_RAMP,
        "error_ramp": look.ERROR_RAMP,
        "bull_ramp": look.BULL_RAMP,
        "injury_ramp": look.INJURY_RAMP,
        "fills": look.ZONE_FILLS,
        "patterns": look.ZONE_PATTERNS,
        "pattern_inks": look.ZONE_PATTERN_INKS,
    }


@cache
def _template(name: str) -> Template:
    return Environment(autoescape=True, undefined=StrictUndefined).from_string(asset(name))


def frame(
    kind: str,
    told: dict[str, Any],
    zones: gpd.GeoDataFrame,
    *,
    language: str,
    units: str,
    credit: str,
    polygon: shapely.Geometry,
) -> tuple[str, str]:
    """Return the HTML before and after a block map's element; every name in it is escaped."""
    words = page_words()[language]
    said = told["said"][language][units]
    fields = {"buds": plain_count(told["buds"]), "zones": len(told["zones"])}
    keys = ("zone", "buds_per_vine", "vines", "area", "vine_size", "recipe")
    return fill_frame(
        kind,
        words,
        name=told["name"],
        stop=said["stop"],
        verdict="" if told["headline"] == "stop" else words[f"verdict_{told['headline']}"].format_map(fields),
        heads=[words[key] for key in keys],
        lines=[_plain_line(zone, words, language, units, said["recipes"]) for zone in told["zones"]],
        picture=draw_picture(zones, polygon, words=words),
        credit=credit,
    )


def fill_frame(kind: str, words: dict[str, str], *, name: str, credit: str, **plain: Any) -> tuple[str, str]:
    """Return the two halves of a page's frame: before and after the map's element."""
    before = _template("page.html").render(kind=kind, words=words, name=name)
    cautions = [words[key] for key in CAUTIONS]
    after = _template("page_end.html").render(words=words, name=name, credit=credit, cautions=cautions, **plain)
    return before, after


def _plain_line(
    zone: dict[str, Any], words: dict[str, str], language: str, units: str, recipes: dict[int, str]
) -> list[str]:
    kind = words.get("class_" + str(zone["class"]).replace(" ", "_"), str(zone["class"]))
    return [
        f"{zone['zone']} · {zone['name'] or kind}",
        plain_count(zone["buds_per_vine"], words["stop_word"]),
        str(zone["vines"]),
        plain_figure("area_ha", zone["area_ha"], language, units),
        plain_figure("vine_size_kg", zone["vine_size_kg"], language, units),
        recipes[zone["zone"]] or "–",
    ]


def plain_figure(name: str, value: float | None, language: str, units: str) -> str:
    """Return `words.figure`; a dash where the value is unknown."""
    return figure(name, math.nan if value is None else value, language, units)
