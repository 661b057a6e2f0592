"""Every command with damaged and hostile files: it ends by itself, with 0, 1 or 2, in sentences, within its limits.

    python benchmarks/hostile_commands.py [how_many first_seed [command ...]]

A small sound vineyard, its weights, settings and results are made once. A seed then says which command is run, which of its
files is damaged, and how: bytes of any file; values, keys and lines of CSV, JSON and TOML; columns, shapes and tables of
a GeoPackage; something that is no file at all. Each run is a copy of a process that has loaded the libraries. Wrong is:
another exit code, a traceback or a library's noise, a refusal that names no file, more than 60 s or 2 GB, results left
behind by a run that failed, and a file changed that was only read. Prints what was wrong and how often each command was
run; ends with 1 if anything was. Needs Linux.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import resource
import shutil
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import invented_vineyard as iv  # noqa: E402
import numpy as np  # noqa: E402
import rasterio  # noqa: E402
import shapely  # noqa: E402

from geoprune.cli import run as geoprune  # noqa: E402
from geoprune.deliver.field import Entry, FieldLog, list_of  # noqa: E402
from geoprune.jobs.prescribe import prescribe as _loads  # noqa: E402, F401

MOST_S, MOST_MB = 60, 2048
#: What a library or an accident says, and a sentence of ours never does.
NOISE = ("Traceback", "Warning:", "Error:", "Exception", "site-packages", "geoprune/", "<class ", "Segmentation")
#: Values that no column expects.
VALUES: tuple[Any, ...] = (
    *("", " ", "-", "0", "-1", "1e999", "nan", "inf", "-inf", "1e-320", "9" * 400, "1,5", "1.234,5", "0x1f", "NULL", "TRUE"),
    *("=1+1", "<b>", "</script><script>1</script>", "{{7*7}}", "a\x00b", "\x1b[2J", "\u202eabc", "é" * 5000, "\ud83d"),
    *(
        "../../x",
        "2026-13-45",
        "9999-12-31",
        "0000-00-00",
        "ß",
        "\ufeff",
        "%s%n",
        "'; DROP TABLE vines; --",
        '"',
        "\n",
        "，",
    ),
)
PLAIN: tuple[Any, ...] = (None, True, -1, 0, 1e308, -1e308, 2**63, 10**400, [], {}, [[]], "x", *VALUES)
Change = Callable[[Path, random.Random], None]


@dataclass(frozen=True)
class Command:
    """Words of a command; "{name}" is a file or folder of the sound ones, and those in `damaged` may be hit."""

    words: tuple[str, ...]
    damaged: tuple[str, ...]


PLANNED = ("--out", "{out}", "--quiet", "--cores", "1")
COMMANDS = (
    Command(("prescribe", "{estate.gpkg}", "--samples", "{weights.csv}", *PLANNED), ("estate.gpkg", "weights.csv")),
    Command(("prescribe", "{estate.geojson}", "--samples", "{weights.csv}", *PLANNED), ("estate.geojson",)),
    Command(("prescribe", "{estate.gpkg}", "--settings", "{settings.toml}", *PLANNED), ("settings.toml",)),
    *(
        Command(
            ("prescribe", "{estate.gpkg}", "--samples", "{weights.csv}", option, f"{before}{{{file}}}", *PLANNED), (file,)
        )
        for option, before, file in (
            ("--set", "files.rules=", "rules.toml"),
            ("--set", "files.harvest=", "harvest.csv"),
            ("--set", "files.scores=", "scores.csv"),
            ("--set", "files.zones_from=", "zones.gpkg"),
            ("--set", "files.earlier=", "earlier.json"),
            ("--set", "files.bud_checks=", "bud_checks.csv"),
            ("--covariate", "heights=", "heights.tif"),
        )
    ),
    Command(("check", "{estate.gpkg}", "--samples", "{weights.csv}", "--dry-run"), ("estate.gpkg", "weights.csv")),
    Command(("check", "{estate.geojson}", "--samples", "{weights.csv}", "--yes"), ("estate.geojson", "weights.csv")),
    Command(("sample", "{estate.gpkg}", "--out", "{out}", "--quiet"), ("estate.gpkg",)),
    Command(("weigh-in", "{estate.gpkg}", "--samples", "{weights.csv}"), ("estate.gpkg", "weights.csv")),
    Command(
        ("weigh-in", "{estate.gpkg}", "--samples", "{weights.csv}", "--accept", "all", "--out", "{out}"), ("weights.csv",)
    ),
    Command(("join", "{phone1.json}", "{phone2.json}", "--out", "{out}"), ("phone1.json", "phone2.json")),
    Command(("audit", "plan", "{results}", "--out", "{out}"), ("results",)),
    Command(("audit", "read", "{results}", "{counts.csv}", "--out", "{out}"), ("results", "counts.csv", "counts.csv")),
    Command(("audit", "hours", "{results}", "{ticks.csv}", "--out", "{out}"), ("results", "ticks.csv", "ticks.csv")),
    Command(("seasons", "{results}", "{later}", "--out", "{out}"), ("results", "later")),
    Command(("seasons", "{results}", "{later}", "--harvest", "{harvest.csv}", "--out", "{out}"), ("harvest.csv",)),
    Command(("seasons", "{results}", "{later}", "--left", "{left.csv}", "--out", "{out}"), ("left.csv",)),
    Command(("replant", "{results}", "--out", "{out}"), ("results",)),
    Command(("replant", "{estate.gpkg}", "--out", "{out}", "--prices", "{prices.toml}"), ("estate.gpkg", "prices.toml")),
    Command(("settings", "{estate.gpkg}"), ("estate.gpkg",)),
    Command(("rules", "--rules", "{rules.toml}"), ("rules.toml",)),
)


def quietly(words: list[str], told: Path, folder: Path) -> tuple[int, float, float]:
    """Run a command in a copy of this process; return its exit code, seconds and MB; what it says goes into `told`."""
    begun = time.perf_counter()
    child = os.fork()
    if not child:
        number = os.open(told, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(number, 1)
        os.dup2(number, 2)
        os.chdir(folder)
        os.setsid()
        sys.argv = ["geoprune", *words]
        code = 70
        try:
            code = geoprune()
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else int(left.code is not None)
        except BaseException:
            import traceback

            traceback.print_exc()
        finally:
            with suppress(Exception):
                sys.stdout.flush()
                sys.stderr.flush()
            os._exit(code)
    while True:
        done, status, used = os.wait4(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            return code, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
        with suppress(OSError, ValueError):
            held = int(Path(f"/proc/{child}/statm").read_text().split()[1]) * resource.getpagesize() / 2**20
            if time.perf_counter() - begun > 3 * MOST_S or held > 1.5 * MOST_MB:
                os.kill(child, 9)
        time.sleep(0.02)


def make_sound(folder: Path) -> None:
    """Make everything that commands are given."""
    folder.mkdir()
    vineyard, weights = iv.write(folder)
    vineyard.rename(folder / "estate.gpkg")
    weights.rename(folder / "weights.csv")
    blocks = iv.blocks().to_crs(4326)
    features = [feature | {"properties": feature["properties"] | {"layer": "blocks"}} for feature in told_features(blocks)]
    features += [
        feature | {"properties": feature["properties"] | {"layer": "rows"}}
        for feature in told_features(iv.rows().to_crs(4326))
    ]
    (folder / "estate.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    name = str(blocks["block"].iloc[0])
    (folder / "settings.toml").write_text(
        '[files]\nsamples = "weights.csv"\n[zones]\nmax_zones = 3\n[pages]\nunits = "metric"\n'
    )
    rule = '[[rule]]\nname = "mine"\nfirst_buds = 20\nfirst_lb = 1\nbuds_per_further_lb = 10\nsource = "ours"\n'
    (folder / "rules.toml").write_text(rule)
    (folder / "harvest.csv").write_text(f"block,season,yield_kg\n{name},2026,900\n")
    (folder / "scores.csv").write_text(
        "block,row,vine,score\n" + "".join(f"{name},{r},{v},{r % 5}\n" for r in range(1, 9) for v in (2, 9))
    )
    west, south, east, north = iv.blocks().total_bounds
    half = [shapely.box(west, south, (west + east) / 2, north), shapely.box((west + east) / 2, south, east, north)]
    iv.gpd.GeoDataFrame({"zone": [1, 2]}, geometry=half, crs=iv.blocks().crs).to_file(folder / "zones.gpkg", layer="zones")
    lines = "".join(
        f"{x},{y},50,{n}\n" for n, (x, y) in enumerate(iv.blocks().centroid.to_crs(4326).map(lambda p: (p.x, p.y)))
    )
    (folder / "bud_checks.csv").write_text("lon,lat,buds_cut,primary_dead\n" + lines)
    cells, corner = (
        np.arange(900, dtype="float32").reshape(30, 30),
        rasterio.transform.from_bounds(west - 20, south - 20, east + 20, north + 20, 30, 30),
    )
    kept = {
        "driver": "GTiff",
        "height": 30,
        "width": 30,
        "count": 1,
        "dtype": "float32",
        "crs": str(iv.blocks().crs),
        "transform": corner,
    }
    with rasterio.open(folder / "heights.tif", "w", **kept) as raster:
        raster.write(cells, 1)
    for number, vine in ((1, 4), (2, 5)):
        entry = Entry(
            f"e{number}", 1, f"p{number}", "2026-12-03T09:00-05:00", "JM", "weigh", "1", vine, {"weight": 2.0, "unit": "lb"}
        )
        (folder / f"phone{number}.json").write_text(json.dumps(list_of(FieldLog(name, 2027, "e", (entry,)))))
    told = folder / "told"
    for out in ("results", "later"):
        must(["prescribe", "estate.gpkg", "--samples", "weights.csv", "--out", out, "--quiet", "--cores", "1"], told, folder)
    must(["audit", "plan", "results", "--out", "recount"], told, folder)
    must(["replant", "results", "--out", "replanting"], told, folder)
    shutil.copy(folder / "replanting" / "prices.toml", folder / "prices.toml")
    shutil.copy(folder / "results" / "summary.json", folder / "earlier.json")
    counts = (folder / "recount" / "recount.csv").read_text("utf-8-sig").splitlines()
    head = counts[0].split(",")
    place = head.index("buds_left")
    filled = [",".join("31" if n == place else cell for n, cell in enumerate(line.split(","))) for line in counts[1:]]
    (folder / "counts.csv").write_text("\n".join([counts[0], *filled]) + "\n")
    (folder / "ticks.csv").write_text(
        "block,row,hours,worker,done\n" + "".join(f"{name},{r},1.5,Eva,yes\n" for r in range(1, 9))
    )
    must(["audit", "read", "results", "counts.csv", "--out", "checked"], told, folder)
    shutil.copy(next((folder / "checked").glob("**/left.csv")), folder / "left.csv")


def told_features(table: Any) -> list[dict[str, Any]]:
    """Features of a table as GeoJSON has them."""
    return json.loads(table.to_json())["features"]


def must(words: list[str], told: Path, folder: Path) -> None:
    """Run a command on sound files."""
    code, _, _ = quietly(words, told, folder)
    if code:
        raise SystemExit(f"{' '.join(words)}: {code}\n{told.read_text(errors='replace')}")
    told.unlink()


def damage(path: Path, lot: random.Random) -> str:
    """Damage a file, or one file of a folder; return how."""
    if path.is_dir():
        path = lot.choice([p for p in sorted(path.rglob("*")) if p.name in ("summary.json", "prescription.gpkg")] or [path])
    of_kind = {
        ".csv": (csv_cell, csv_line, csv_column),
        ".json": (json_value,),
        ".geojson": (json_value,),
        ".toml": (toml_value,),
    }
    of_kind |= {".gpkg": (database_value, database_value, database_shape, database_table)}
    own: tuple[Change, ...] = of_kind.get(path.suffix, ())
    change = lot.choice((*own, *own, *own, cut_short, turned_bits, hole, other_content, nothing))
    change(path, lot)
    return f"{change.__name__} of {path.name}"


def cut_short(path: Path, lot: random.Random) -> None:
    """Leave the first part."""
    data = path.read_bytes()
    path.write_bytes(data[: lot.randrange(len(data))])


def turned_bits(path: Path, lot: random.Random) -> None:
    """Turn a few bits."""
    data = bytearray(path.read_bytes())
    for _ in range(lot.choice((1, 3, 30))):
        data[lot.randrange(len(data))] ^= 1 << lot.randrange(8)
    path.write_bytes(data)


def hole(path: Path, lot: random.Random) -> None:
    """Write over a stretch with zeros, noise, or a stretch from elsewhere in it."""
    data = bytearray(path.read_bytes())
    length = min(len(data), lot.choice((1, 16, 300, 5000)))
    place, other = lot.randrange(len(data) - length + 1), lot.randrange(len(data) - length + 1)
    data[place : place + length] = lot.choice((bytes(length), lot.randbytes(length), data[other : other + length]))
    path.write_bytes(data)


def other_content(path: Path, lot: random.Random) -> None:
    """Write what belongs into another kind of file."""
    kinds = (
        b"",
        b"\x00" * 5000,
        b"PK\x03\x04" + bytes(60),
        b"SQLite format 3\x00" + bytes(84),
        b"{" * 100_000,
        b"[" * 100_000,
    )
    kinds += (
        b'{"a":1}',
        b"a = 1\n",
        b"a,b\n1,2\n",
        b"<kml/>",
        b"\xff\xfea\x00",
        b"\xef\xbb\xbf",
        b'"' * 1000,
        b"," * 100_000,
        b"\n" * 100_000,
    )
    path.write_bytes(lot.choice(kinds))


def nothing(path: Path, lot: random.Random) -> None:
    """Put something in its place that is no file."""
    path.unlink()
    kind = lot.choice(("pipe", "device", "folder", "gone", "loop"))
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    elif kind != "gone":
        path.symlink_to({"device": "/dev/zero", "loop": path.name}[kind])


def csv_cell(path: Path, lot: random.Random) -> None:
    """Put hostile values into cells."""
    lines = [line.split(",") for line in path.read_text().splitlines()]
    for _ in range(lot.choice((1, 1, 5))):
        line = lot.choice(lines[lot.choice((0, 1)) :] or lines)
        line[lot.randrange(len(line))] = str(lot.choice(VALUES))
    path.write_text("\n".join(map(",".join, lines)) + "\n", errors="surrogatepass")


def csv_line(path: Path, lot: random.Random) -> None:
    """Repeat, leave out, shorten or lengthen lines."""
    lines = path.read_text().splitlines()
    place = lot.randrange(len(lines))
    lines[place : place + 1] = lot.choice(
        ([], [lines[place]] * 3, [lines[place] + ",1,2"], [lines[place].split(",")[0]], [lines[place]] * 20_000)
    )
    path.write_text("\n".join(lines) + "\n")


def csv_column(path: Path, lot: random.Random) -> None:
    """Leave out, repeat, rename or empty a column, or write one value into all of it."""
    lines = [line.split(",") for line in path.read_text().splitlines()]
    place, kind, value = (
        lot.randrange(len(lines[0])),
        lot.choice(("drop", "twice", "rename", "one")),
        str(lot.choice(VALUES)),
    )
    for number, line in enumerate(lines):
        if kind == "drop":
            del line[place]
        elif kind == "twice":
            line.insert(0, line[place])
        elif (kind == "rename") == (number == 0):
            line[place] = value
    path.write_text("\n".join(map(",".join, lines)) + "\n", errors="surrogatepass")


def json_value(path: Path, lot: random.Random) -> None:
    """Replace, leave out or repeat values anywhere in JSON."""
    data = json.loads(path.read_text())
    for _ in range(lot.choice((1, 1, 4))):
        place = lot.choice(places_of(data))
        if not place:
            data = lot.choice(PLAIN)
            break
        held, key = place
        if lot.random() < 0.25:
            del held[key]
        else:
            held[key] = lot.choice((*PLAIN, data if lot.random() < 0.1 else 0))
        if lot.random() < 0.1 and isinstance(held, list):
            held.extend(held[:50])
    with suppress(ValueError, RecursionError):  # it may hold itself by now
        path.write_text(json.dumps(data), errors="surrogatepass")


def places_of(data: Any) -> list[tuple[Any, Any]]:
    """Every place in JSON that holds a value; () for the whole."""
    found: list[Any] = [()]
    waiting = [data]
    while waiting and len(found) < 50_000:
        held = waiting.pop()
        keys = list(held) if isinstance(held, dict) else range(len(held)) if isinstance(held, list) else ()
        found += [(held, key) for key in keys]
        waiting += [held[key] for key in keys]
    return found


def toml_value(path: Path, lot: random.Random) -> None:
    """Replace a value of a TOML file by another kind, or repeat or rename a line."""
    lines = path.read_text().splitlines()
    named = [n for n, line in enumerate(lines) if "=" in line and not line.lstrip().startswith("#")]
    commented = [n for n, line in enumerate(lines) if line.startswith("# ") and " = " in line]
    place = lot.choice(named or commented or range(len(lines)))
    name = lines[place].lstrip("# ").split("=")[0].strip()
    values = (
        "[]",
        "{}",
        "nan",
        "inf",
        "-1",
        "1e308",
        '""',
        "true",
        "1979-05-27",
        '["a"]',
        "[[1]]",
        "'''\n'''",
        "9" * 400,
        '"\\u0000"',
    )
    values += (
        '"/dev/zero"',
        '"../../etc/passwd"',
        '"http://x/y.gpkg"',
        "{a = 1}",
        "[1, [2, [3]]]",
        '"' + "x" * 100_000 + '"',
    )
    lines[place] = lot.choice(
        (
            f"{name} = {lot.choice(values)}",
            lines[place] + "\n" + lines[place],
            f"{name}x = 1",
            f"[{name}]",
            f"[[{name}]]",
            name,
        )
    )
    path.write_text("\n".join(lines) + "\n")


def columns_of(base: sqlite3.Connection, lot: random.Random) -> tuple[str, str, bool]:
    """A table of layers, one of its columns, and whether that holds shapes."""
    tables = [name for (name,) in base.execute("SELECT table_name FROM gpkg_contents")]
    table = lot.choice(tables)
    shapes = {
        name for (name,) in base.execute("SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (table,))
    }
    names = [line[1] for line in base.execute(f'PRAGMA table_info("{table}")') if not line[5]]
    name = lot.choice(names)
    return table, name, name in shapes


def opened(path: Path) -> sqlite3.Connection:
    """Open a GeoPackage without what its triggers would ask for."""
    base = sqlite3.connect(path, isolation_level=None)
    for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        base.execute(f'DROP TRIGGER "{name}"')
    return base


def database_value(path: Path, lot: random.Random) -> None:
    """Write hostile values into a column of a GeoPackage: one line, or all."""
    with closing(opened(path)) as base:
        table, name, shape = columns_of(base, lot)
        value: Any = lot.choice(
            (None, -1, 0, 1e308, float("inf"), 2**62, b"\x00\xff", *(v for v in VALUES if v != "\ud83d"))
        )
        value = lot.randbytes(lot.choice((0, 5, 60))) if shape else value
        base.execute(
            f'UPDATE "{table}" SET "{name}" = ?'
            + lot.choice(("", " WHERE rowid = (SELECT min(rowid) FROM " + f'"{table}")')),
            (value,),
        )


def database_shape(path: Path, lot: random.Random) -> None:
    """Write odd shapes: empty, of another kind, turned over, far off, not finite, with a thousand corners, many parts."""
    points = [(lot.uniform(0, 1e6), lot.uniform(0, 5e6)) for _ in range(lot.choice((1, 3, 1000)))]
    shapes = [
        shapely.Point(),
        shapely.Polygon(),
        shapely.Point(1e300, -1e300),
        shapely.Point(float("nan"), 1),
        shapely.LineString(),
    ]
    shapes += [
        shapely.MultiPoint(points),
        shapely.GeometryCollection([shapely.Point(0, 0)]),
        shapely.box(-1e9, -1e9, 1e9, 1e9),
    ]
    shapes += [shapely.Polygon(points * 4) if len(points) > 2 else shapely.Point(0, 0), shapely.LineString([(0, 0), (0, 0)])]
    shapes += [
        shapely.MultiPolygon([shapely.box(x, y, x + 1, y + 1) for x, y in points]),
        shapely.box(620_000, 4_690_000, 620_000.2, 4_690_500),
    ]
    with closing(opened(path)) as base:
        places = base.execute("SELECT table_name, column_name, srs_id FROM gpkg_geometry_columns").fetchall()
        table, name, srs = lot.choice(places)
        shape = lot.choice(shapes)
        head = b"GP\x00" + bytes([0x11 if shape.is_empty else 0x01]) + int(srs).to_bytes(4, "little", signed=True)
        base.execute(
            f'UPDATE "{table}" SET "{name}" = ?' + lot.choice(("", " WHERE rowid % 3 = 0")),
            (head + shapely.to_wkb(shape, byte_order=1),),
        )


def database_table(path: Path, lot: random.Random) -> None:
    """Empty, drop, rename, repeat or bend tables, columns and reference systems."""
    with closing(opened(path)) as base:
        table, name, _ = columns_of(base, lot)
        changes = (
            f'DELETE FROM "{table}"',
            f'ALTER TABLE "{table}" RENAME COLUMN "{name}" TO "{name}_x"',
            f'DROP TABLE "{table}"',
            "DELETE FROM gpkg_geometry_columns",
            "UPDATE gpkg_geometry_columns SET srs_id = 4326",
            "UPDATE gpkg_geometry_columns SET geometry_type_name = 'POINT'",
            "UPDATE gpkg_spatial_ref_sys SET definition = 'PROJCS[' WHERE srs_id > 0",
            "DELETE FROM gpkg_contents",
            f"UPDATE gpkg_contents SET data_type = 'tiles' WHERE table_name = '{table}'",
            f'ALTER TABLE "{table}" ADD COLUMN "block_2" TEXT DEFAULT \'x\'',
            f'UPDATE "{table}" SET rowid = rowid + 9000000000000',
        )
        with suppress(sqlite3.Error):
            base.execute(lot.choice(changes))


def digests_of(folder: Path) -> dict[str, str]:
    """Digests of the ordinary files below a folder."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and not p.is_symlink() and p.name != "geoprune.toml"
    }


def attack(sound: Path, seed: int, place: Path, commands: Sequence[Command] = COMMANDS) -> tuple[Command, str]:
    """Do what a seed says; return the command and what was wrong, "" if nothing was."""
    lot = random.Random(seed)
    command = lot.choice(commands)
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    files = place / "files"
    files.mkdir()
    for name in {word[word.index("{") + 1 : -1] for word in command.words if "{" in word} - {"out"}:
        (shutil.copytree if (sound / name).is_dir() else shutil.copy2)(sound / name, files / name)
    if "settings.toml" in command.damaged:
        shutil.copy2(sound / "weights.csv", files / "weights.csv")
    hit = lot.choice(command.damaged)
    how = damage(files / hit, lot)
    before = digests_of(files)
    out = place / ("out.csv" if command.words[0] == "weigh-in" else "out")
    named = {"{out}": str(out)}
    words = [named.get(word) or word.replace("{", str(files) + "/").replace("}", "") for word in command.words]
    if lot.random() < 0.3 and command.words[0] not in ("rules", "settings"):
        words += ["--lang", "es"]
    told = place / "told"
    code, seconds, megabytes = quietly(words, told, files)
    text = told.read_text(errors="replace")
    wrong = []
    if code not in (0, 1, 2):
        wrong.append(f"exit {code}")
    said = text.replace(str(place), "").replace(
        "Error: ", "" if code == 2 else "Error: "
    )  # wrong usage is told with that word
    wrong += [f"says {word!r}" for word in NOISE if word in said]
    if seconds > MOST_S or megabytes > MOST_MB:  # of processor time: others may be at work on the machine
        wrong.append(f"{seconds:.0f} s, {megabytes:.0f} MB")
    given = {word[word.index("{") + 1 :].split(".")[0].rstrip("}") for word in command.words if "{" in word}
    given |= {"prescription.gpkg", "summary.json"} if (files / hit).is_dir() else set()
    if code == 1 and command.words[0] != "weigh-in" and not any(name in said for name in given):
        wrong.append("names no file")
    if code and out.exists() and command.words[0] not in ("prescribe", "audit"):
        wrong.append("leaves results")
    left = [p.name for p in place.iterdir() if p.name.startswith(".") or (p.name.startswith("out") and code == 2)]
    wrong += [f"leaves {left}"] if left else []
    wrong += ["changes its files"] if digests_of(files) != before else []
    if not wrong:
        return command, ""
    last = " | ".join(line for line in text.splitlines() if line.strip())[-600:]
    return command, f"seed {seed}: {' '.join(command.words[:2])}: {how}: {'; '.join(wrong)}: {last}"


def main() -> int:
    """Attack so many times."""
    many, first = (int(word) for word in (sys.argv[1:] + ["300", "0"][len(sys.argv) - 1 :])[:2])
    commands = [command for command in COMMANDS if command.words[0] in sys.argv[3:]] or COMMANDS
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        make_sound(folder / "sound")
        runs, wrong = Counter[str](), 0
        for seed in range(first, first + many):
            command, told = attack(folder / "sound", seed, folder / "place", commands)
            runs[command.words[0]] += 1
            if told:
                wrong += 1
                print(told, flush=True)
        print(f"{many} runs from seed {first}, {wrong} wrong: {dict(runs.most_common())}")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
