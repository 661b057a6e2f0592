"""A settings file beside a vineyard, with a table for each of its blocks, to be filled in."""

from __future__ import annotations

from pathlib import Path

from geoprune.errors import OutputError
from geoprune.reading import Faults
from geoprune.reading.columns import clean_name, name_text
from geoprune.reading.matching import Surroundings, propose_columns, propose_layers
from geoprune.reading.vector_files import layer_names, read_layers
from geoprune.settings import SETTINGS_FILE, settings_template


def write_settings_file(vineyard: str | Path, *, language: str = "en", units: str = "us") -> Path:
    """Write `geoprune.toml` beside a vineyard file and return its path.

    Raises
    ------
    DataError
        If the vineyard file cannot be opened.
    OutputError
        If there is a settings file already, or it cannot be written.
    """
    vineyard = Path(vineyard)
    target = vineyard.parent / SETTINGS_FILE
    text = settings_template(language, units, blocks=block_names(vineyard))
    try:
        with target.open("x", encoding="utf-8") as handle:
            handle.write(text)
    except FileExistsError:
        raise OutputError(f"{target}: exists already. Change it there, or move it away first.") from None
    except OSError as error:
        raise OutputError(f"{target}: cannot be written: {error.strerror or error}") from error
    return target


def block_names(vineyard: Path) -> list[str]:
    """Return what a vineyard file calls its blocks, by the likeliest layer and column where these have other names.

    Whatever else may be wrong with it is reported when it is planned.
    """
    faults = Faults(vineyard.name)
    layers = read_layers(vineyard, faults, propose_layers(layer_names(vineyard)))
    faults.problems.stop()
    blocks = layers.get("blocks")
    if blocks is None:
        return []
    found = propose_columns(blocks, Surroundings()).get("block", [])
    column = "block" if "block" in blocks.table else clean_name(found[0].given) if found else ""
    return [] if not column else list(dict.fromkeys(filter(None, blocks.table[column].map(name_text))))
