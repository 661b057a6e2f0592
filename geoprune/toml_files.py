"""TOML files that people write: read with limits, since the reader's work grows with the cube of a name's parts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from geoprune.errors import DataError, Problem
from geoprune.sources import read_bytes
from geoprune.text import one_line

#: Enough for ten thousand blocks with a setting each (a design choice).
LARGEST_FILE = 1_000_000
#: Points in one line; a name of a hundred thousand parts takes the reader hours and 20 GB (tried with Python 3.11).
MOST_POINTS = 50


def read_toml(path: Path, *, may_be_empty: bool = False) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Raises
    ------
    DataError
        If it is no plain file, cannot be read, is too large, is not UTF-8 or no TOML.
    """
    return _parsed(read_bytes(path, most=LARGEST_FILE, may_be_empty=may_be_empty), path)


def _parsed(raw: bytes, path: Path) -> dict[str, Any]:
    import tomllib  # here, because the command line's help reads no file

    try:
        text = raw.decode("utf-8-sig")
        if any(line.count(".") > MOST_POINTS for line in text.splitlines()):
            raise _wrong(path, f"a line has more than {MOST_POINTS} points", "Write lists one entry a line")
        return tomllib.loads(text)
    except UnicodeDecodeError:
        raise _wrong(path, "the file is not valid TOML: it is not written in UTF-8", "Save it as UTF-8 text") from None
    except RecursionError:
        raise _wrong(path, "the file is not valid TOML", "Mend it: brackets nest too deep") from None
    except DataError:
        raise
    except ValueError as error:  # no TOML, or a whole number of thousands of digits
        raise _wrong(path, "the file is not valid TOML", f"Mend it: {_said(error)}") from None


def _said(error: ValueError) -> str:
    """What the reader says, and what is usually meant."""
    said = one_line(error)[:200]
    if "Expected newline or end of document after a statement" in said or "Invalid value" in said:
        said += "; text stands in quotes, and a number has a point, not a comma"
    return said


def _wrong(path: Path, what: str, mend: str) -> DataError:
    return DataError([Problem(path.name, "", "", what, mend)])
