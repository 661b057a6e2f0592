"""What geoprune runs on: every package of requirements.lock with its licence and digests."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / ".ci" / "supply"))
from make_locks import entries  # noqa: E402

#: Licences as their authors write them, in the names of the SPDX list.
SPDX = {
    "MIT License": "MIT",
    "Apache Software License": "Apache-2.0",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "New BSD": "BSD-3-Clause",
}
#: "BSD" and the like leave open which: told by the text of the licence (three conditions: BSD-3-Clause).
BY_TEXT = {"cligj": "BSD-3-Clause", "jinja2": "BSD-3-Clause", "rasterio": "BSD-3-Clause", "scipy": "BSD-3-Clause"}
#: Native libraries inside the wheels whose licence asks for more than a notice, as the wheels' own licence files tell.
NATIVE = {
    "shapely": "GEOS (LGPL-2.1)",
    "rasterio": "GDAL (MIT), GEOS (LGPL-2.1), PROJ (MIT) and what they open files with",
    "pyogrio": "GDAL (MIT) and what it opens files with",
    "pyproj": "PROJ (MIT), libcurl (curl), libtiff, SQLite (public domain)",
    "numpy": "OpenBLAS (BSD-3-Clause), GCC's runtime library (GPL-3.0-or-later WITH GCC-exception-3.1), libquadmath "
    "(LGPL-2.1-or-later)",
    "scipy": "as numpy",
    "typst": "the typst compiler (Apache-2.0) and its fonts",
}


@dataclass(frozen=True)
class Component:
    """A package: licence in SPDX's terms, SHA-256 of each file that the lock allows, names of what it needs."""

    name: str
    version: str
    licence: str
    summary: str
    native: str
    sha256: tuple[str, ...]
    needs: tuple[str, ...]


def components(lock: Path = ROOT / "requirements.lock") -> list[Component]:
    """Return the packages of a lock that are for this machine, in order.

    Raises
    ------
    ValueError
        If one is not installed in the version locked, or its licence has no name here.
    """
    locked = {}
    for entry in entries(lock.read_text("utf-8")):
        name, version = entry.split()[0].split("==")
        if ";" not in entry.splitlines()[0]:
            locked[name] = (version, tuple(re.findall(r"sha256:(\w+)", entry)))
    return [_component(name, version, sha256, set(locked)) for name, (version, sha256) in locked.items()]


def _component(name: str, version: str, sha256: tuple[str, ...], known: set[str]) -> Component:
    try:
        found = distribution(name)
    except PackageNotFoundError:
        raise ValueError(f"{name} is not installed: run make setup") from None
    if found.version != version:
        raise ValueError(f"{name} {found.version} is installed, the lock has {version}: run make setup")
    needs = {_plain(re.split(r"[ ;<>=!~\[(]", need)[0]) for need in found.requires or () if "extra ==" not in need}
    return Component(
        name=name,
        version=version,
        licence=licence_of(name),
        summary=found.metadata.get("Summary") or "",
        native=NATIVE.get(name, ""),
        sha256=sha256,
        needs=tuple(sorted(needs & known)),
    )


def licence_of(name: str) -> str:
    """Return the licence of an installed package as an SPDX expression.

    Raises
    ------
    ValueError
        If what the package says is not known here: then read its licence, and add it above.
    """
    fields = distribution(name).metadata
    if expression := fields.get("License-Expression"):
        return str(expression)
    classified = [line.split(" :: ")[-1] for line in fields.get_all("Classifier") or () if line.startswith("License")]
    for said in (BY_TEXT.get(name), fields.get("License"), *classified):
        if said in SPDX or said in SPDX.values() or said in BY_TEXT.values():
            return SPDX.get(said, said)
    raise ValueError(f"{name}: licence {fields.get('License')!r} {classified} has no SPDX name in .ci/supply/components.py")


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()
