"""A corrected list and the log of its changes: two CSV files, both or neither, never over another file unasked."""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path
from typing import Any

import pandas as pd

from geoprune.deliver.writing.folder import current_umask, plain_target, undisturbed
from geoprune.deliver.writing.spreadsheets import guard_text
from geoprune.errors import OutputError

#: A cell that is a number computes nothing, whatever sign it begins with.
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def write_corrected(
    table: pd.DataFrame, log: pd.DataFrame, out: Path, *, skipped: int = 0, force: bool = False
) -> tuple[Path, Path]:
    """Write `table` to `out` and `log` beside it, as `<name>_changes.csv`; `skipped` empty lines stand above the table.

    Raises
    ------
    OutputError
        If `out` does not end in .csv, one of the two exists and `force` is not given, or they cannot be written; both are
        then as they were.
    """
    out = plain_target(Path(out))
    if out.suffix.lower() != ".csv":
        raise OutputError(f"{out}: the corrected list is written as CSV. Let its name end in .csv.")
    beside = out.with_name(f"{out.stem}_changes.csv")
    for path in (out, beside):
        check_free(path, force=force)
    parts: list[Path] = []
    try:
        parts = [_part(table, out, skipped), _part(log, beside)]
        with undisturbed():
            for part, path in zip(parts, (out, beside), strict=True):
                os.replace(part, path)
    except OSError as error:
        raise OutputError(f"{out}: cannot be written: {error.strerror or error}") from error
    finally:
        for part in parts:
            part.unlink(missing_ok=True)
    return out, beside


def check_free(path: Path, *, force: bool) -> None:
    """Refuse a path that is taken, or that cannot be written to."""
    if path.is_symlink() or path.is_dir():
        raise OutputError(f"{path}: is a folder or a link. Choose another name.")
    if path.exists() and not force:
        raise OutputError(f"{path}: exists already. Choose another name, or replace it with --force.")
    if not path.absolute().parent.is_dir():
        raise OutputError(f"{path}: cannot be written: its folder does not exist.")


def _part(table: pd.DataFrame, path: Path, skipped: int = 0) -> Path:
    """The table in a hidden file beside `path`, on the disk."""
    guarded = table.astype(object).where(table.notna(), "").map(_cell)
    guarded.columns = [guard_text(str(name)) for name in guarded.columns]
    handle, name = tempfile.mkstemp(prefix=f".{path.stem[:40]}-", suffix=".part", dir=path.absolute().parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write("\r\n" * skipped)
            guarded.to_csv(file, index=False, lineterminator="\r\n")
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(0o666 & ~current_umask())
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)


def _cell(value: Any) -> Any:
    """A cell that no spreadsheet computes; whole numbers without a point."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    return value if isinstance(value, str) and NUMBER.fullmatch(value) else guard_text(value)
