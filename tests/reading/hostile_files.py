"""Broken and malicious files by the hundred, made from a small sound vineyard, each with what must be told about it.

`corpus(folder)` makes them all. `told` is a piece of the message; None: whatever is told, nothing but a message may come, or
the file is read (a turned bit may lie where it does not matter).
"""

from __future__ import annotations

import io
import json
import os
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import invented_vineyard as iv
import numpy as np
import pandas as pd
import rasterio
import xlsxwriter
from affine import Affine

#: Endings by what reads them.
READERS = {
    "vineyard": (".gpkg", ".geojson", ".zip", ".kml", ".kmz"),
    "samples": (".csv", ".xlsx"),
    "rules": (".toml",),
    "earlier": (".json",),
    "covariate": (".tif", ".gpkg"),
}
NOT_ORDINARY, NOT_THERE, FOLDER, EMPTY = "no ordinary file", "does not exist", "is a folder", "the file is empty"
CANNOT, OTHER, CRS, NO_ZIP = (
    "cannot be read",
    "is not what its ending",
    "the crs in the file is not understood",
    "not a whole zip",
)


@dataclass(frozen=True)
class Hostile:
    """A file, what reads it, the class of fault, and a piece of what must be told."""

    path: Path
    reader: str
    kind: str
    expected: str | None


def corpus(folder: Path) -> list[Hostile]:
    """Make every file below a folder."""
    sound = Sound(folder)
    found: list[Hostile] = []
    for number, (name, reader, kind, expected, make) in enumerate(_all(sound)):
        path = folder / f"{number:03d}" / name
        path.parent.mkdir()
        make(path)
        found.append(Hostile(path, reader, kind, expected))
    return found


class Sound:
    """The bytes of a sound file of each kind."""

    def __init__(self, folder: Path) -> None:
        made = folder / "sound"
        made.mkdir()
        vineyard, weights = iv.write(made)
        lonlat = {"blocks": iv.blocks().to_crs(4326), "rows": iv.rows().to_crs(4326)}
        features = [
            {**feature, "properties": {**feature["properties"], "layer": name}}
            for name, table in lonlat.items()
            for feature in json.loads(table.to_json())["features"]
        ]
        self.features = features
        self.of = {".gpkg": vineyard.read_bytes(), ".csv": weights.read_bytes()}
        self.of[".geojson"] = json.dumps({"type": "FeatureCollection", "features": features}).encode()
        for name, table in lonlat.items():
            (made / f"{name}.geojson").write_text(table.to_json())
            table.to_file(made / f"{name}.shp")
        shapes = [path for path in made.iterdir() if path.suffix in (".shp", ".shx", ".dbf", ".prj", ".cpg")]
        self.of[".zip"] = zipped({path.name: path.read_bytes() for path in shapes})
        placemarks = "".join(
            f"<Placemark><name>{r.row}</name><LineString><coordinates>"
            + " ".join(f"{x},{y}" for x, y in r.geometry.coords)
            + "</coordinates></LineString></Placemark>"
            for r in lonlat["rows"].itertuples()
        )
        self.of[".kml"] = (
            '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder><name>rows</name>'
            f"{placemarks}</Folder></Document></kml>"
        ).encode()
        self.of[".kmz"] = zipped({"doc.kml": self.of[".kml"]})
        self.of[".xlsx"] = workbook([["row", "vine", "pruning_weight_kg"], [1, 1, 0.5], [2, 1, 0.5]])
        self.of[".toml"] = b'[[rule]]\nid = "mine"\nfirst = 20\nfurther = 10\nunit = "lb"\nsource = "our own counts"\n'
        self.of[".json"] = b'{"inputs": [], "blocks": {}}'
        with rasterio.open(
            made / "c.tif", "w", driver="GTiff", width=40, height=40, count=1, dtype="float32", crs=iv.CRS,
            transform=Affine(5, 0, iv.WEST - 50, 0, -5, iv.SOUTH + 150),
        ) as raster:  # fmt: skip
            raster.write(np.arange(1600, dtype="float32").reshape(1, 40, 40))
        self.of[".tif"] = (made / "c.tif").read_bytes()


Entry = tuple[str, str, str, str | None, Callable[[Path], object]]


def zipped(members: dict[str, bytes], packing: int = zipfile.ZIP_DEFLATED) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", packing) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return held.getvalue()


def workbook(lines: list[list[object]]) -> bytes:
    held = io.BytesIO()
    with xlsxwriter.Workbook(held, {"in_memory": True}) as book:
        sheet = book.add_worksheet("samples")
        for number, line in enumerate(lines):
            sheet.write_row(number, 0, line)
    return held.getvalue()


def repacked(data: bytes, change: Callable[[str, bytes], bytes]) -> bytes:
    """A zip with its members changed."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return zipped({name: change(name, archive.read(name)) for name in archive.namelist()})


def writes(data: bytes) -> Callable[[Path], object]:
    return lambda path: path.write_bytes(data)


def links(target: str) -> Callable[[Path], object]:
    return lambda path: path.symlink_to(target)


def _all(sound: Sound) -> Iterator[Entry]:
    yield from _no_files()
    yield from _other_content(sound)
    yield from _cut_short(sound)
    yield from _turned_bits(sound)
    yield from _crs(sound)
    yield from _databases(sound)
    yield from _zips(sound)
    yield from _workbooks(sound)
    yield from _texts(sound)


def _no_files() -> Iterator[Entry]:
    for reader, endings in READERS.items():
        for ending in endings:
            expected = {"covariate": {NOT_THERE: "the file is missing"}, "earlier": dict.fromkeys((NOT_THERE, FOLDER), None)}
            expected["vineyard"] = {FOLDER: "there is no vineyard file in the folder"}
            expected = expected.get(reader, {})

            def say(what: str, expected: dict[str, str | None] = expected, reader: str = reader) -> str | None:
                return expected.get(what, "not a summary of earlier" if reader == "earlier" else what)

            yield f"pipe{ending}", reader, "a pipe or a device", say(NOT_ORDINARY), os.mkfifo
            for device in ("zero", "full", "urandom", "tty", "null"):
                name = f"{device}{ending}"
                what = None if device in ("tty", "null") else say(NOT_ORDINARY)
                yield name, reader, "a pipe or a device", what, links(f"/dev/{device}")
            yield f"folder{ending}", reader, "a folder", say(FOLDER) if reader != "covariate" else FOLDER, Path.mkdir
            yield f"nothing{ending}", reader, "not there", say(NOT_THERE), lambda path: None
            yield f"dangling{ending}", reader, "not there", say(NOT_THERE), links("/nowhere/at/all")
            yield f"empty{ending}", reader, "empty", say(EMPTY), Path.touch
            blank = None if reader in ("rules", "earlier") or ending == ".tif" else EMPTY
            yield f"blanks{ending}", reader, "empty", blank, writes(b" \n \n")


def _other_content(sound: Sound) -> Iterator[Entry]:
    rng = np.random.default_rng(1)
    contents = {
        "picture": b"\x89PNG\r\n\x1a\n" + rng.bytes(500),
        "noise": b"\x01" + rng.bytes(2000),
        "page": b"<!DOCTYPE html><html><body>Not found</body></html>",
        "service": b"<OGRWFSDataSource><URL>http://127.0.0.1:9/wfs</URL></OGRWFSDataSource>",
        "virtual": b'<OGRVRTDataSource><OGRVRTLayer name="b"><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTLayer>',
        "raster service": b"<GDAL_WMS><Service name='TMS'><ServerUrl>http://127.0.0.1:9/</ServerUrl></Service></GDAL_WMS>",
        "pdf": b"%PDF-1.7\n" + rng.bytes(300),
    }
    for name, data in contents.items():
        for ending in READERS["vineyard"]:
            yield f"{name}{ending}", "vineyard", "something else", OTHER, writes(data)
        yield f"{name}.xlsx", "samples", "something else", OTHER, writes(data)
        yield f"{name}.toml", "rules", "something else", "not valid TOML", writes(data)
        yield f"{name}.json", "earlier", "something else", "not a summary", writes(data)
        yield f"{name}.tif", "covariate", "something else", "cannot be opened as a raster", writes(data)
        yield f"{name}.xml", "covariate", "something else", "are not read", writes(data)
    for kind in ("TopoJSON", "ESRI", "text"):
        data = {
            "TopoJSON": b'{"type":"Topology","objects":{}}',
            "ESRI": b'{"geometryType":"esriGeometryPoint"}',
            "text": b'{"a": 1}',
        }
        yield f"{kind}.geojson", "vineyard", "something else", CANNOT, writes(data[kind])


def _cut_short(sound: Sound) -> Iterator[Entry]:
    for ending in (".gpkg", ".geojson", ".zip", ".kml", ".kmz"):
        data = sound.of[ending]
        for share in (0.05, 0.2, 0.4, 0.6, 0.8, 0.95):
            part = data[: max(int(len(data) * share), 200)]
            yield f"cut{share}{ending}", "vineyard", "cut short", None if ending == ".gpkg" else CANNOT, writes(part)
    for share in (0.05, 0.3, 0.6, 0.9, 0.99):
        yield (
            f"cut{share}.xlsx",
            "samples",
            "cut short",
            CANNOT,
            writes(sound.of[".xlsx"][: int(len(sound.of[".xlsx"]) * share)]),
        )
        yield (
            f"cut{share}.tif",
            "covariate",
            "cut short",
            None,
            writes(sound.of[".tif"][: int(len(sound.of[".tif"]) * share)]),
        )


def _turned_bits(sound: Sound) -> Iterator[Entry]:
    for ending, reader in ((".zip", "vineyard"), (".kmz", "vineyard"), (".xlsx", "samples"), (".gpkg", "vineyard")):
        data = sound.of[ending]
        for number, at in enumerate(np.random.default_rng(7).integers(4, len(data), 12)):
            turned = bytearray(data)
            turned[at] ^= 1 << number % 8
            yield f"bit{number}{ending}", reader, "a turned bit", None, writes(bytes(turned))
            hole = data[:at] + bytes(min(64, len(data) - at)) + data[at + 64 :]
            yield f"hole{number}{ending}", reader, "a hole", None, writes(hole)


def _crs(sound: Sound) -> Iterator[Entry]:
    declared = {
        "link": {"type": "link", "properties": {"href": "http://127.0.0.1:9/crs", "type": "proj4"}},
        "url": {"type": "url", "properties": {"url": "http://127.0.0.1:9/crs"}},
        "address": {"type": "name", "properties": {"name": "http://127.0.0.1:9/crs"}},
        "file": {"type": "name", "properties": {"name": "file:///etc/passwd"}},
        "unknown": {"type": "name", "properties": {"name": "EPSG:999999"}},
        "words": {"type": "name", "properties": {"name": "the grid of our village"}},
        "number": 4326,
        "text": "EPSG:32617",
        "list": [1, 2],
        "without name": {"type": "name", "properties": {}},
        "without properties": {"type": "name"},
        "odd code": {"type": "EPSG", "properties": {"code": "x"}},
        "long": {"type": "name", "properties": {"name": "x" * 20_000}},
    }
    for name, crs in declared.items():
        for front in (True, False):
            text = {"crs": crs} if front else {}
            text |= {"type": "FeatureCollection", "features": sound.features} | {"crs": crs}
            yield (
                f"{name}-{front}.geojson",
                "vineyard",
                "a crs that is not understood",
                CRS,
                writes(json.dumps(text).encode()),
            )
    link = json.dumps({"type": "FeatureCollection", "crs": declared["link"], "features": sound.features})
    for letter, code in (("c", "0063"), ("r", "0072"), ("s", "0073")):
        spelled = link.replace('"crs"', '"crs"'.replace(letter, f"\\u{code}"))
        yield f"spelled-{letter}.geojson", "vineyard", "a crs that is not understood", CRS, writes(spelled.encode())
    inside = zipped({"blocks.geojson": link.encode()})
    yield "link.zip", "vineyard", "a crs that is not understood", CRS, writes(inside)
    yield "link.geojson", "covariate", "a crs that is not understood", CRS, writes(link.encode())
    known = json.dumps({"type": "FeatureCollection", "note": 'a "crs": {', "features": sound.features})
    yield "words of crs in a text.geojson", "vineyard", "sound", "", writes(known.encode())
    named = {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}
    text = json.dumps({"type": "FeatureCollection", "crs": named, "features": sound.features})
    yield "known.geojson", "vineyard", "sound", "", writes(text.encode())


def _changed(sound: Sound, *statements: str) -> Callable[[Path], object]:
    def make(path: Path) -> None:
        path.write_bytes(sound.of[".gpkg"])
        database = sqlite3.connect(path)
        database.execute("PRAGMA writable_schema = ON")
        for statement in statements:
            database.execute(statement)
        database.commit()
        database.close()

    return make


ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT"


def _databases(sound: Sound) -> Iterator[Entry]:
    contents = "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES"
    columns = "INSERT INTO gpkg_geometry_columns VALUES"
    view = (
        f"CREATE VIEW vines AS {ENDLESS} i AS fid, 'A' AS block, NULL AS geom FROM n",
        f"{contents} ('vines', 'features', 'vines', 32617)",
        f"{columns} ('vines', 'geom', 'POINT', 32617, 0, 0)",
    )
    yield "view.gpkg", "vineyard", "a view", "", _changed(sound, *view)
    endless = "ALTER TABLE blocks ADD COLUMN reckoned TEXT GENERATED ALWAYS AS (hex(zeroblob(200000000))) VIRTUAL"
    yield "computed.gpkg", "vineyard", "a computed column", "computes its column reckoned", _changed(sound, endless)
    endless = endless.replace("blocks", "rows")
    yield "computed-rows.gpkg", "vineyard", "a computed column", "computes its column reckoned", _changed(sound, endless)
    system = ("ALTER TABLE gpkg_contents RENAME TO gpkg_held", "CREATE VIEW gpkg_contents AS SELECT * FROM gpkg_held")
    yield "system.gpkg", "vineyard", "no GeoPackage", "it is no GeoPackage", _changed(sound, *system)
    yield "bare.gpkg", "vineyard", "no GeoPackage", "it is no GeoPackage", _changed(sound, "DROP TABLE gpkg_contents")
    for lie in (3, 10**12):
        lied = f"UPDATE gpkg_ogr_contents SET feature_count = {lie} WHERE table_name = 'rows'"
        yield f"count{lie}.gpkg", "vineyard", "a wrong count", "says that it holds", _changed(sound, lied)
    many = [
        statement
        for number in range(300)
        for statement in (
            f"CREATE TABLE other{number} (fid INTEGER PRIMARY KEY, geom BLOB)",
            f"{contents} ('other{number}', 'features', 'other{number}', 32617)",
            f"{columns} ('other{number}', 'geom', 'POINT', 32617, 0, 0)",
        )
    ]
    yield "300 layers.gpkg", "vineyard", "many layers", "", _changed(sound, *many)
    virtual = "CREATE VIRTUAL TABLE vines USING fts5(block)"
    yield (
        "virtual.gpkg",
        "vineyard",
        "a virtual table",
        "",
        _changed(sound, virtual, f"{contents} ('vines', 'attributes', 'v', 0)"),
    )
    waiting = "CREATE TRIGGER t AFTER INSERT ON blocks BEGIN SELECT hex(zeroblob(900000000)); END"
    yield "trigger.gpkg", "vineyard", "a trigger", "", _changed(sound, waiting)
    for name in ("!", "#", "?", "%41", "{a}", "a;b", "a,b", "line\nbreak", "'", '"', "$HOME", "*", "zip:x", "~", " "):
        for ending in (".gpkg", ".geojson", ".zip"):
            yield f"{name}{ending}", "vineyard", "odd names", "", writes(sound.of[ending])


def _zips(sound: Sound) -> Iterator[Entry]:
    with zipfile.ZipFile(io.BytesIO(sound.of[".zip"])) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    lying = bytearray(zipped(members))
    at = lying.rfind(b"PK\x01\x02")
    for name, places in {"size": (24,), "packed size": (20,), "offset": (42,), "method": (10,), "flags": (8,)}.items():
        for turned in (0x41, 0xFF):
            lie = bytearray(lying)
            for place in places:
                lie[at + place] = turned
            yield f"lying {name} {turned}.zip", "vineyard", "a lying zip", None, writes(bytes(lie))
    locked = bytearray(zipped(members))
    for start in range(len(locked) - 4):
        if locked[start : start + 4] == b"PK\x01\x02":
            locked[start + 8] |= 1
    yield "password.zip", "vineyard", "a password", "protected by a password", writes(bytes(locked))
    bomb = zipped({"blocks.geojson": b"{" + b" " * 50_000_000})
    yield "blanks.zip", "vineyard", "a bomb", CANNOT, writes(bomb)
    big = bytearray(zipped({"blocks.geojson": b"{" * 100}))
    at = big.rfind(b"PK\x01\x02")
    big[at + 24 : at + 28] = (2**32 - 2).to_bytes(4, "little")
    yield "four gigabytes.zip", "vineyard", "a bomb", "more than 2 GB", writes(bytes(big))
    many = members | {f"part{number}.txt": b"x" for number in range(3000)}
    yield "3000 small files.zip", "vineyard", "many small files", "", writes(zipped(many, zipfile.ZIP_STORED))
    many = {f"part{number}.geojson": b"{" for number in range(3000)}
    yield "3000 layers.zip", "vineyard", "many small files", "no known layer", writes(zipped(many, zipfile.ZIP_STORED))
    many = {f"{number}": b"" for number in range(10_001)}
    yield "10001 files.zip", "vineyard", "many small files", "more than 10000", writes(zipped(many, zipfile.ZIP_STORED))
    for name in ("../../blocks.geojson", "/blocks.geojson", "__MACOSX/blocks.geojson"):
        expected = "there is no .shp or .geojson" if name[0] != "/" else None
        yield (
            f"{name.replace('/', '_')}.zip",
            "vineyard",
            "names that climb out",
            expected,
            writes(zipped({name: sound.of[".geojson"]})),
        )
    for name in ("blocks.shp", "blocks.geojson"):
        yield f"{name}.zip", "vineyard", "something else", "is not what its ending says", writes(zipped({name: b"<html>"}))
    long = dict(members)
    long["blocks.dbf"] = members["blocks.dbf"][:4] + (10**9).to_bytes(4, "little") + members["blocks.dbf"][8:]
    yield "long table.zip", "vineyard", "a wrong count", "is not whole", writes(zipped(long))
    for part in (".dbf", ".shx", ".prj"):
        less = {name: data for name, data in members.items() if not name.endswith(part)}
        yield f"without {part}.zip", "vineyard", "parts lacking", None, writes(zipped(less))
    yield "no document.kmz", "vineyard", "parts lacking", "no .kml file in it", writes(zipped({"a.txt": b"x"}))
    laughs = b'<?xml version="1.0"?><!DOCTYPE k [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]><kml><Document>&b;</Document></kml>'
    yield "entities.kmz", "vineyard", "entities", "declares a document type", writes(zipped({"doc.kml": laughs}))
    late = sound.of[".kml"].replace(b"<Document>", b"<Document><!-- <!ENTITY x SYSTEM 'file:///etc/passwd'> -->")
    yield "entities.kml", "vineyard", "entities", "declares a document type", writes(late)
    link = b'<?xml version="1.0"?><kml><NetworkLink><Link><href>http://127.0.0.1:9/</href></Link></NetworkLink></kml>'
    yield "network.kml", "vineyard", "an address", CANNOT, writes(link)


def _workbooks(sound: Sound) -> Iterator[Entry]:
    cell = '<c r="A1"'
    spelled = {
        "plain": '<c r="XFD1048576"',
        "single quotes": "<c r='XFD1048576'",
        "blanks": '<c   r = "XFD1048576"',
        "other first": '<c s="0" x="' + "y" * 300 + '" r="XFD1048576"',
        "entity": '<c r="&#88;FD1048576"',
        "small letters": '<c r="xfd1048576"',
        "beyond": '<c r="ZZZZ99999999999"',
        "line break": '<c\nr="XFD1048576"',
    }
    for name, far in spelled.items():
        data = repacked(
            sound.of[".xlsx"],
            lambda member, held, far=far: held.replace(cell.encode(), far.encode()) if "sheet1" in member else held,
        )
        yield f"far, {name}.xlsx", "samples", "a cell far out", None, writes(data)
    row = repacked(
        sound.of[".xlsx"], lambda m, held: held.replace(b'<row r="2"', b'<row r="1048576"') if "sheet1" in m else held
    )
    yield "far row.xlsx", "samples", "a cell far out", None, writes(row)
    string = "x" * 30_000
    many = workbook([["row", "note"], *([1, string] for _ in range(300))])
    yield "one text 300 times.xlsx", "samples", "a bomb", None, writes(many)
    yield "old.xlsx", "samples", "something else", "protected by a password", writes(b"\xd0\xcf\x11\xe0" + bytes(600))
    for member in ("xl/workbook.xml", "xl/worksheets/sheet1.xml", "[Content_Types].xml"):
        broken = repacked(sound.of[".xlsx"], lambda name, held, member=member: held[:40] if name == member else held)
        yield f"broken {member.replace('/', '_')}.xlsx", "samples", "cut short", None, writes(broken)


def _texts(sound: Sound) -> Iterator[Entry]:
    head = b"row,vine,pruning_weight_kg\n"
    yield "nul.csv", "samples", "something else", OTHER, writes(head + b"1,1,\x00\n")
    yield "zip.csv", "samples", "something else", OTHER, writes(sound.of[".zip"])
    yield "long cell.csv", "samples", "a long cell", "cannot be read (field larger", writes(head + b"1,1," + b"9" * 200_000)
    yield "quote.csv", "samples", "an open quote", None, writes(head + b'1,1,"0.5\n' * 3)
    yield "heads.csv", "samples", "no lines", "there are no samples", writes(head)
    yield "bad lines.csv", "samples", "many bad lines", "more lines have the same fault", writes(head + b"x,y,z\n" * 30_000)
    named = b"block," + head + b"Nowhere at all,1,1,0.5\n" * 30_000
    yield "bad names.csv", "samples", "many bad lines", "more lines have the same fault", writes(named)
    yield "wide.csv", "samples", "many columns", "", writes(head.strip() + b"," * 5000 + b"\n" + b"1,1,0.5\n2,1,0.6\n" * 1)
    utf16 = "row,vine,pruning_weight_kg\n1,1,0.5\n".encode("utf-16")
    yield "half.csv", "samples", "cut short", None, writes(utf16[:-1])
    numbers = {
        "infinite": b"inf",
        "no number": b"NaN",
        "huge": b"1e999",
        "hidden": "1\u202e5".encode(),
        "full width": "１".encode(),
    }
    for name, text in numbers.items():
        expected = None if name in ("no number", "hidden", "full width") else "is not a number"
        yield f"{name}.csv", "samples", "no numbers", expected, writes(head + b"1,1," + text + b"\n")
    for name, text in {
        "deep": b"a = " + b"[" * 5000,
        "digits": b"a = " + b"9" * 10_000,
        "latin": b'[[rule]]\nid = "\xe9"\n',
        "twice": b"a = 1\na = 2\n",
        "other": b"a = 1\n",
        "no list": b"rule = 1\n",
    }.items():
        expected = "no [[rule]]" if name in ("other", "no list") else "not valid TOML"
        yield f"{name}.toml", "rules", "no rules", expected, writes(text)
    for name, text in {
        "deep": b"[" * 100_000,
        "list": b"[]",
        "blocks": b'{"inputs": [], "blocks": []}',
        "model": b'{"inputs": [], "blocks": {"A": {"model": 1}}}',
        "digits": b'{"inputs": [], "blocks": ' + b"9" * 10_000 + b"}",
        "utf-16": '{"inputs": []}'.encode("utf-16"),
    }.items():
        yield f"{name}.json", "earlier", "no summary", "not a summary of earlier", writes(text)
    point = {"type": "Feature", "properties": {"layer": "x"}, "geometry": {"type": "Point", "coordinates": [0, 0]}}
    strange = [{**point, "properties": {"layer": f"x{number}"}} for number in range(20_000)]
    text = json.dumps({"type": "FeatureCollection", "features": strange}).encode()
    yield "20000 layers.geojson", "vineyard", "many layers", "no known layer", writes(text)
    deep = b'{"type":"FeatureCollection","features":' + b"[" * 100_000
    yield "deep.geojson", "vineyard", "cut short", CANNOT, writes(deep)


def table_of(found: list[Hostile]) -> pd.DataFrame:
    """How many files of each class there are."""
    counted = pd.DataFrame({"kind": [one.kind for one in found]}).value_counts("kind")
    return counted.rename("files").reset_index()


def sound_blocks() -> gpd.GeoDataFrame:
    """The blocks of the sound vineyard."""
    return iv.blocks()
