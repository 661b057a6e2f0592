"""A settings file as text: new entries go in, and everything that stands there stays."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from geoprune.errors import OutputError
from geoprune.text import clean, one_line

#: A line that opens a table.
HEADING = re.compile(r"^\s*\[[^\[\]].*\]\s*(#.*)?$")
#: How notes begin: they are put in anew each time.
NOTE = "#?"
Tables = Mapping[str, Any]


def merged(old: Tables, new: Tables) -> dict[str, Any]:
    """Return nested tables with those of another laid over them."""
    found = dict(old)
    for key, value in new.items():
        nested = isinstance(value, Mapping) and isinstance(found.get(key), Mapping)
        found[key] = merged(found[key], value) if nested else value
    return found


def with_entries(text: str, new: Tables, notes: Sequence[tuple[str, Sequence[tuple[Tables, str]]]] = ()) -> str:
    """Return the text of a settings file with entries added or changed, and choices that are still open as comments.

    Parameters
    ----------
    text : str
        The file as it is.
    new : mapping
        Nested tables: ``{"columns": {"samples": {"row": "hilera"}}}``.
    notes : sequence
        Questions, each with its answers: entries and what they mean. They stand where they belong, and take effect when the
        sign before one is taken away; those of an earlier time are dropped.

    Raises
    ------
    OutputError
        If the file is written in a way in which entries cannot be put in safely; nothing is changed then.

    Examples
    --------
    >>> print(with_entries("# mine\n[files]\ncrs = 'EPSG:32617'\n", {"files": {"decimal_mark": ","}}))
    # mine
    [files]
    crs = 'EPSG:32617'
    decimal_mark = ","
    <BLANKLINE>
    """
    wanted = merged(tomllib.loads(text), new)
    lines = [line for line in text.splitlines() if not line.startswith(NOTE)]
    for path, entries in _sections(new):
        _put(lines, path, [(key, f"{_key(key)} = {_value(value)}") for key, value in entries.items()])
    for about, options in notes:
        choices = [(path, f"{NOTE} {_key(k)} = {_value(v)}  # {one_line(label)}") for path, k, v, label in _choices(options)]
        for path in dict.fromkeys(path for path, _ in choices):
            here = [("", f"{NOTE}? {one_line(about)}"), *(("", line) for at, line in choices if at == path)]
            _put(lines, path, here)
    found = "\n".join(lines).strip("\n") + "\n"
    try:
        sound = _without_empty(tomllib.loads(found)) == _without_empty(wanted)
    except tomllib.TOMLDecodeError:
        sound = False
    if not sound:
        raise OutputError("the settings file is written in a way in which entries cannot be put in: write them by hand")
    return found


def _choices(options: Sequence[tuple[Tables, str]]) -> list[tuple[tuple[str, ...], str, Any, str]]:
    """Path, key, value and meaning of every entry of some answers."""
    return [
        (path, key, value, label)
        for sets, label in options
        for path, entries in _sections(sets)
        for key, value in entries.items()
    ]


def _without_empty(tables: Tables) -> dict[str, Any]:
    """Nested tables without those that hold nothing: a heading may stand over notes alone."""
    inner = {key: _without_empty(value) if isinstance(value, Mapping) else value for key, value in tables.items()}
    return {key: value for key, value in inner.items() if value != {}}


def write_entries(path: Path, new: Tables, notes: Sequence[tuple[str, Sequence[tuple[Tables, str]]]] = ()) -> None:
    """Put entries and open choices into a settings file, which need not be there; it is replaced whole, or left as it was.

    Raises
    ------
    OutputError
        See `with_entries`; or if it cannot be written.
    """
    text = path.read_text("utf-8-sig") if path.exists() else ""
    fresh = path.with_name(f".{path.name}.new")
    try:
        fresh.write_text(with_entries(text, new, notes), encoding="utf-8")
        fresh.replace(path)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        raise error if isinstance(error, OutputError) else OutputError(f"{path.name}: {error.strerror or error}") from None


def entry_text(new: Tables) -> str:
    """Return the entries of nested tables on one line, as notes write them: "[values.rule] otherwise = "20+20"".

    Examples
    --------
    >>> entry_text({"columns": {"samples": {"row": "fila"}}})
    '[columns.samples] row = "fila"'
    """
    shown_tables = [
        f"[{'.'.join(map(_key, path))}] " + ", ".join(f"{_key(key)} = {_value(value)}" for key, value in entries.items())
        for path, entries in _sections(new)
    ]
    return "; ".join(shown_tables)


def _sections(tables: Tables, path: tuple[str, ...] = ()) -> list[tuple[tuple[str, ...], dict[str, Any]]]:
    """The tables within tables that hold values, each with its path."""
    plain = {key: value for key, value in tables.items() if not isinstance(value, Mapping)}
    inner = [part for key, value in tables.items() if isinstance(value, Mapping) for part in _sections(value, (*path, key))]
    return ([(path, plain)] if plain else []) + inner


def _put(lines: list[str], path: tuple[str, ...], entries: Sequence[tuple[str, str]]) -> None:
    """Put lines into a table where it stands, or at the end; one that sets a key ("" for none) takes that key's place."""
    headings = [i for i, line in enumerate(lines) if HEADING.match(line)]
    at = next((i for i in headings if _path_of(lines[i]) == path), None)
    if at is None:
        lines += [""] if lines and lines[-1].strip() else []
        lines += [f"[{'.'.join(map(_key, path))}]", *(line for _, line in entries)]
        return
    end = next((i for i in headings if i > at), len(lines))
    for key, entry in entries:
        same = next((i for i in range(at + 1, end) if key and _key_of(lines[i]) == key), None)
        if same is not None:
            lines[same] = entry
            continue
        last = max(i for i in range(at, end) if lines[i].strip())
        lines.insert(last + 1, entry)
        end += 1


def _path_of(heading: str) -> tuple[str, ...]:
    """The path that a heading names."""
    try:
        found: Any = tomllib.loads(heading)
    except tomllib.TOMLDecodeError:
        return ()
    path: list[str] = []
    while found:
        key, found = next(iter(found.items()))
        path.append(key)
    return tuple(path)


def _key_of(line: str) -> str | None:
    """The key that a line sets, where it holds a whole entry."""
    try:
        return next(iter(tomllib.loads(line)), None)
    except tomllib.TOMLDecodeError:
        return None


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _value(name)


def _value(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(clean(value), ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    return repr(value).lower() if isinstance(value, bool) else repr(value)
