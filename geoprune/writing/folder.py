"""A folder that appears whole or not at all, and safe names for what is in it."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import signal
import tempfile
import threading
import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Any

from geoprune.errors import OutputError

#: Names that Windows keeps for devices, whatever the ending.
RESERVED = frozenset(["con", "prn", "aux", "nul", *(f"com{n}" for n in range(10)), *(f"lpt{n}" for n in range(10))])
#: Files that other programs leave in a folder, and endings of those they leave beside a file of ours, when they only look.
LITTER = frozenset([".ds_store", "thumbs.db", "desktop.ini"])
LITTER_ENDINGS = (".aux.xml", "-shm", "-wal")
#: Signals that end a run.
ENDING = ("SIGINT", "SIGTERM", "SIGHUP")


def block_folders(names: Iterable[str]) -> dict[str, str]:
    """Give each block a folder name that is safe on every system.

    Parameters
    ----------
    names : iterable of str
        Block names as in the file.

    Returns
    -------
    dict
        Block name -> folder name of `a-z 0-9 _ -`, at most 44 characters, no two alike, no device name.

    Examples
    --------
    >>> block_folders(["Peña Alta", "../x", "CON"])
    {'Peña Alta': 'pena-alta', '../x': 'x', 'CON': 'block-con'}
    """
    folders: dict[str, str] = {}
    for name in names:
        plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
        slug = re.sub(r"[^a-z0-9_]+", "-", plain).strip("-_")[:40].rstrip("-_") or "block"
        if slug in RESERVED:
            slug = f"block-{slug}"
        taken, candidate, number = set(folders.values()), slug, 2
        while candidate in taken:
            candidate, number = f"{slug}-{number}", number + 1
        folders[name] = candidate
    return folders


def replace_folder(out: Path, fill: Callable[[Path], None], *, force: bool = False) -> Path:
    """Fill a hidden folder beside `out`, then rename it to `out`.

    Parameters
    ----------
    out : Path
        The folder that is to appear.
    fill : callable
        Called with the hidden folder; writes everything into it.
    force : bool
        Replace `out` when it exists and holds nothing but an earlier result of geoprune, as it was written: every file
        must have the digest that its summary.json gives.

    Returns
    -------
    Path
        `out`.

    Raises
    ------
    OutputError
        If `out` exists and may not be replaced, is in use, or cannot be written. Whatever goes wrong,
        `out` is as it was before and nothing half-written stays.
    """
    out = plain_target(out)
    check_target(out, force=force)
    made = [folder for folder in out.absolute().parents if not folder.exists()]
    work: Path | None = None
    try:
        with undisturbed():
            out.parent.mkdir(parents=True, exist_ok=True)
            work = Path(tempfile.mkdtemp(prefix=f".{out.name[:40]}-", suffix=".part", dir=out.parent))
        work.chmod(0o777 & ~current_umask())
        fill(work)
        sync_tree(work)
        check_target(out, force=force)
        with undisturbed():
            swap(work, out)
    except BaseException as failure:
        with undisturbed():
            if work is not None:
                shutil.rmtree(work, ignore_errors=True)
            for folder in made:
                remove_empty(folder)
        if isinstance(failure, OSError) and not isinstance(failure, OutputError):
            raise OutputError(f"{out}: cannot be written: {failure.strerror or failure}") from failure
        raise
    return out


def plain_target(out: Path) -> Path:
    """Return a path without "..", which would otherwise need folders that nobody asked for."""
    out = Path(out)
    if ".." not in out.parts:
        return out
    return out.resolve() if out.name == ".." else out.parent.resolve() / out.name


@contextmanager
def undisturbed() -> Iterator[None]:
    """Put off signals that end the program while something must not be left half done; they are heeded at the end.

    Their handlers are exchanged: whichever thread a signal reaches, Python runs its handler in the main one.
    """
    came: list[int] = []
    before: dict[int, Any] = {}

    def put_off(number: int, frame: object) -> None:
        came.append(number)

    numbers = [getattr(signal, name) for name in ENDING if hasattr(signal, name)]
    try:
        for number in numbers if threading.current_thread() is threading.main_thread() else ():
            if signal.getsignal(number) not in (signal.SIG_IGN, None):
                before[number] = signal.getsignal(number)
                signal.signal(number, put_off)
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        for number in came[:1]:
            signal.raise_signal(number)


def check_target(out: Path, *, force: bool) -> None:
    """Refuse to go on unless `out` is free, or is ours, not in use, and may be replaced."""
    if not out.exists() and not out.is_symlink():
        above = next(folder for folder in out.absolute().parents if folder.exists())
        if not above.is_dir() or not os.access(above, os.W_OK | os.X_OK):
            raise OutputError(f"{out}: cannot be written: {above} is no folder that may be written to.")
        return
    if not force:
        raise OutputError(f"{out}: exists already. Choose another folder, or replace it with --force.")
    if out.is_symlink() or not out.is_dir():
        raise OutputError(f"{out}: is not a folder that geoprune wrote. Choose another folder.")
    busy = [p.name for p in out.rglob("*") if p.name.endswith(("-journal", "-wal")) and p.stat().st_size]
    if busy:
        raise OutputError(f"{out}: {busy[0]} shows that a program has it open. Close it there first.")
    written = written_files(out)
    if written is None:
        raise OutputError(f"{out}: holds no summary.json of geoprune with its files: left alone. Choose another folder.")
    kept = foreign_files(out, written)
    if kept:
        told = ", ".join(kept[:3])
        raise OutputError(f"{out}: holds what geoprune did not write or what was changed since ({told}). Move it out.")


def written_files(out: Path) -> dict[str, str] | None:
    """Return what `out/summary.json` says was written: path -> digest; None when it is no summary of ours."""
    try:
        summary = json.loads((out / "summary.json").read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    digests = summary.get("digests") if isinstance(summary, dict) and summary.get("program") == "geoprune" else None
    return digests if isinstance(digests, dict) else None


def foreign_files(out: Path, written: Mapping[str, str]) -> list[str]:
    """Return what in `out` is not as geoprune wrote it: further files, links and folders, and changed files."""
    ours = {"summary.json", *written}
    folders = {parent.as_posix() for name in ours for parent in PurePosixPath(name).parents}
    found = []
    for path in out.rglob("*"):
        name = path.relative_to(out).as_posix()
        if path.is_symlink():
            kept = True
        elif path.is_dir():
            kept = name not in folders
        elif name == "summary.json" or is_litter(name, ours):
            kept = False
        else:
            kept = name not in ours or digest(path) != written[name]
        if kept:
            found.append(name)
    return sorted(found)


def is_litter(name: str, ours: Collection[str]) -> bool:
    """Return whether a file is what other programs leave behind: by its whole name, or beside one of `ours`."""
    beside = (name.removesuffix(ending) for ending in LITTER_ENDINGS if name.endswith(ending))
    return PurePosixPath(name).name.lower() in LITTER or any(stem in ours for stem in beside)


def digest(path: Path) -> str:
    """Return a file's SHA-256; of a GeoPackage without its first 100 bytes, counters that change when a GIS only looks."""
    data = path.read_bytes()
    return hashlib.sha256(data[100:] if path.suffix == ".gpkg" else data).hexdigest()


def swap(work: Path, out: Path) -> None:
    """Rename `work` to `out`; an old `out` steps aside first and comes back if that fails."""
    if not out.exists():
        os.rename(work, out)
        return
    aside = Path(tempfile.mkdtemp(prefix=f".{out.name[:40]}-", suffix=".old", dir=out.parent))
    aside.rmdir()
    os.rename(out, aside)
    try:
        os.rename(work, out)
    except BaseException:
        os.rename(aside, out)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def sync_tree(folder: Path) -> None:
    """Ask the system to bring every file of a folder to the disk."""
    for path in folder.rglob("*"):
        if path.is_file():
            with path.open("rb+") as handle:
                os.fsync(handle.fileno())


def remove_empty(folder: Path) -> None:
    """Remove a folder if it is there and empty."""
    try:
        folder.rmdir()
    except OSError:
        return


def current_umask() -> int:
    """Return the process's file mode mask."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
