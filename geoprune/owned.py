"""Folders that a living run works in, and how those of dead runs are known: their lock died with them.

Where a system or a disk has no such locks, a folder counts as a living run's until nothing was changed in it for an hour.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:
    fcntl = None  # type: ignore[assignment]

#: What `tempfile` puts between prefix and suffix.
MADE_UP = "[a-z0-9_]{8}"
#: Without locks: as long after the last change, in seconds, a folder is taken for one that is worked in (design choice: no
#: block takes as long).
LIVING_S = 3600.0
#: How often a folder is made anew when another run clears it before it is locked.
TRIES = 20


class NoLocks(Exception):
    """Neither this system nor this disk can lock a folder."""


@contextmanager
def owned_folder(where: Path, prefix: str, suffix: str) -> Iterator[Path]:
    """Make a folder that is ours until the end of the block or of the process; it is left there.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    folder, held = _made(where, prefix, suffix)
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
    with _held_if_dead(folder) as dead:
        return dead


def clear_left_over(where: Path, prefix: str, suffix: str) -> int:
    """Remove the folders of dead runs; return how many there were."""
    count = 0
    for folder in folders_of(where, prefix, suffix):
        with _held_if_dead(folder) as dead:  # held until it is gone, so that nobody takes it for theirs meanwhile
            if dead:
                shutil.rmtree(folder, ignore_errors=True)
                count += 1
    return count


def _made(where: Path, prefix: str, suffix: str) -> tuple[Path, int | None]:
    """Make and lock a folder; one that another run clears before it is locked is given up for a new one."""
    for _ in range(TRIES):
        folder = Path(tempfile.mkdtemp(prefix=prefix, suffix=suffix, dir=where))
        try:
            held = _lock(folder)
        except NoLocks:
            return folder, None
        except OSError:  # held or gone already
            continue
        with suppress(OSError):
            if os.path.samestat(os.fstat(held), folder.stat()):
                return folder, held
        os.close(held)
    raise OSError(errno.EAGAIN, os.strerror(errno.EAGAIN), str(where))


@contextmanager
def _held_if_dead(folder: Path) -> Iterator[bool]:
    """Whether a folder is a dead run's; where it is, it is held inside the block."""
    held = None
    try:
        held = _lock(folder)
        dead = True
    except NoLocks:
        dead = _is_old(folder)
    except OSError:  # held by a living run, or not ours to open
        dead = False
    try:
        yield dead
    finally:
        if held is not None:
            os.close(held)


def _lock(folder: Path) -> int:
    """Hold a folder's lock until the number returned is closed or the process ends.

    Raises
    ------
    OSError
        If another holds it, or it cannot be opened.
    NoLocks
    """
    if fcntl is None:
        raise NoLocks
    number = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(number)
        if error.errno in (errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL):
            raise NoLocks from error
        raise
    return number


def _is_old(folder: Path) -> bool:
    """Whether nothing in a folder was changed for an hour."""
    try:
        changed = max(path.stat().st_mtime for path in (folder, *folder.rglob("*")))
    except OSError:  # somebody is at work in it
        return False
    return time.time() - changed > LIVING_S
