"""A folder that appears whole or not at all, and safe names for what is in it."""

from __future__ import annotations

import ctypes
import errno
import hashlib
import json
import os
import shutil
import signal
import tempfile
import threading
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Any

from geoprune.errors import OutputError
from geoprune.owned import clear_left_over, folders_of, is_left_over, owned_folder

#: Files that other programs leave in a folder, and endings of those they leave beside a file of ours, when they only look.
LITTER = frozenset([".ds_store", "thumbs.db", "desktop.ini"])
LITTER_ENDINGS = (".aux.xml", "-shm", "-wal")
NOTHING: Mapping[str, str] = MappingProxyType({})
#: A disk with less room than this, in bytes, is reported as full.
NEARLY_FULL = 65_536
#: Numbers of Linux's renameat2(2).
AT_FDCWD, RENAME_EXCHANGE = -100, 2
#: Signals that end a run.
ENDING = ("SIGINT", "SIGTERM", "SIGHUP")


def replace_folder(
    out: Path, fill: Callable[[Path], None], *, force: bool = False, carried: Mapping[str, str] = NOTHING
) -> Path:
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
    carried : mapping
        Files of `out` that people may have edited, and whose new text `fill` writes again: name -> digest as it was read.

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
    out = free_target(out, force=force, carried=carried)
    made = [folder for folder in out.absolute().parents if not folder.exists()]
    held = ExitStack()
    try:
        with undisturbed():
            out.parent.mkdir(parents=True, exist_ok=True)
            work = held.enter_context(owned_folder(out.parent, *names_of(out, ".part")))
            held.callback(shutil.rmtree, work, ignore_errors=True)
        work.chmod(0o777 & ~current_umask())
        fill(work)
        sync_tree(work)
        check_target(out, force=force, own=work, carried=carried)
        with undisturbed():
            swap(work, out)
            held.close()
    except BaseException as failure:
        with undisturbed():
            held.close()
            for folder in made:
                remove_empty(folder)
        if isinstance(failure, OSError) and not isinstance(failure, OutputError):
            raise OutputError(failure_text(out, failure)) from failure
        raise
    return out


def failure_text(out: Path, failure: OSError) -> str:
    """Return in one sentence why a folder cannot be written: which place is full, or what is gone."""
    if failure.errno not in (errno.ENOSPC, errno.EDQUOT):
        return f"{out}: cannot be written: {failure.strerror or failure}"
    beside = Path(tempfile.gettempdir())
    place = beside if is_full(beside) and not is_full(out.parent) else out.parent
    lacking = "no more files can be made" if is_full(place) == "files" else "No space left on device"
    return f"{out}: cannot be written: {lacking} ({place})"


def is_full(folder: Path) -> str:
    """Return "space" or "files" where the disk of a folder has no more of it to give; "" where it has, or is not known."""
    try:
        disk = os.statvfs(folder)
    except (OSError, AttributeError):
        return ""
    if disk.f_files and not disk.f_favail:
        return "files"
    return "space" if disk.f_bavail * disk.f_frsize < NEARLY_FULL else ""


def names_of(out: Path, suffix: str) -> tuple[str, str]:
    """Return how hidden folders beside `out` begin and end."""
    short = out.name if len(out.name) <= 40 else f"{out.name[:31]}_{hashlib.sha256(out.name.encode()).hexdigest()[:8]}"
    return f".{short}-", suffix


def tidy(out: Path) -> bool:
    """Clear what killed runs left beside `out`, and bring its results back where they had stepped aside for new ones.

    Returns
    -------
    bool
        Whether results were brought back.
    """
    out = plain_target(out)
    aside = [folder for folder in folders_of(out.parent, *names_of(out, ".old")) if is_left_over(folder)]
    restored = bool(aside) and not out.exists() and not out.is_symlink()
    if restored:
        os.rename(max(aside, key=lambda folder: folder.stat().st_mtime_ns), out)
    for suffix in (".part", ".old"):
        clear_left_over(out.parent, *names_of(out, suffix))
    return restored


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


def free_target(out: Path, *, force: bool, carried: Mapping[str, str] = NOTHING) -> Path:
    """Return `out` as a plain path, and refuse one that may not be written, before anything is computed (`check_target`).

    What killed runs left beside it is cleared first, whichever command they ran (`tidy`).
    """
    out = plain_target(out)
    tidy(out)
    check_target(out, force=force, carried=carried)
    return out


def check_target(out: Path, *, force: bool, own: Path | None = None, carried: Mapping[str, str] = NOTHING) -> None:
    """Refuse to go on unless `out` is free, or is ours, not in use, and may be replaced; `own` is the folder we fill,
    `carried` files that are written again as they are (see `replace_folder`)."""
    others = [folder for folder in folders_of(out.parent, *names_of(out, ".part")) if folder != own]
    if any(not is_left_over(folder) for folder in others):
        raise OutputError(f"{out}: another run is writing it. Wait until that is done, or choose another folder.")
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
    kept = [name for name in foreign_files(out, written) if digest_or_none(out / name) != carried.get(name, "")]
    if kept:
        listed = ", ".join(kept[:3])
        raise OutputError(f"{out}: holds what geoprune did not write or what was changed since ({listed}). Move it out.")


def written_files(out: Path) -> dict[str, str] | None:
    """Return what `out/summary.json` says was written: path -> digest; None when it is no summary of ours."""
    summary_file = out / "summary.json"
    try:
        if not summary_file.is_file():  # a pipe would be waited for
            return None
        summary = json.loads(summary_file.read_text("utf-8"))
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
            kept = not path.is_file()
        else:
            kept = name not in ours or not path.is_file() or digest(path) != written[name]
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


def digest_or_none(path: Path) -> str | None:
    """Return a file's SHA-256; None of what is no file."""
    return digest(path) if path.is_file() and not path.is_symlink() else None


def swap(work: Path, out: Path) -> None:
    """Rename `work` to `out`; where `out` is there, exchange the two in one step: results are always there.

    Afterwards `work` holds what `out` held, if it is there. Where the system cannot exchange folders, the old one steps
    aside first and comes back if that fails; `tidy` brings it back after a kill between the two steps.
    """
    if not out.exists():
        os.rename(work, out)
    elif not exchange(work, out):
        with owned_folder(out.parent, *names_of(out, ".old")) as aside:
            aside.rmdir()
            os.rename(out, aside)
            try:
                os.rename(work, out)
            except BaseException:
                os.rename(aside, out)
                raise
            shutil.rmtree(aside, ignore_errors=True)
    sync_folder(out.parent)


def exchange(one: Path, other: Path) -> bool:
    """Exchange two folders in one step (Linux: renameat2 with RENAME_EXCHANGE); return whether it was done."""
    call = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None) if os.name == "posix" else None
    if call is None:
        return False
    done = call(AT_FDCWD, os.fsencode(one.absolute()), AT_FDCWD, os.fsencode(other.absolute()), RENAME_EXCHANGE)
    code = 0 if done == 0 else ctypes.get_errno()
    if code in (0, errno.ENOSYS, errno.EINVAL, errno.ENOTSUP):
        return code == 0
    raise OSError(code, os.strerror(code), str(other))


def sync_folder(folder: Path) -> None:
    """Ask the system to bring a folder's names to the disk."""
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


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
