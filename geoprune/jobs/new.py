"""A folder to begin with: an empty vineyard, a workbook for weights, a settings file, and how to fill them."""

from __future__ import annotations

from pathlib import Path

from geoprune.deliver.writing.folder import replace_folder
from geoprune.deliver.writing.templates import write_vineyard_template, write_weights_template
from geoprune.errors import Message
from geoprune.settings import SETTINGS_FILE, settings_template
from geoprune.words import say

VINEYARD, WEIGHTS = "vineyard.gpkg", "weights.xlsx"
LINES = ("title", "draw", "rows", "gaps", "weigh", "buds", "check", "plan", "settings", "care")


def start_folder(out: str | Path, *, crs: str = "EPSG:4326", language: str = "en", units: str = "us") -> Path:
    """Write a folder of templates and return the path of the page that says how to fill them.

    Parameters
    ----------
    out : str or Path
        A folder that does not exist yet.
    crs : str
        CRS of the layers that are to be drawn.
    language : str
        Of meanings, notes and how-to; names of layers and columns are the same in every language.
    units : {"us", "metric"}
        Units of the columns.

    Raises
    ------
    OutputError
        If the folder is there, or cannot be written; nothing half-written stays.
    """
    first = say(Message("new.first"), language, units)

    def fill(folder: Path) -> None:
        write_vineyard_template(folder / VINEYARD, crs=crs, language=language, units=units)
        write_weights_template(folder / WEIGHTS, language=language, units=units)
        (folder / SETTINGS_FILE).write_text(settings_template(language, units), encoding="utf-8")
        (folder / first).write_text(how_to(language, units), encoding="utf-8")

    return replace_folder(Path(out), fill) / first


def how_to(language: str, units: str) -> str:
    """Return how the files are filled, step by step."""
    names = {"vineyard": VINEYARD, "weights": WEIGHTS, "settings": SETTINGS_FILE}
    return "\n\n".join(say(Message(f"new.{line}", names), language, units) for line in LINES) + "\n"
