"""Folders that a living run works in, and how those of dead runs are known: their lock died with them."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # a system without these locks: nothing is known of other runs, and nothing of theirs is cleared
    fcntl = None  # type: ignore[assignment]

#: What `tempfile` puts between prefix and suffix.
MADE_UP = "[a-z0-9_]{8}"


@contextmanager
def owned_folder(where: Path, prefix: str, suffix: str) -> Iterator[Path]:
    """Make a folder that is ours until the end of the block or of the process; it is left there.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    folder = Path(tempfile.mkdtemp(prefix=prefix, suffix=suffix, dir=where))
    held = _lock(folder)
    try:
        yield folder
    finally:
        if held is not None:
            os.close(held)


def folders_of(where: Path, prefix: str, suffix: str) -> list[Path]:
    """Return the folders there that were made by `owned_folder` with these names."""
    named = re.compile(re.escape(prefix) + MADE_UP + re.escape(suffix))
    try:
        return sorted(path for path in where.iterdir() if named.fullmatch(path.name) and path.is_dir())
    except OSError:
        return []


def is_left_over(folder: Path) -> bool:
    """Return whether no living run holds a folder."""
    held = _lock(folder)
    if held is not None:
        os.close(held)
    return held is not None


def clear_left_over(where: Path, prefix: str, suffix: str) -> int:
    """Remove the folders of dead runs; return how many there were."""
    dead = [folder for folder in folders_of(where, prefix, suffix) if is_left_over(folder)]
    for folder in dead:
        shutil.rmtree(folder, ignore_errors=True)
    return len(dead)


def _lock(folder: Path) -> int | None:
    """Hold a folder's lock until the number returned is closed or the process ends; None where another holds it."""
    if fcntl is None:
        return None
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(number)
            raise
        return number
    return None
