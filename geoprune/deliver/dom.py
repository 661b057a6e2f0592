"""The script that map and field page build their pages with."""

from __future__ import annotations

from functools import cache
from importlib.resources import files


@cache
def dom_script() -> str:
    """Return the script: `make`, which makes an element, and `given`, its children that are there."""
    return (files("geoprune.deliver") / "dom.js").read_text(encoding="utf-8")
