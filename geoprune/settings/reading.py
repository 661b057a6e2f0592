"""Settings from a TOML file: every fault is reported, with the nearest right name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from geoprune.errors import DataError, Problem
from geoprune.settings.kinds import LONGEST_TEXT, WrongValue, nearest, shown
from geoprune.settings.setting import Setting, settings_of
from geoprune.settings.settings import Settings
from geoprune.settings.tables import TABLES, block_definitions, definitions
from geoprune.text import few, one_line
from geoprune.toml_files import read_toml

#: The settings file that is found by itself.
SETTINGS_FILE = "geoprune.toml"
#: So many faults are reported at once.
MOST_LISTED = 100
#: Layers whose headers may be named in [columns.<layer>].
LAYERS = ("blocks", "rows", "vines", "samples", "bud_checks", "scores", "harvest", "zones")
#: Tables of a check of the work, whose headers may be named too.
CHECK_TABLES = ("counts", "ticks")
KNOWN_TABLES = (*TABLES, "layers", "columns", "values", "block")
#: How the tables are written that hold names of the user's.
LIKE = {
    "layers": "[layers]",
    "columns": "[columns.samples]",
    "values": "[values.training]",
    "block": '[block."Name of the block"]',
}


def find_settings(vineyard: Path) -> Path | None:
    """Return the settings file beside a vineyard file, or in a folder of them; None where there is none."""
    folder = vineyard if vineyard.is_dir() else vineyard.parent
    found = folder / SETTINGS_FILE
    return found if found.exists() else None


def read_settings(path: str | Path) -> Settings:
    """Read a settings file.

    Parameters
    ----------
    path : str or Path
        TOML as docs/settings.md describes it; paths in it count from its folder.

    Returns
    -------
    Settings
        In SI; what is not in the file has its default.

    Raises
    ------
    DataError
        With every unknown name, wrong value and quantity in two units, each with the nearest right name.
    """
    path = Path(path)
    return settings_from(read_toml(path, may_be_empty=True), path)


def settings_from(data: Mapping[str, Any], path: Path) -> Settings:
    """Return settings from the tables of a parsed file; `path` is named in messages, and paths count from its folder.

    Raises
    ------
    DataError
        See `read_settings`.
    """
    faults = _Faults(path)
    for title in data:
        if title not in KNOWN_TABLES:
            faults.add(f"[{one_line(title)}]", "there is no such table of settings", _where(title))
    values: dict[str, Any] = {}
    for title, table in TABLES.items():
        values |= faults.values(f"[{title}]", data.get(title, {}), settings_of(table))
    own: dict[str, Any] = {
        "layers": faults.texts("[layers]", data.get("layers", {}), LAYERS),
        "columns": {
            name: faults.texts(f"[columns.{one_line(name)}]", table)
            for name, table in faults.tables("columns", data.get("columns", {}), (*LAYERS, *CHECK_TABLES))
        },
        "values": {
            name: faults.texts(f"[values.{one_line(name)}]", table, numbers=True)
            for name, table in faults.tables("values", data.get("values", {}))
        },
        "blocks": {
            name: faults.values(f'[block."{one_line(name)}"]', table, block_definitions())
            for name, table in faults.tables("block", data.get("block", {}))
        },
    }
    if faults.found:
        raise DataError(faults.found)
    return Settings(**own, source=path).with_values(values)


def match_blocks(settings: Settings, names: Sequence[str], *, vineyard: str) -> Settings:
    """Return settings whose blocks are named as the vineyard names them; case and blanks do not matter.

    Raises
    ------
    DataError
        With every block that the vineyard does not have, and the nearest that it has.
    """
    folded = {one_line(name).casefold(): name for name in names}
    found = {named: folded.get(one_line(named).casefold()) for named in settings.blocks}
    problems = [
        Problem(
            settings.file,
            "",
            f'[block."{one_line(named)}"]',
            f"{vineyard} has no block '{one_line(named)}'",
            (nearest(named, names) or f"Its blocks are {few(names)}. ") + "Correct the name, or take the table out",
        )
        for named, name in found.items()
        if name is None
    ]
    if problems:
        raise DataError(problems)
    return replace(settings, blocks={str(found[named]): own for named, own in settings.blocks.items()})


class _Faults:
    """Collects what is wrong with a settings file while it is read."""

    def __init__(self, path: Path) -> None:
        self.path, self.found = path, list[Problem]()

    def add(self, place: str, what: str, mend: str) -> None:
        """Note one problem."""
        self.found.append(Problem(self.path.name, "", place, what, mend))
        if len(self.found) >= MOST_LISTED:
            self.found.append(Problem(self.path.name, "", "", "there are more faults", "Mend these first"))
            raise DataError(self.found)

    def values(self, place: str, table: Any, known: Sequence[Setting]) -> dict[str, Any]:
        """The values of one table by name, in SI."""
        if not isinstance(table, Mapping):
            self.add(place, f"{shown(table)} is no table", f"Write {place} on a line of its own, and its settings below")
            return {}
        by_key = {key: one for one in known for key in one.keys}
        values: dict[str, Any] = {}
        seen: dict[str, str] = {}
        for key, value in table.items():
            one = by_key.get(key)
            if one is None:
                self.add(f"{place} {one_line(key)}", "there is no such setting here", _instead(key, by_key))
            elif one.name in seen:
                self.add(f"{place} {key}", f"it stands in two units ({seen[one.name]}, {key})", "Keep one of them")
            else:
                seen[one.name] = key
                try:
                    values[one.name] = one.read(key, value, self.path.parent)
                except WrongValue as error:
                    self.add(f"{place} {key}", error.what, error.mend)
        return values

    def texts(self, place: str, table: Any, known: Sequence[str] = (), *, numbers: bool = False) -> dict[str, Any]:
        """The names of the user's files in one table; what it calls ours is for reading to know, unless `known` is given."""
        if not isinstance(table, Mapping):
            self.add(place, f"{shown(table)} is no table", f"Write {place} on a line of its own")
            return {}
        named: dict[str, Any] = {}
        for ours, theirs in table.items():
            here = f"{place} {one_line(ours)}"
            number = numbers and isinstance(theirs, int | float) and not isinstance(theirs, bool) and abs(theirs) < 1e15
            if known and ours not in known:
                self.add(here, "there is no such name", f"{nearest(ours, known)}Use {', '.join(known)}")
            elif number or (isinstance(theirs, str) and theirs.strip() and len(theirs) <= LONGEST_TEXT):
                named[ours] = theirs
            else:
                self.add(here, f"{shown(theirs)} is no name", "Write it as it is in the file, in quotes")
        return named

    def tables(self, title: str, table: Any, known: Sequence[str] = ()) -> Iterator[tuple[str, Mapping[str, Any]]]:
        """The tables within a table; what is none, or none of `known`, is noted."""
        if not isinstance(table, Mapping):
            self.add(f"[{title}]", f"{shown(table)} is no table", f"Write {LIKE[title]} on a line of its own")
            return
        for name, inner in table.items():
            place = f"[{title}.{one_line(name)}]"
            if not isinstance(inner, Mapping):
                self.add(f"[{title}] {one_line(name)}", f"{shown(inner)} is no table", f"Write it below {LIKE[title]}")
            elif known and name not in known:
                self.add(place, "there is no such name", f"{nearest(name, known)}Use {', '.join(known)}")
            else:
                yield name, inner


def _where(title: str) -> str:
    """Where a table that is none belongs: its nearest name, or the table of the setting it names."""
    home = next((one.place for one in definitions() if title in one.keys), "")
    if home:
        return f"Write it below {home.split()[0]}"
    return f"{nearest(title, KNOWN_TABLES)}Tables are {', '.join(KNOWN_TABLES)}"


def _instead(key: str, here: Mapping[str, Setting]) -> str:
    """What an unknown key may mean: a setting of another table, a quantity without its unit, or a slip."""
    homes = {other: one for one in definitions() for other in one.keys}
    if key in homes:
        return f"It belongs in [{homes[key].table}]"
    quantity = next((one for one in here.values() if one.unit and any(k.startswith(f"{key}_") for k in one.keys)), None)
    if quantity is not None:
        return f"Write it with its unit: {' or '.join(quantity.keys)}"
    near = nearest(key, tuple(here)) or nearest(key, tuple(homes))
    return f"{near}All settings are listed in docs/settings.md"
