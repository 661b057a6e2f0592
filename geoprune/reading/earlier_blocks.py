"""The blocks of an earlier summary.json, by name."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from geoprune.errors import DataError
from geoprune.reading.faults import Faults
from geoprune.sources import LARGEST_TABLE, read_bytes


def read_earlier_blocks(path: Path, faults: Faults) -> dict[str, dict[str, Any]]:
    """Read what an earlier `summary.json` says of each block; nothing where it is none, and a problem is noted."""
    try:
        summary = json.loads(read_bytes(path, most=LARGEST_TABLE).decode("utf-8"))
        if summary["program"] != "geoprune":
            raise ValueError
        return {str(name): dict(block) for name, block in summary["blocks"].items()}
    except (DataError, OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        faults.at(path.name).add("it is not a summary of earlier results", "Give the summary.json of an earlier run")
        return {}
