"""A block's brief for one reader: what every page is made from."""

from __future__ import annotations

import platform
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from geoprune.brief import BlockBrief
from geoprune.clock import today
from geoprune.layers import Source
from geoprune.words import Reader

if TYPE_CHECKING:
    from geoprune.plan import EstatePlan

#: Paper by name: the sheet as the typesetter and the browser call it, and the pocket card's width and height in points
#: (half a letter page; A6).
PAPERS: dict[str, dict[str, Any]] = {
    "letter": {"sheet": "us-letter", "css": "letter", "card": (396.0, 612.0)},
    "a4": {"sheet": "a4", "css": "A4", "card": (297.64, 419.53)},
}


#: Libraries that make the numbers.
LIBRARIES = ("geoprune", "numpy", "scipy", "pandas", "geopandas", "shapely", "pyproj", "pyogrio", "rasterio")


@dataclass(frozen=True)
class Provenance:
    """Where a run came from: files read, choices made, name of the CRS, library -> version, and what the estate is called.

    `estate` is "" where it is called as its vineyard file, the first that was read.
    """

    sources: tuple[Source, ...] = ()
    options: Any = None
    crs: str = ""
    versions: Mapping[str, str] = field(default_factory=dict)
    estate: str = ""


def provenance_of(estate: EstatePlan) -> Provenance:
    """Return where a run came from."""
    return Provenance(tuple(estate.sources), estate.options, estate.crs.name, versions())


#: What a tile address may ask for in braces: tile, column, row, server, retina.
TILE_KEYS = frozenset({"z", "x", "y", "s", "r"})


def tile_host(background: str) -> str:
    """Return the source expression of a tile URL template for the page's policy.

    Raises
    ------
    ValueError
        If it is not an http(s) URL in plain signs with {z}, {x} and {y} and no other keys than `TILE_KEYS`, or its host
        holds anything but letters, digits, dots, hyphens, a leading "{s}." and a port.
    """
    parts = urlsplit(background)
    host = re.fullmatch(r"(\{s\}\.)?([A-Za-z0-9.-]+)(:[0-9]{1,5})?", parts.netloc)
    tiles = all(mark in parts.path + parts.query for mark in ("{z}", "{x}", "{y}"))
    keys = set(re.findall(r"\{([^{}]*)\}", background))
    plain = re.fullmatch(r"[!-~]+", background) and (not host or not host[3] or 0 < int(host[3][1:]) < 65_536)
    if parts.scheme not in ("http", "https") or not host or not tiles or not plain or not keys <= TILE_KEYS:
        wanted = "https://host/{z}/{x}/{y}.png"
        raise ValueError(f"the background {background!r} is not a tile address such as {wanted} (keys: z, x, y, s, r)")
    return f"{parts.scheme}://{'*.' if host[1] else ''}{host[2]}{host[3] or ''}"


@dataclass(frozen=True)
class Style:
    """How pages are made.

    Parameters
    ----------
    reader : Reader
        Sheets and reports are in this reader's language and units; maps open in them.
    paper : {"letter", "a4"}
    background : str, optional
        Tile address with {z}, {x}, {y} for a picture under the maps. Off by default: with it a map uses the network.
    credit : str
        Who made the background; shown on the maps.
    made : date
        The day on the pages.

    Raises
    ------
    ValueError
        If the paper is unknown, or the background is not a tile address.
    """

    reader: Reader = field(default_factory=Reader)
    paper: str = "letter"
    background: str | None = None
    credit: str = ""
    made: date = field(default_factory=today)

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise ValueError(f"paper {self.paper!r}: {' or '.join(PAPERS)}")
        if self.background is not None:
            tile_host(self.background)


@dataclass(frozen=True, eq=False)
class Edition:
    """One block for one reader. `links` are relative addresses of the block's other pages, by what they are."""

    brief: BlockBrief
    style: Style = field(default_factory=Style)
    links: Mapping[str, str] = field(default_factory=dict)
    provenance: Provenance = field(default_factory=Provenance)

    @property
    def reader(self) -> Reader:
        """Who reads."""
        return self.style.reader


def versions() -> dict[str, str]:
    """Return the versions of Python and of the libraries that make the numbers."""
    found = {"python": platform.python_version()}
    for library in LIBRARIES:
        try:
            found[library] = version(library)
        except PackageNotFoundError:
            found[library] = "not installed"
    return found
