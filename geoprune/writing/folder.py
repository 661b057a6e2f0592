"""A folder that appears whole or not at all, and safe names for what is in it."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Callable, Iterable
from pathlib import Path

from geoprune.errors import OutputError

#: Names that Windows keeps for devices, whatever the ending.
RESERVED = frozenset(["con", "prn", "aux", "nul", *(f"com{n}" for n in range(10)), *(f"lpt{n}" for n in range(10))])
#: Files that other programs leave beside ours when they only look.
LITTER = re.compile(r"(\.aux\.xml|-shm|\.DS_Store|Thumbs\.db|desktop\.ini)$", re.IGNORECASE)


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
        Replace `out` when it exists and holds nothing but an earlier result of geoprune.

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
    out = Path(out)
    check_target(out, force=force)
    made = [folder for folder in out.absolute().parents if not folder.exists()]
    work: Path | None = None
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=f".{out.name}-", suffix=".part", dir=out.parent))
        work.chmod(0o777 & ~current_umask())
        fill(work)
        sync_tree(work)
        check_target(out, force=force)
        swap(work, out)
    except BaseException as failure:
        if work is not None:
            shutil.rmtree(work, ignore_errors=True)
        for folder in made:
            remove_empty(folder)
        if isinstance(failure, OSError) and not isinstance(failure, OutputError):
            raise OutputError(f"{out}: cannot be written: {failure.strerror or failure}") from failure
        raise
    return out


def check_target(out: Path, *, force: bool) -> None:
    """Refuse to go on unless `out` is free, or is ours, not in use, and may be replaced."""
    if not out.exists() and not out.is_symlink():
        return
    if not force:
        raise OutputError(f"{out}: exists already. Choose another folder, or replace it with --force.")
    if out.is_symlink() or not out.is_dir():
        raise OutputError(f"{out}: is not a folder that geoprune wrote. Choose another folder.")
    busy = [p.name for p in out.rglob("*") if p.name.endswith(("-journal", "-wal")) and p.stat().st_size]
    if busy:
        raise OutputError(f"{out}: {busy[0]} shows that a program has it open. Close it there first.")
    foreign = foreign_files(out)
    if foreign is None:
        raise OutputError(f"{out}: holds no summary.json of geoprune: left alone. Choose another folder.")
    if foreign:
        raise OutputError(f"{out}: holds files that geoprune did not write ({', '.join(foreign[:3])}). Move them out first.")


def foreign_files(out: Path) -> list[str] | None:
    """Return the files in `out` that its summary does not list; None when it has no summary of ours."""
    try:
        summary = json.loads((out / "summary.json").read_text("utf-8"))
    except (OSError, ValueError):
        return None
    if not isinstance(summary, dict) or summary.get("program") != "geoprune":
        return None
    ours = set(summary.get("files", []))
    there = (p.relative_to(out).as_posix() for p in out.rglob("*") if not p.is_dir())
    return sorted(name for name in there if name not in ours and not LITTER.search(name))


def swap(work: Path, out: Path) -> None:
    """Rename `work` to `out`; an old `out` steps aside first and comes back if that fails."""
    if not out.exists():
        os.rename(work, out)
        return
    aside = Path(tempfile.mkdtemp(prefix=f".{out.name}-", suffix=".old", dir=out.parent))
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
