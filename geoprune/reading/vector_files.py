"""Layers of a GeoPackage, GeoJSON, zipped Shapefile or KML as raw tables."""

from __future__ import annotations

import re
import sqlite3
import warnings
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path, PurePosixPath

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyproj import CRS
from shapely import force_2d
from shapely.errors import ShapelyError

from geoprune.reading.columns import RawTable, clean_names
from geoprune.reading.faults import Faults

KNOWN = ("blocks", "rows", "vines", "samples", "bud_checks")
#: Layers that may be plain tables: row and vine are a place.
WITHOUT_SHAPES = ("samples",)
ENDINGS = {
    ".gpkg": "GeoPackage",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
    ".zip": "zipped Shapefile or GeoJSON files",
    ".kml": "KML",
    ".kmz": "KML",
}
OpenedLayer = tuple[gpd.GeoDataFrame, bool]
#: JSON is opened as GeoJSON and nothing else: other kinds of it can name any file or address.
ONE_DRIVER = "GeoJSON:"
#: What may stand before the first element of an XML file.
XML_BEFORE_ROOT = re.compile(rb"\A(?:\s+|<\?.*?\?>|<!--.*?-->)*", re.DOTALL)
LARGEST_UNPACKED = 2_000_000_000
#: What a file that is damaged, or of another kind, makes the readers raise.
UNREADABLE = (RuntimeError, OSError, ValueError, sqlite3.Error, ShapelyError)
#: First bytes of the files read from a zip.
MEMBER_HEADS = {".shp": b"\x00\x00\x27\x0a", ".geojson": b"{", ".json": b"{"}
#: Columns that readers of KML add by themselves.
KML_OWN = frozenset(
    (
        *("id", "description", "timestamp", "begin", "end", "icon", "snippet"),
        *("altitudemode", "tessellate", "extrude", "visibility", "draworder"),
    )
)


def read_layers(path: Path, faults: Faults) -> dict[str, RawTable]:
    """Read every layer of a vector file that geoprune knows.

    Parameters
    ----------
    path : Path
        GeoPackage, GeoJSON (one layer, or a property `layer` on each feature), zip of Shapefiles or GeoJSON files
        (layer = file name), KML or KMZ (layer = folder).
    faults : Faults
        Where problems and remarks are noted.

    Returns
    -------
    dict
        Layer name -> raw table; empty when the file cannot be read (the problem is noted).
    """
    return _named_as_known(open_layers(path, faults), path, faults)


def open_layers(
    path: Path, faults: Faults, *, choose: Callable[[list[str]], list[str]] = lambda names: names
) -> dict[str, OpenedLayer]:
    """Open layers of a vector file as they are.

    Parameters
    ----------
    path : Path
    faults : Faults
        Where problems are noted.
    choose : callable
        Gets the names of the layers there are, and returns those to read.

    Returns
    -------
    dict
        Layer name -> table, and whether its column names were cut to ten letters; empty when the file cannot be read.
    """
    if not _plausible(path, faults):
        return {}
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # GDAL's remarks on the file; what matters is checked below
            return _open(path, faults, choose)
    except UNREADABLE as error:
        reason = " ".join(str(error).replace(str(path), path.name).split())[:160]
        faults.add(f"the file cannot be read ({reason})", "Save it again, best as a GeoPackage")
        return {}


def _plausible(path: Path, faults: Faults) -> bool:
    """Compare what a file's ending says with its first bytes."""
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        known = ", ".join(ENDINGS)
        hint = "Zip the .shp together with its .dbf, .shx and .prj" if ending == ".shp" else f"Give one of {known}"
        faults.add(f"files ending in '{ending}' are not read", hint)
        return False
    if not path.exists():
        faults.add("the file does not exist", "Check its name and folder")
        return False
    if path.is_dir():
        faults.add("it is a folder, not a file", "Give the file itself")
        return False
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
    }.get(ending, text.startswith(b"{"))
    if not fits:
        faults.add(f"the file is not what its ending {ending} says", f"Save it again as {ENDINGS[ending]}")
    return fits


def _open(path: Path, faults: Faults, choose: Callable[[list[str]], list[str]]) -> dict[str, OpenedLayer]:
    ending = path.suffix.lower()
    if ending in (".zip", ".geojson", ".json"):
        found = _open_zip(path, faults) if ending == ".zip" else _split(gpd.read_file(f"{ONE_DRIVER}{path}"), path.stem)
        return {name: found[name] for name in choose(list(found))}
    kinds = {str(name): kind for name, kind in pyogrio.list_layers(path)}
    names = [name for name, kind in kinds.items() if kind is not None or _folded(name) in WITHOUT_SHAPES]
    if ending == ".gpkg":
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
            tables = {row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        names = [name for name in names if name in tables]
    if not names:
        faults.add("there is no layer with shapes in it", f"Name the layers {', '.join(KNOWN)}")
        return {}
    return {name: (gpd.read_file(path, layer=name), False) for name in choose(names)}


def _open_zip(path: Path, faults: Faults) -> dict[str, OpenedLayer]:
    try:
        with zipfile.ZipFile(path) as archive:
            members = [i for i in archive.infolist() if not i.is_dir() and "__MACOSX" not in i.filename]
    except zipfile.BadZipFile as error:
        raise ValueError("not a whole zip file") from error
    if sum(member.file_size for member in members) > LARGEST_UNPACKED:
        raise ValueError("more than 2 GB when unpacked")
    if any(member.flag_bits & 1 for member in members):
        raise ValueError("protected by a password")
    found = {}
    for member in members:
        inside = PurePosixPath(member.filename)
        ending = inside.suffix.lower()
        if ending in MEMBER_HEADS and ".." not in inside.parts:
            with zipfile.ZipFile(path) as archive, archive.open(member) as file:
                if not file.read(4096).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(MEMBER_HEADS[ending]):
                    raise ValueError(f"{member.filename} is not what its ending says")
            inside_zip = f"/vsizip/{{{path.resolve()}}}/{member.filename}"
            table = gpd.read_file(inside_zip if ending == ".shp" else f"{ONE_DRIVER}{inside_zip}")
            if inside.stem in found:
                faults.add(f"two files in the zip are called '{inside.stem}'", "Keep one of the two")
            found[inside.stem] = (table, ending == ".shp")
    if not found:
        faults.add("there is no .shp or .geojson file in the zip", "Zip the files themselves, with all their parts")
    return found


def _split(table: gpd.GeoDataFrame, name: str) -> dict[str, OpenedLayer]:
    """Several layers in one GeoJSON: the property `layer` says which a feature belongs to."""
    key = next((c for c in table.columns if str(c).strip().casefold() == "layer"), None)
    if key is None:
        return {name: (table, False)}
    words = table[key].fillna("").astype(str).str.strip()
    return {word: (part.drop(columns=key).dropna(axis=1, how="all"), False) for word, part in table.groupby(words)}


def _named_as_known(found: dict[str, OpenedLayer], path: Path, faults: Faults) -> dict[str, RawTable]:
    """Give layers the names geoprune knows; a file's only layer of polygons is taken as blocks, and said."""
    layers = {}
    if len(found) > 1 and "" in found:
        faults.remark("dropped", "without_layer", count=len(found[""][0]))
    names = {name: _folded(name) for name in found}
    known = [name for name in names if names[name] in KNOWN]
    if not known and len(found) == 1:
        only = next(iter(found))
        if found[only][0].geom_type.isin(["Polygon", "MultiPolygon"]).any():
            names[only] = "blocks"
            if path.suffix.lower() == ".gpkg":
                faults.remark("assumed", "only_layer_as_blocks", layer=only)
        elif found[only][0].geom_type.eq("Point").any():
            names[only] = "samples"
    for name, (table, cut) in found.items():
        if names[name] in KNOWN:
            if names[name] in layers:
                faults.add(f"two layers are called {names[name]}", "Keep one of the two")
            layers[names[name]] = _raw(table, path, names[name], cut, faults)
    if not layers and found:
        faults.add(f"no known layer (found: {', '.join(found)})", f"Name the layers {', '.join(KNOWN)}")
    return layers


def _folded(name: str) -> str:
    return name.strip().casefold().replace(" ", "_").replace("-", "_")


def _raw(table: gpd.GeoDataFrame, path: Path, layer: str, cut: bool, faults: Faults) -> RawTable:
    if not isinstance(table, gpd.GeoDataFrame):
        table = gpd.GeoDataFrame(table.assign(geometry=None), geometry="geometry")
    geometry = pd.Series(force_2d(table.geometry.values), dtype=object).to_numpy()
    plain = pd.DataFrame(table.drop(columns=table.geometry.name)).reset_index(drop=True)
    plain = clean_names(plain, faults.at(path.name, layer), short_names=cut)
    if path.suffix.lower() in (".kml", ".kmz"):
        plain = _kml_columns(plain, layer)
    plain["geometry"] = geometry
    return RawTable(path.name, layer, plain, np.arange(1, len(plain) + 1), "feature", usable_crs(table.crs))


def _kml_columns(table: pd.DataFrame, layer: str) -> pd.DataFrame:
    """Without what KML readers add; a placemark's name is the block's or the row's name where no column says it."""
    table = table.drop(columns=[c for c in table.columns if c in KML_OWN])
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
