"""What is installed is what is locked, each file by its digest; licences and the bill of materials say what is there.

The bill is held against the schema of CycloneDX 1.6 as published (it comes with cyclonedx-python-lib), versions against
what pip installed.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from importlib.metadata import distribution, packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / ".ci" / "supply"))

from components import NATIVE, components  # noqa: E402
from licences import PAGE, page_with_table  # noqa: E402
from make_locks import entries  # noqa: E402

LOCKS = {kind: (ROOT / f"requirements{kind}.lock").read_text("utf-8") for kind in ("", "-test", "-data")}


def pinned(kind: str) -> dict[str, str]:
    """Name -> version of the packages of a lock that are for this machine."""
    heads = [entry.splitlines()[0] for entry in entries(LOCKS[kind])]
    return dict(head.split()[0].split("==") for head in heads if "win32" not in head)


@pytest.mark.parametrize("kind", LOCKS)
def test_every_package_is_pinned_with_the_digest_of_each_file(kind):
    for entry in entries(LOCKS[kind]):
        lines = [line.rstrip("\\ ") for line in entry.splitlines()]
        assert re.fullmatch(r"[a-z0-9-]+==[0-9][0-9a-z.]*( ; .+)?", lines[0]), lines[0]
        assert len(lines) > 1, lines[0]
        assert all(re.fullmatch(r"    --hash=sha256:[0-9a-f]{64}", line) for line in lines[1:]), lines[0]


@pytest.mark.parametrize("kind", LOCKS)
def test_no_lock_names_a_host_or_an_option_but_digests(kind):
    assert "://" not in LOCKS[kind]
    assert set(re.findall(r"--\w+", LOCKS[kind])) == {"--hash"}


def test_pip_is_told_to_demand_the_digests():
    made = (ROOT / "Makefile").read_text("utf-8")
    installs = [line for line in made.splitlines() if "install" in line and " -r " in line]
    assert len(installs) == 3
    assert all("--require-hashes" in line for line in installs)


def test_no_package_is_in_two_locks_and_each_is_installed_as_locked():
    assert not set(pinned("")) & set(pinned("-test"))
    for kind in LOCKS:
        for name, version in pinned(kind).items():
            assert distribution(name).version == version, name


def test_what_geoprune_imports_is_in_the_lock_that_runs():
    lock = {name.replace("-", "_") for name in pinned("")}
    homes = packages_distributions()
    found = set()
    for path in (ROOT / "geoprune").rglob("*.py"):
        found |= set(re.findall(r"^\s*(?:import|from) (\w+)", path.read_text("utf-8"), re.MULTILINE))
    libraries = {home for name in found & set(homes) for home in homes[name]} - {"geoprune"}
    assert {"numpy", "rasterio", "folium"} <= libraries
    chosen = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
    by_choice = {re.split(r"[^\w-]", entry)[0] for extra in ("cluster", "parquet", "postgis") for entry in chosen[extra]}
    assert {re.sub(r"[-.]", "_", name).lower() for name in libraries - by_choice} <= lock


def test_the_page_of_licences_lists_what_runs():
    page = PAGE.read_text("utf-8")
    assert page == page_with_table(page), "run make licences"
    assert all(f"| {name} | {version} |" in page for name, version in pinned("").items())


def test_wheels_that_bring_native_libraries_are_told_with_them():
    site = Path(distribution("numpy").locate_file(""))
    bring = {one.name for one in components() if (site / f"{one.name}.libs").exists()}
    assert {"numpy", "scipy", "shapely", "rasterio"} <= bring <= set(NATIVE)


def test_the_bill_of_materials_is_valid_cyclonedx_and_lists_what_runs(tmp_path):
    from cyclonedx.schema import SchemaVersion
    from cyclonedx.validation.json import JsonStrictValidator

    subprocess.run([sys.executable, ROOT / ".ci" / "supply" / "sbom.py", tmp_path / "sbom.json"], check=True)
    text = (tmp_path / "sbom.json").read_text("utf-8")
    validator = JsonStrictValidator(SchemaVersion.V1_6)
    assert validator.validate_str(text) is None
    assert validator.validate_str(text.replace('"library"', '"no such kind"', 1)) is not None
    bill = json.loads(text)
    listed = {one["name"]: one["version"] for one in bill["components"]}
    assert listed == {**pinned(""), "leaflet": "1.9.4"}
    assert all(one["licenses"] for one in bill["components"])
    (rasterio,) = [one for one in bill["dependencies"] if one["ref"].startswith("pkg:pypi/rasterio@")]
    assert any(need.startswith("pkg:pypi/numpy@") for need in rasterio["dependsOn"])
