"""The blocks of an earlier summary.json, by name."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from geoprune.reading.faults import Faults


def read_earlier_blocks(path: Path, faults: Faults) -> dict[str, dict[str, Any]]:
    """Read what an earlier `summary.json` tells of each block; nothing where it is none, and a problem is noted."""
    try:
        summary = json.loads(path.read_text(encoding="utf-8"))
        if summary["program"] != "geoprune":
            raise ValueError
        return {str(name): dict(block) for name, block in summary["blocks"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        faults.at(path.name).add("it is not a summary of earlier results", "Give the summary.json of an earlier run")
        return {}
