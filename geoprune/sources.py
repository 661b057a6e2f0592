"""Files that come in: ordinary files only, of a size that is read, opened as named, with the digest of the bytes used."""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path

from geoprune.errors import DataError, Problem
from geoprune.owned import clear_left_over, owned_folder

#: Bytes that are read at most: of layers and rasters, of tables, of settings, rules and figures (design choices: an estate
#: of five million vines is about 700 MB as a GeoPackage, a million lines of weights about 60 MB).
LARGEST_LAYERS, LARGEST_TABLE, LARGEST_TEXT = 2_000_000_000, 200_000_000, 20_000_000
#: What SQLite leaves beside a database that was not closed, or that another program has open.
BESIDE_DATABASE = ("-wal", "-journal")


@dataclass(frozen=True)
class Source:
    """A file that was read: its name (no folders) and the SHA-256 of its bytes."""

    name: str
    sha256: str


_noted: ContextVar[list[Source] | None] = ContextVar("sources", default=None)


class Unfit(DataError):
    """A file that is not opened. `what` and `mend` are those of its one problem."""

    def __init__(self, path: Path, what: str, mend: str) -> None:
        self.what, self.mend = what, mend
        super().__init__([Problem(path.name, "", "", what, mend)])


@contextmanager
def sources_noted() -> Iterator[list[Source]]:
    """Note every file that is read inside the block, in order and each once, with the digest of the bytes that were used.

    Examples
    --------
    >>> with sources_noted() as sources:
    ...     vineyard = read_vineyard("estate.gpkg", samples="weights.csv")
    >>> [source.name for source in sources]
    ['estate.gpkg', 'weights.csv']
    """
    found: list[Source] = []
    before = _noted.set(found)
    try:
        yield found
    finally:
        _noted.reset(before)
        outer = _noted.get()
        for source in found if outer is not None else ():
            _note(source)


def read_bytes(path: Path, *, most: int = LARGEST_TEXT, may_be_empty: bool = False) -> bytes:
    """Return the bytes of a file, and note it.

    Raises
    ------
    Unfit
        If it is not there, is no ordinary file, cannot be read, is larger than `most`, or is empty and may not be.
    """
    with _opened(path, most, may_be_empty) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise _too_large(path, len(data), most)
    _note(Source(path.name, hashlib.sha256(data).hexdigest()))
    return data


@contextmanager
def plain_path(path: Path, *, most: int = LARGEST_LAYERS, beside: tuple[str, ...] = ()) -> Iterator[Path]:
    """Give a file under a plain name to a library that reads more into names than they say, and note it.

    The name is a link in a folder of ours, its ending that of the file in small letters: nothing lies beside it but what is
    asked for, and the file's own folder is not touched. A database that was not closed is copied with what belongs to it,
    so that what was last saved in it is read and the file stays as it is.

    Parameters
    ----------
    path : Path
    most : int
        Largest size, bytes.
    beside : tuple of str
        Endings of files that belong to it, such as ".prj", where they are there.

    Raises
    ------
    Unfit
        As `read_bytes`, and if the file was changed while it was read.
    """
    parts = [path.with_name(path.name + ending) for ending in BESIDE_DATABASE if path.suffix.lower() == ".gpkg"]
    unsaved = [part for part in parts if part.is_file() and part.stat().st_size]
    others = [(path.with_suffix(ending), ending) for ending in beside]
    others += [(path.with_name(path.name + ending), path.suffix.lower() + ending) for ending in beside]
    with _opened(path, most) as file, _private_folder(path) as folder:
        before = _state(file)
        digest = hashlib.file_digest(file, "sha256")
        plain = folder / f"source{path.suffix.lower()}"
        _link(path, plain, copy=bool(unsaved))
        for part in unsaved:
            digest.update(part.read_bytes())
            _link(part, folder / f"{plain.name}{part.name[len(path.name) :]}", copy=True)
        for part, ending in others:
            if part.is_file() and part.stat().st_size <= LARGEST_TEXT:
                digest.update(part.read_bytes())
                _link(part, folder / f"source{ending}", copy=True)
        yield plain
        if _state(file) != before or not path.exists() or not os.path.samestat(path.stat(), os.fstat(file.fileno())):
            raise Unfit(path, "the file was changed while it was read", "Save it, and run again")
    _note(Source(path.name, digest.hexdigest()))


def _note(source: Source) -> None:
    noted = _noted.get()
    if noted is not None and source not in noted:
        noted.append(source)


@contextmanager
def _opened(path: Path, most: int, may_be_empty: bool = False) -> Iterator[io.BufferedReader]:
    """Open an ordinary file; a pipe or a device is not waited for."""
    try:
        number = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as error:
        raise _cannot_open(path, error) from None
    try:
        _check_kind(path, os.fstat(number), most, may_be_empty)
    except Unfit:
        os.close(number)
        raise
    with open(number, "rb") as file:
        try:
            yield file
        except OSError as error:
            if error.filename is None or os.fspath(error.filename) == os.fspath(path):
                raise _cannot_open(path, error) from error
            raise


def _check_kind(path: Path, kept: os.stat_result, most: int, may_be_empty: bool) -> None:
    if stat.S_ISDIR(kept.st_mode):
        raise Unfit(path, "it is a folder, not a file", "Give the file itself")
    if not stat.S_ISREG(kept.st_mode):
        raise Unfit(path, "it is no ordinary file but a pipe or a device", "Give a file on the disk")
    if not kept.st_size and not may_be_empty:
        raise Unfit(path, "the file is empty", "Give a file with data")
    if kept.st_size > most:
        raise _too_large(path, kept.st_size, most)


def _cannot_open(path: Path, error: Exception) -> Unfit:
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return Unfit(path, "the file does not exist", "Check its name and folder")
    if isinstance(error, IsADirectoryError):
        return Unfit(path, "it is a folder, not a file", "Give the file itself")
    reason = getattr(error, "strerror", None) or "its name is none"
    return Unfit(path, f"the file cannot be opened ({reason})", "Check that you may read it")


def _too_large(path: Path, size: int, most: int) -> Unfit:
    what = f"the file has {size / 1e6:,.0f} MB, more than the {most / 1e6:,.0f} MB that are read"
    return Unfit(path, what, "Give the vineyard's own part of it")


def _state(file: io.BufferedReader) -> tuple[int, int]:
    kept = os.fstat(file.fileno())
    return kept.st_mtime_ns, kept.st_size


@contextmanager
def _private_folder(path: Path) -> Iterator[Path]:
    """A folder of ours for links and copies, gone at the end; those of killed runs are cleared first."""
    try:
        where = Path(tempfile.gettempdir())
        clear_left_over(where, "geoprune-", ".in")
        made = owned_folder(where, "geoprune-", ".in")
        folder = made.__enter__()
    except OSError as error:
        raise _no_room(path, error) from error
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        made.__exit__(None, None, None)


def _no_room(path: Path, error: OSError) -> Unfit:
    reason = error.strerror or str(error)
    what = f"the folder for temporary files cannot be used ({reason})"
    return Unfit(path, what, "Free some room there, or name another folder in the environment variable TMPDIR")


def _link(path: Path, plain: Path, *, copy: bool) -> None:
    try:
        if not copy:
            try:
                plain.symlink_to(path.absolute())
                return
            except OSError:  # a system that allows no links
                pass
        shutil.copyfile(path, plain)
    except OSError as error:
        raise _no_room(path, error) from error
