"""What both pages share: the frame around the map, the plain table and picture for when scripts do not run."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import quote, urlsplit

import shapely

from geoprune import look
from geoprune.brief import BlockBrief
from geoprune.deliver.edition import Style
from geoprune.deliver.maps.picture import draw_picture
from geoprune.deliver.maps.shell import NO_SCRIPT_STYLE, template

#: Pages of a block, by what they are.
LINKS = ("map", "sheet", "pdf", "card", "field", "report")
CAUTIONS = ("caution_each_vine", "caution_safety", "caution_wounds", "caution_local")


def safe_links(given: str | Mapping[str, str]) -> dict[str, str]:
    """Return the links by kind, percent-encoded; anything that leaves the folder is refused."""
    named = {"map": given} if isinstance(given, str) else {kind: given[kind] for kind in LINKS if kind in given}
    for href in named.values():
        parts = urlsplit(href)
        away = parts.scheme or parts.netloc or href.startswith(("/", "\\")) or ".." in href.split("/")
        if away or re.search(r"[\x00-\x1f\\:]", href):
            raise ValueError(f"the link {href!r} is not an address below the estate's folder")
    return {kind: quote(href, safe="/%#?=&-._~") for kind, href in named.items()}


def caution_keys(*, numbered: bool = True) -> list[str]:
    """Return which cautions of the map's words a page shows; where there is no number none is called a guide."""
    return [key for key in CAUTIONS if numbered or key != "caution_each_vine"]


def look_record() -> dict[str, Any]:
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


def frame(brief: BlockBrief, said: Mapping[str, Any], style: Style, *, polygon: shapely.Geometry) -> tuple[str, str]:
    """Return the HTML before and after a block map's element; every name in it is escaped. `said` is `block_words`'s."""
    words = style.reader.words("map")
    keys = ("buds_per_vine", "vines", "area", "vine_size", "recipe")
    return fill_frame(
        "block",
        words,
        name=brief.name,
        stop=said["stop"],
        verdict=said["verdict"] or "",
        heads=[words[key] for key in ("zone", *keys)],
        lines=[[zone["title"], *(zone["figures"][key] for key in keys)] for zone in said["zones"]],
        picture=draw_picture(brief, polygon, reader=style.reader),
        credit=style.credit,
        numbered=brief.numbered,
    )


def fill_frame(
    kind: str, words: Mapping[str, str], *, name: str, credit: str, numbered: bool = True, **plain: Any
) -> tuple[str, str]:
    """Return the two halves of a page's frame: before and after the map's element.

    `numbered` : whether there is a number that may be called a guide.
    """
    before = template("page.html").render(kind=kind, words=words, name=name)
    cautions = [words[key] for key in caution_keys(numbered=numbered)]
    after = template("page_end.html").render(
        kind=kind, words=words, name=name, credit=credit, cautions=cautions, hide=NO_SCRIPT_STYLE, **plain
    )
    return before, after
