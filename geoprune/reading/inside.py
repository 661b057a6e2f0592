"""What is inside a container before a library opens it: members of a zip, tables of a GeoPackage, the CRS of GeoJSON."""

from __future__ import annotations

import json
import mmap
import re
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError

from geoprune.sources import LARGEST_LAYERS, Unfit

#: Files that belong to a .shp.
SHAPEFILE_PARTS = (".dbf", ".shx", ".prj", ".cpg")
#: More members than this no zip of layers has (design choice).
MOST_MEMBERS = 10_000
CHUNK = 1 << 20
#: The member `crs` of a GeoJSON object, however its letters are written, and the CRS that GeoJSON has without one.
CRS_MEMBER = re.compile(rb'"(?:c|\\u0063)(?:r|\\u0072)(?:s|\\u0073)"\s*:\s*')
UNKNOWN_CRS = "the crs in the file is not understood", "Declare it by its EPSG code, or save the file again as a GeoPackage"


@dataclass(frozen=True)
class Member:
    """A file in a zip and those that belong to it."""

    name: PurePosixPath
    parts: tuple[zipfile.ZipInfo, ...]


@contextmanager
def archive_of(path: Path) -> Iterator[zipfile.ZipFile]:
    """Open a zip whose members may be read; what is damaged in it is reported in plain words.

    Raises
    ------
    ValueError
        If it is damaged, protected by a password, packed in a way that is not read, or too large when unpacked.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            if len(members) > MOST_MEMBERS:
                raise ValueError(f"{len(members)} files are in it, more than {MOST_MEMBERS}")
            if sum(member.file_size for member in members) > LARGEST_LAYERS:
                raise ValueError("more than 2 GB when unpacked")
            if any(member.flag_bits & 1 for member in members):
                raise ValueError("protected by a password")
            yield archive
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, OverflowError) as error:
        raise ValueError("not a whole zip file") from error


def members_of(archive: zipfile.ZipFile, endings: Sequence[str]) -> list[Member]:
    """Members with one of these endings, each with what belongs to it; hidden ones and such as climb out are left out."""
    files = {PurePosixPath(info.filename): info for info in archive.infolist() if not info.is_dir()}
    files = {name: info for name, info in files.items() if ".." not in name.parts and "__MACOSX" not in name.parts}
    folded = {str(name).casefold(): info for name, info in files.items()}
    found = []
    for name, info in files.items():
        if name.suffix.lower() in endings:
            beside = [folded.get(str(name.with_suffix(part)).casefold()) for part in SHAPEFILE_PARTS]
            found.append(Member(name, (info, *(part for part in beside if part is not None))))
    return found


def unpacked(archive: zipfile.ZipFile, member: Member, to: Path) -> Path:
    """Unpack a member and what belongs to it under a plain name; return the path of the member itself.

    Raises
    ------
    ValueError
        If more comes out than the archive says, or a table of a Shapefile is shorter than it says.
    """
    for info in member.parts:
        target = to.with_suffix(PurePosixPath(info.filename).suffix.lower())
        written = 0
        with archive.open(info) as packed, target.open("wb") as file:
            while data := packed.read(CHUNK):
                written += len(data)
                if written > info.file_size:
                    raise ValueError("more comes out of it than it says")
                file.write(data)
        if target.suffix == ".dbf":
            _check_dbf(target)
    return to.with_suffix(member.name.suffix.lower())


def _check_dbf(path: Path) -> None:
    """Hold the number of lines that a dBASE table says it has against its size (header: Esri, or dBASE level 5)."""
    head = path.read_bytes()[:12]
    lines, start, width = (int.from_bytes(head[a:b], "little") for a, b in ((4, 8), (8, 10), (10, 12)))
    if len(head) < 12 or start + lines * width > path.stat().st_size + 1:
        raise ValueError("its table (.dbf) is not whole")


def geopackage_layers(path: Path) -> dict[str, bool]:
    """Layers of a GeoPackage that are plain tables, in the order of its contents, and whether they have shapes.

    Raises
    ------
    Unfit
        If the tables that describe it are no plain tables.
    """
    uri = f"{path.as_uri()}?mode=ro" + ("&immutable=1" if path.is_symlink() else "")
    with closing(sqlite3.connect(uri, uri=True)) as database:
        database.execute("PRAGMA trusted_schema = OFF")
        kinds = dict(database.execute("SELECT name, type FROM sqlite_master WHERE sql NOT LIKE 'CREATE VIRTUAL%'"))
        system = [name for name in kinds if str(name).lower().startswith("gpkg_")]
        if any(kinds[name] == "view" for name in system) or kinds.get("gpkg_contents") != "table":
            raise Unfit(path, "it is no GeoPackage", "Save it again as a GeoPackage")
        for name in system:
            _check_columns(database, name, path)
        contents = database.execute("SELECT table_name, data_type FROM gpkg_contents").fetchall()
        return {str(name): kind == "features" for name, kind in contents if kinds.get(name) == "table"}


def check_geopackage_layer(path: Path, layer: str) -> None:
    """Refuse a layer that computes columns of its own, or holds another number of lines than the file says.

    Raises
    ------
    Unfit
    """
    uri = f"{path.as_uri()}?mode=ro" + ("&immutable=1" if path.is_symlink() else "")
    with closing(sqlite3.connect(uri, uri=True)) as database:
        database.execute("PRAGMA trusted_schema = OFF")
        _check_columns(database, layer, path)
        if not database.execute(
            "SELECT 1 FROM sqlite_master WHERE name = 'gpkg_ogr_contents' AND type = 'table'"
        ).fetchone():
            return
        says = database.execute("SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = ?", (layer,)).fetchone()
        (holds,) = database.execute(f"SELECT count(*) FROM {_quoted(layer)}").fetchone()
        if says and says[0] is not None and says[0] != holds:
            raise Unfit(path, f"layer {layer} says that it holds {says[0]} lines, but holds {holds}", "Save it again")


def _check_columns(database: sqlite3.Connection, table: str, path: Path) -> None:
    computed = [row[1] for row in database.execute(f"PRAGMA table_xinfo({_quoted(table)})") if row[6] in (2, 3)]
    if computed:
        raise Unfit(path, f"layer {table} computes its column {computed[0]}", "Save the layer again with plain columns")


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def check_declared_crs(path: Path) -> None:
    """Refuse a GeoJSON file whose `crs` is none that is known: readers take it for WGS 84 or ask the network for it.

    Raises
    ------
    Unfit
    """
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as text:
        found = [match.end() for match in CRS_MEMBER.finditer(text)]
        if not found:
            return
        depth = _depths(text, found)
        declared = [_value_at(text, at, path) for at, inside in zip(found, depth, strict=True) if inside == 1]
    for crs in declared:
        if crs is not None and not _is_known(crs):
            raise Unfit(path, *UNKNOWN_CRS)


def _depths(text: mmap.mmap, places: list[int]) -> list[int]:
    """How many brackets are open at places in a JSON text; brackets within strings do not count."""
    found, open_now, in_string, start = [], 0, False, 0
    for place in places:
        while start < place:
            end = min(start + (CHUNK << 3), place)
            while end < place and text[end - 1 : end] == b"\\":
                end += 1
            data = np.frombuffer(re.sub(rb"\\.", b"  ", text[start:end], flags=re.DOTALL), dtype=np.uint8)
            inside = (np.cumsum(data == ord('"')) + in_string) % 2 == 1
            opens = np.isin(data, (ord("{"), ord("["))).astype(np.int64) - np.isin(data, (ord("}"), ord("]")))
            open_now += int(opens[~inside].sum())
            in_string = bool(inside[-1])
            start = end
        found.append(open_now if not in_string else 0)
    return found


def _value_at(text: mmap.mmap, at: int, path: Path) -> object:
    try:
        return json.JSONDecoder().raw_decode(text[at : at + 10_000].decode("utf-8", errors="replace"))[0]
    except (ValueError, RecursionError):
        raise Unfit(path, *UNKNOWN_CRS) from None


def _is_known(crs: object) -> bool:
    """Whether a `crs` object names a CRS that PROJ knows (GeoJSON 2008, section 3)."""
    properties = crs.get("properties") if isinstance(crs, dict) else None
    if not isinstance(crs, dict) or not isinstance(properties, dict):
        return False
    kind, name = str(crs.get("type")).upper(), properties.get("name")
    if kind == "EPSG":
        name = f"EPSG:{properties.get('code')}"
    elif kind != "NAME" or not isinstance(name, str) or "://" in name or len(name) > 10_000:
        return False
    try:
        CRS.from_user_input(name)
    except CRSError:
        return False
    return True
