"""Order of the documentation's pages; a page that is not there is left out, and one not named comes last."""

from __future__ import annotations

from pathlib import Path
from typing import Any

ORDER = {
    "index.md": "Start",
    "tutorial.md": "Tutorial",
    "gallery.md": "Gallery",
    "bringing-data.md": "Bringing data",
    "conventions.md": "Conventions",
    "sampling.md": "Which vines to weigh",
    "weigh-in.md": "Weigh-in",
    "command-line.md": "Command line",
    "settings.md": "Settings",
    "map.md": "Map",
    "sheets.md": "Sheets",
    "signs.md": "Signs in the row",
    "field-page.md": "Field page",
    "audit.md": "Checking the work",
    "seasons.md": "Since last winter",
    "replanting.md": "Replanting",
    "outputs.md": "Outputs",
    "hostile-files.md": "Broken and hostile files",
    "licences.md": "Licences and supply",
    "method.md": "Method",
    "method-geostat.md": "Method: kriging",
    "method-zones.md": "Method: zones",
    "rules.md": "Rules",
    "library.md": "Library",
    "contributing.md": "Adding things",
    "glossary.md": "Glossary",
}


def on_config(config: Any) -> Any:
    """Fill in the navigation from the files that are there."""
    there = {path.name for path in Path(config["docs_dir"]).glob("*.md")}
    config["nav"] = [{title: name} for name, title in ORDER.items() if name in there]
    config["nav"] += sorted(there - set(ORDER))
    return config
