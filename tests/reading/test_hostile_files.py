"""No file, however broken or meant, gets more than a message: no exception of a library, no hang, no network, no change.

The files are made by hostile_files.py; docs/hostile-files.md lists their classes and the limits.
"""

import hashlib
import json
import os
import socket
import sqlite3
import threading
import warnings
from pathlib import Path

import hostile_files
import invented_vineyard as iv
import pytest

from geoprune.covariates import read_covariate
from geoprune.errors import DataError
from geoprune.reading import read_earlier, read_given_zones, read_vineyard
from geoprune.rules import load_rules
from geoprune.sources import sources_noted

PAGE = Path(__file__).parents[2] / "docs" / "hostile-files.md"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a Shapefile cuts long names; that it says so is no matter here
        return hostile_files.corpus(tmp_path_factory.mktemp("hostile"))


@pytest.fixture(scope="module")
def beside(tmp_path_factory):
    return iv.write(tmp_path_factory.mktemp("beside"))


def read(one, beside):
    vineyard, weights = beside
    if one.reader == "vineyard":
        return read_vineyard(one.path, samples=weights)
    if one.reader == "samples":
        return read_vineyard(vineyard, samples=one.path)
    if one.reader == "rules":
        return load_rules(one.path)
    if one.reader == "earlier":
        return read_earlier([one.path])
    return read_covariate("x", one.path, around=iv.blocks().geometry)


def fault_of(one, beside) -> str | None:
    """What is wrong with how a file was met; None, it is hoped."""
    try:
        read(one, beside)
        said = ""
    except DataError as error:
        said = str(error)
    except Exception as error:
        return f"{one.path.name!r} ({one.kind}): {error!r}"
    if one.expected is None or (one.expected == "" and CANNOT_OPEN not in said) or (one.expected and one.expected in said):
        return None
    return f"{one.path.name!r} ({one.kind}): told {said[:300]!r}, not {one.expected!r}"


CANNOT_OPEN = "cannot be read"


def test_each_of_hundreds_of_files_gets_its_message(made, beside, capfd):
    assert len(made) >= 300
    assert [fault for one in made if (fault := fault_of(one, beside))] == []
    assert capfd.readouterr() == ("", "")  # and no library talks on the terminal


def test_the_documentation_lists_every_class(made):
    page = PAGE.read_text(encoding="utf-8")
    assert [kind for kind in {one.kind for one in made} - {"sound"} if f"| {kind} |" not in page] == []


@pytest.mark.parametrize("name", ["a!b.gpkg", "Farm! 2026/v.gpkg", "a;b.gpkg", "#.gpkg", "{x}.gpkg", "%41.gpkg", "a?b.gpkg"])
def test_the_file_opened_is_the_file_named(tmp_path, beside, name):
    path = tmp_path / name
    path.parent.mkdir(exist_ok=True)
    for other in {"b.gpkg", "A.gpkg", " 2026/v.gpkg"} - {name}:
        (tmp_path / other).parent.mkdir(exist_ok=True)
        iv.blocks(block="other").to_file(tmp_path / other, layer="blocks", driver="GPKG")
    path.write_bytes(beside[0].read_bytes())
    said = read_vineyard(path, samples=beside[1])
    assert said.blocks["block"].tolist() == ["A"]
    assert said.sources[0].sha256 == hashlib.sha256(beside[0].read_bytes()).hexdigest()


def test_the_digest_is_of_the_bytes_that_were_used(tmp_path, beside):
    rules = tmp_path / "rules.toml"
    rules.write_text('[[rule]]\nid = "mine"\nfirst = 20\nfurther = 10\nunit = "lb"\nsource = "our own counts"\n')
    before = hashlib.sha256(rules.read_bytes()).hexdigest()
    with sources_noted() as sources:
        load_rules(rules)
        rules.write_text("changed meanwhile")
        read_vineyard(beside[0], samples=beside[1])
    assert [source.name for source in sources] == ["rules.toml", "vineyard.gpkg", "weights.csv"]
    assert sources[0].sha256 == before


def test_a_database_that_was_not_closed_is_read_to_its_last_change_and_left_alone(tmp_path, beside):
    path = tmp_path / "v.gpkg"
    path.write_bytes(beside[0].read_bytes())
    other = sqlite3.connect(path)
    other.execute("PRAGMA journal_mode = WAL")
    other.execute("PRAGMA wal_autocheckpoint = 0")
    for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        other.execute(f'DROP TRIGGER "{name}"')  # they call functions of GDAL
    other.execute("UPDATE blocks SET variety = 'Niagara'")
    other.commit()
    kept = {part.name: part.read_bytes() for part in tmp_path.iterdir() if not part.name.endswith("-shm")}
    assert "v.gpkg-wal" in kept
    said = read_vineyard(path, samples=beside[1])
    assert said.blocks["variety"].tolist() == ["Niagara"]
    assert {part.name: part.read_bytes() for part in tmp_path.iterdir() if not part.name.endswith("-shm")} == kept
    other.close()


def test_no_data_file_reaches_the_network(made, beside):
    """A server on this machine stands for the network: nobody calls it."""
    called = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        port = server.getsockname()[1]

        def listen():
            while not called:
                try:
                    server.accept()[0].close()
                    called.append(True)
                except TimeoutError:
                    continue
                except OSError:
                    return

        threading.Thread(target=listen, daemon=True).start()
        for one in made:
            if not one.path.is_file() or b"http://127.0.0.1:9/" not in (data := one.path.read_bytes()):
                continue
            one.path.write_bytes(data.replace(b"http://127.0.0.1:9/", f"http://127.0.0.1:{port}/".encode()))
            fault_of(one, beside)
    assert called == []


def test_only_named_drivers_are_there():
    import pyogrio

    assert set(pyogrio.list_drivers()) == {"ESRI Shapefile", "FlatGeobuf", "GPKG", "GPX", "GeoJSON", "KML", "LIBKML", "MEM"}
    assert os.environ["GDAL_HTTP_PROXY"].startswith("http://127.0.0.1")


def test_names_that_turn_hide_or_break_text_are_cleaned(tmp_path, beside):
    name, seen = "No\u202eth\nside\x1b[2J\x9b", "Noth side[2J"
    zones = iv.blocks()[["geometry"]].assign(zone=name)
    zones.to_file(tmp_path / "z.gpkg", layer="zones", driver="GPKG")
    vineyard = read_vineyard(beside[0], samples=beside[1])
    assert read_given_zones(tmp_path / "z.gpkg", vineyard)["zone"].tolist() == [seen]
    rule = {"id": "mine", "first": 20, "further": 10, "unit": "lb", "source": "our own", "cultivars": [name]}
    lines = [f"{key} = {json.dumps(value)}" for key, value in rule.items()]
    (tmp_path / "r.toml").write_text("\n".join(["[[rule]]", *lines]), encoding="utf-8")
    assert load_rules(tmp_path / "r.toml").resolve("mine").cultivars == (seen,)
