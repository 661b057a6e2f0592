"""Layers of a GeoPackage, GeoJSON, zipped Shapefile, KML, GPX, FlatGeobuf or GeoParquet as raw tables."""

from __future__ import annotations

import mmap
import re
import sqlite3
import warnings
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyproj import CRS
from shapely import force_2d
from shapely.errors import ShapelyError

from geoprune.layers import LAYERS
from geoprune.reading.columns import RawTable, clean_names, headers_of, name_text
from geoprune.reading.faults import Faults
from geoprune.reading.inside import (
    Member,
    archive_of,
    check_declared_crs,
    check_geopackage_layer,
    geopackage_layers,
    members_of,
    unpacked,
)
from geoprune.reading.marks import weights_of_marks
from geoprune.sources import Unfit, plain_path
from geoprune.text import few

#: Layers that may be plain tables: row and vine are a place.
WITHOUT_SHAPES = ("samples",)
ENDINGS = {
    ".gpkg": "GeoPackage",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".zip": "zipped Shapefile or GeoJSON files",
    ".kml": "KML",
    ".kmz": "KML",
    ".gpx": "GPX",
    ".fgb": "FlatGeobuf",
    ".parquet": "GeoParquet",
    ".geoparquet": "GeoParquet",
}
PARQUET = (".parquet", ".geoparquet")
#: A GeoParquet file may grow to so much when it is unpacked, and have so many columns (design choices).
LARGEST_PARQUET, MOST_PARQUET_COLUMNS = 2_000_000_000, 2000
#: Formats of marked points, whose names and descriptions people write into.
MARKS = (".gpx", ".kml", ".kmz")
OpenedLayer = tuple[gpd.GeoDataFrame, bool]
Choose = Callable[[list[str]], list[str]]
#: JSON is opened as GeoJSON and nothing else: other kinds of it can name any file or address.
ONE_DRIVER = "GeoJSON:"
#: What may stand before the first element of an XML file.
XML_BEFORE_ROOT = re.compile(rb"\A(?:\s+|<\?.*?\?>|<!--.*?-->)*", re.DOTALL)
#: The name under which a file lies in our own folder, as libraries report it.
PRIVATE_NAME = re.compile(r"\S*geoprune-\w+\.in/(?:source|document|layer\d+)\.\w+")
#: What a library calls a fault before it says what it is.
KIND_OF_ERROR = re.compile(r"^\w*(?:Exception|Error): ")
#: What a file that is damaged, or of another kind, makes the readers raise.
UNREADABLE = (RuntimeError, OSError, ValueError, KeyError, TypeError, sqlite3.Error, ShapelyError)
#: First bytes of the files read from a zip.
MEMBER_HEADS = {".shp": b"\x00\x00\x27\x0a", ".geojson": b"{", ".json": b"{"}
#: Columns that readers of KML add by themselves.
KML_OWN = frozenset(
    (
        *("id", "description", "timestamp", "begin", "end", "icon", "snippet"),
        *("altitudemode", "tessellate", "extrude", "visibility", "draworder"),
    )
)


def read_layers(path: Path, faults: Faults, called: Mapping[str, str] = MappingProxyType({})) -> dict[str, RawTable]:
    """Read the layers of a vector file that geoprune knows; others are not opened.

    Parameters
    ----------
    path : Path
        GeoPackage, GeoJSON (one layer, or a property `layer` on each feature), zip of Shapefiles or GeoJSON files
        (layer = file name), KML or KMZ (layer = folder).
    faults : Faults
        Where problems and remarks are noted.
    called : mapping, optional
        Layer -> what it is called in the file.

    Returns
    -------
    dict
        Layer name -> raw table; empty when the file cannot be read (the problem is noted).
    """
    ours = {_folded(name): layer for layer, name in called.items()}

    def known_as(name: str) -> str:
        return ours.get(_folded(name), name)

    def choose(names: list[str]) -> list[str]:
        folded = {_folded(name) for name in names}
        for name, layer in ours.items():
            if name not in folded:
                faults.add(f"there is no layer '{called[layer]}'", f"Correct [layers] in the settings ({few(names)})")
        known = [name for name in names if _folded(known_as(name)) in LAYERS]
        if known or len(names) == 1:
            return known or names
        faults.add(f"no known layer (found: {few(map(str, names))})", f"Name the layers {', '.join(LAYERS)}")
        return []

    found = open_layers(path, faults, choose=choose)
    return _named_as_known({known_as(name): layer for name, layer in found.items()}, path, faults)


def layer_names(path: Path) -> list[str]:
    """Return the names of a file's layers as they are; empty where it cannot be read."""
    found: list[str] = []

    def note(names: list[str]) -> list[str]:
        found.extend(names)
        return []

    open_layers(path, Faults(path.name), choose=note)
    return found


def open_layers(path: Path, faults: Faults, *, choose: Choose = list, tables: bool = False) -> dict[str, OpenedLayer]:
    """Open layers of a vector file as they are.

    Parameters
    ----------
    path : Path
    faults : Faults
        Where problems are noted.
    choose : callable
        Gets the names of the layers there are, and returns those to read.
    tables : bool
        Offer every layer without shapes too.

    Returns
    -------
    dict
        Layer name -> table, and whether its column names were cut to ten letters; empty when the file cannot be read.
    """
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        hint = (
            "Zip the .shp together with its .dbf, .shx and .prj" if ending == ".shp" else f"Give one of {', '.join(ENDINGS)}"
        )
        faults.add(f"files ending in '{ending}' are not read", hint)
        return {}
    try:
        with warnings.catch_warnings(), plain_path(path) as plain:
            warnings.simplefilter("ignore", RuntimeWarning)  # GDAL's remarks on the file; what matters is checked below
            return _open(plain, path.stem, faults, choose, tables) if _plausible(plain, faults) else {}
    except Unfit as error:
        faults.add(error.what, error.mend)
    except (*UNREADABLE, MemoryError) as error:
        reason = " ".join(str(error).split()) or "it does not fit into the memory"
        reason = KIND_OF_ERROR.sub("", PRIVATE_NAME.sub(path.name.replace("\\", ""), reason))[:160]
        faults.add(f"the file cannot be read ({reason})", "Save it again, best as a GeoPackage")
    return {}


def _plausible(path: Path, faults: Faults) -> bool:
    """Compare what a file's ending says with its first bytes."""
    ending = path.suffix
    with path.open("rb") as file:
        head = file.read(4096)
    if not head.strip():
        faults.add("the file is empty", "Give a file with data")
        return False
    text = head.lstrip(b"\xef\xbb\xbf").lstrip()
    fits = {
        ".gpkg": head.startswith(b"SQLite format 3\x00"),
        ".zip": head.startswith(b"PK"),
        ".kmz": head.startswith(b"PK"),
        ".kml": XML_BEFORE_ROOT.sub(b"", text).startswith(b"<kml"),
        ".gpx": XML_BEFORE_ROOT.sub(b"", text).startswith(b"<gpx"),
        ".fgb": head.startswith(b"fgb"),
        **dict.fromkeys(PARQUET, head.startswith(b"PAR1")),
    }.get(ending, text.startswith(b"{"))
    if not fits:
        faults.add(f"the file is not what its ending {ending} says", f"Save it again as {ENDINGS[ending]}")
    return fits


def _open(path: Path, stem: str, faults: Faults, choose: Choose, tables: bool) -> dict[str, OpenedLayer]:
    """Open a file that lies under a plain name in a folder of ours."""
    if path.suffix == ".zip":
        return _open_zip(path, faults, choose)
    if path.suffix in (".geojson", ".json"):
        return _split(_open_json(path), stem, choose)
    if path.suffix in PARQUET:
        return _split(_open_parquet(path), stem, choose)
    if path.suffix == ".gpkg":
        shaped = geopackage_layers(path)
    else:
        path = _kml_inside(path) if path.suffix == ".kmz" else path
        if path.suffix in (".kml", ".gpx"):
            _check_entities(path)
        shaped = {str(name): kind is not None for name, kind in pyogrio.list_layers(path)}
    if path.suffix == ".gpx":
        shaped = {name: shapes for name, shapes in shaped.items() if name == "waypoints"}
    names = [name for name, shapes in shaped.items() if shapes or tables or _folded(name) in WITHOUT_SHAPES]
    if not names:
        faults.add("there is no layer with shapes in it", f"Name the layers {', '.join(LAYERS)}")
    return {name: (_open_layer(path, name), False) for name in (choose(names) if names else ())}


def _open_layer(path: Path, layer: str) -> gpd.GeoDataFrame:
    """A layer; a GeoPackage itself is opened as one that nobody changes, a copy of it may be mended."""
    if path.suffix == ".gpkg":
        check_geopackage_layer(path, layer)
    return gpd.read_file(path, layer=layer, **({"IMMUTABLE": "YES"} if path.suffix == ".gpkg" and path.is_symlink() else {}))


def _open_json(path: Path) -> gpd.GeoDataFrame:
    check_declared_crs(path)
    return gpd.read_file(f"{ONE_DRIVER}{path}")


def _open_parquet(path: Path) -> gpd.GeoDataFrame:
    """A GeoParquet file, whose sizes are looked at before it is unpacked."""
    try:
        from pyarrow.parquet import ParquetFile
    except ImportError:
        mend = "Install it with: pip install 'geoprune[parquet]'"
        raise Unfit(path, "GeoParquet files need the package pyarrow", mend) from None
    with ParquetFile(path) as file:
        about = file.metadata
        size = sum(about.row_group(place).total_byte_size for place in range(about.num_row_groups))
    if size > LARGEST_PARQUET or about.num_columns > MOST_PARQUET_COLUMNS:
        raise ValueError(f"{size / 1e6:.0f} MB in {about.num_columns} columns when unpacked")
    if b"geo" not in (about.metadata or {}):
        raise ValueError("it holds no shapes")
    return gpd.read_parquet(path)


def _open_zip(path: Path, faults: Faults, choose: Choose) -> dict[str, OpenedLayer]:
    """Layers in a zip: those members are unpacked beside it that are to be read, and what belongs to them."""
    with archive_of(path) as archive:
        found: dict[str, Member] = {}
        for member in members_of(archive, (".shp", ".geojson", ".json")):
            if member.name.stem in found:
                faults.add(f"two files in the zip are called '{member.name.stem}'", "Keep one of the two")
            found[member.name.stem] = member
        if not found:
            faults.add("there is no .shp or .geojson file in the zip", "Zip the files themselves, with all their parts")
            return {}
        layers = {}
        for number, name in enumerate(choose(list(found))):
            file = unpacked(archive, found[name], path.parent / f"layer{number}")
            with file.open("rb") as opened:
                if not opened.read(4096).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(MEMBER_HEADS[file.suffix]):
                    raise ValueError(f"{found[name].name} is not what its ending says")
            shape = file.suffix == ".shp"
            layers[name] = (gpd.read_file(file) if shape else _open_json(file), shape)
    return layers


def _kml_inside(path: Path) -> Path:
    """The first KML document in a KMZ, unpacked beside it."""
    with archive_of(path) as archive:
        members = members_of(archive, (".kml",))
        if not members:
            raise ValueError("there is no .kml file in it")
        return unpacked(archive, members[0], path.parent / "document")


def _check_entities(path: Path) -> None:
    """Refuse XML that declares entities of its own: no program that draws vineyards does, and they grow without end."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as text:
        if text.find(b"<!DOCTYPE") >= 0 or text.find(b"<!ENTITY") >= 0:
            raise ValueError("it declares a document type of its own")


def _split(table: gpd.GeoDataFrame, name: str, choose: Choose) -> dict[str, OpenedLayer]:
    """Several layers in one GeoJSON: the property `layer` says which a feature belongs to."""
    key = next((c for c in table.columns if str(c).strip().casefold() == "layer"), None)
    if key is None:
        return {name: (table, False)}
    words = table[key].fillna("").astype(str).str.strip()
    chosen = choose([word for word in words.unique() if word] or [""])
    if len(chosen) and (words == "").any() and "" not in chosen:
        chosen = [*chosen, ""]
    parts = {word: table[words == word] for word in chosen}
    return {word: (part.drop(columns=key).dropna(axis=1, how="all"), False) for word, part in parts.items()}


def _named_as_known(found: dict[str, OpenedLayer], path: Path, faults: Faults) -> dict[str, RawTable]:
    """Give layers the names geoprune knows; a file's only layer of polygons is taken as blocks, and said."""
    layers = {}
    if len(found) > 1 and "" in found:
        faults.remark("dropped", "without_layer", count=len(found[""][0]))
    names = {name: _folded(name) for name in found}
    known = [name for name in names if names[name] in LAYERS]
    if not known and len(found) == 1:
        only = next(iter(found))
        if found[only][0].geom_type.isin(["Polygon", "MultiPolygon"]).any():
            names[only] = "blocks"
            if path.suffix.lower() == ".gpkg":
                faults.remark("assumed", "only_layer_as_blocks", layer=only)
        elif found[only][0].geom_type.eq("Point").any():
            names[only] = "samples"
    for name, (table, cut) in found.items():
        if names[name] in LAYERS:
            if names[name] in layers:
                faults.add(f"two layers are called {names[name]}", "Keep one of the two")
            layers[names[name]] = _raw(table, path, names[name], cut, faults)
    if not layers and found:
        faults.add(f"no known layer (found: {', '.join(found)})", f"Name the layers {', '.join(LAYERS)}")
    return layers


def _folded(name: str) -> str:
    return name.strip().casefold().replace(" ", "_").replace("-", "_")


def _raw(table: gpd.GeoDataFrame, path: Path, layer: str, cut: bool, faults: Faults) -> RawTable:
    if not isinstance(table, gpd.GeoDataFrame):
        table = gpd.GeoDataFrame(table.assign(geometry=None), geometry="geometry")
    ending = path.suffix.lower()
    if ending in MARKS and layer == "samples":
        table = weights_of_marks(table, faults)
    geometry = pd.Series(force_2d(table.geometry.values), dtype=object).to_numpy()
    plain = pd.DataFrame(table.drop(columns=table.geometry.name)).reset_index(drop=True)
    names = headers_of(plain)
    plain = clean_names(plain, faults.at(path.name, layer), short_names=cut)
    if ending in (".kml", ".kmz"):
        plain = _kml_columns(plain, layer)
    plain["geometry"] = geometry
    return RawTable(
        path.name,
        layer,
        plain,
        np.arange(1, len(plain) + 1),
        "feature",
        usable_crs(table.crs),
        ending in MARKS,
        headers=names,
    )


def _kml_columns(table: pd.DataFrame, layer: str) -> pd.DataFrame:
    """Without what KML readers add; a placemark's name is the block's or the row's name where no column says it."""
    told = "description" in table and bool((table["description"].map(name_text) != "").any())
    table = table.drop(columns=[c for c in table.columns if c in KML_OWN and not (told and c == "description")])
    wanted = {"blocks": "block", "rows": "row"}.get(layer, "name")
    if "name" in table and wanted not in table:
        table = table.rename(columns={"name": wanted})
    return table.drop(columns="name", errors="ignore")


def usable_crs(crs: CRS | None) -> CRS | None:
    """The horizontal CRS, or None where the file declares none that has a place on the earth."""
    if crs is None:
        return None
    crs = CRS.from_user_input(crs)
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    return crs if crs.is_geographic or crs.is_projected else None
