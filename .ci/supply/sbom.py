"""Write what geoprune is made of as CycloneDX 1.6 JSON: `make sbom`.

    python .ci/supply/sbom.py sbom.json

Packages are those of requirements.lock; the lock allows several files of each (one a platform), so their digests stand as
properties. The number and the time are left out unless SOURCE_DATE_EPOCH is set: the same lock gives the same bytes.
"""

from __future__ import annotations

import json
import os
import sys
import tomllib
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / ".ci" / "supply"))
from components import Component, components  # noqa: E402

LEAFLET = ROOT / "geoprune" / "deliver" / "maps" / "leaflet" / "leaflet.js"


def bill() -> dict[str, Any]:
    """Return the bill of materials."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    packages = components()
    own = {
        "type": "application",
        "name": "geoprune",
        "version": project["version"],
        "bom-ref": _ref("geoprune", project["version"]),
    }
    own |= {"description": project["description"], "licenses": [{"license": {"id": "MIT"}}], "purl": own["bom-ref"]}
    metadata: dict[str, Any] = {"component": own, "lifecycles": [{"phase": "build"}]}
    if "SOURCE_DATE_EPOCH" in os.environ:
        metadata["timestamp"] = datetime.fromtimestamp(int(os.environ["SOURCE_DATE_EPOCH"]), UTC).isoformat()
    needs = {
        one.name: [_ref(other.name, other.version) for other in packages if other.name in one.needs] for one in packages
    }
    needed = {name for one in packages for name in one.needs}
    top = [_ref(one.name, one.version) for one in packages if one.name not in needed]
    return {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": metadata,
        "components": [*map(_package, packages), _leaflet()],
        "dependencies": [
            {"ref": own["bom-ref"], "dependsOn": [*top, _leaflet()["bom-ref"]]},
            *({"ref": _ref(one.name, one.version), "dependsOn": needs[one.name]} for one in packages),
        ],
    }


def _package(one: Component) -> dict[str, Any]:
    licence = {"expression": one.licence} if " " in one.licence else {"license": {"id": one.licence}}
    found: dict[str, Any] = {
        "type": "library",
        "name": one.name,
        "version": one.version,
        "bom-ref": _ref(one.name, one.version),
    }
    found |= {"purl": found["bom-ref"], "description": one.summary, "licenses": [licence]}
    properties = [{"name": "geoprune:lock:sha256", "value": digest} for digest in one.sha256]
    if one.native:
        properties.append({"name": "geoprune:native", "value": one.native})
    return {**found, "properties": properties}


def _leaflet() -> dict[str, Any]:
    """Leaflet, which lies in geoprune's own folder and goes into every map."""
    version = LEAFLET.read_text("utf-8").split("Leaflet ", 1)[1].split(",")[0]
    purl = f"pkg:npm/leaflet@{version}"
    return {
        "type": "library",
        "name": "leaflet",
        "version": version,
        "bom-ref": purl,
        "purl": purl,
        "description": "Maps in a page; a copy stands in geoprune/deliver/maps/leaflet",
        "licenses": [{"license": {"id": "BSD-2-Clause"}}],
        "hashes": [{"alg": "SHA-256", "content": sha256(LEAFLET.read_bytes()).hexdigest()}],
    }


def _ref(name: str, version: str) -> str:
    return f"pkg:pypi/{name}@{version}"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(json.dumps(bill(), indent=1, ensure_ascii=False) + "\n", "utf-8")
