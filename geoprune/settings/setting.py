"""A setting: its one definition, kept with the field of the table it stands in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from geoprune.errors import DataError, Problem
from geoprune.settings.kinds import Kind, Number, WrongValue
from geoprune.units import HA_PER_AC, M_PER_FT, T_HA_PER_TON_AC

#: Kind of quantity -> ending of a key's name -> size of that unit in SI, whose ending comes first.
UNIT_ENDINGS: dict[str, dict[str, float]] = {
    "length": {"m": 1.0, "ft": M_PER_FT},
    "spacing": {"m": 1.0, "cm": 0.01, "ft": M_PER_FT, "in": M_PER_FT / 12},
    "area": {"ha": 1.0, "ac": HA_PER_AC},
    "crop": {"t_ha": 1.0, "tons_ac": T_HA_PER_TON_AC},
}
#: The ending that readers of each unit system are shown.
SHOWN_ENDINGS = {
    "us": {"length": "ft", "spacing": "in", "area": "ac", "crop": "tons_ac"},
    "metric": {"length": "m", "spacing": "cm", "area": "ha", "crop": "t_ha"},
}


@dataclass(frozen=True)
class Setting:
    """One setting.

    Attributes
    ----------
    table, name : str
        Where it stands; the name of a quantity ends in its SI unit.
    kind : Kind
    unit : str
        Kind of quantity (`UNIT_ENDINGS`), "" for none: its key may then be written in any of these units.
    block : bool
        Whether a block may have its own.
    option : str
        The command-line option, "--name" of the key where no other is given.
    everyday : bool
        Whether the option is shown in help; the others work as well.
    example : object
        Shown in the file to fill in where there is no default.
    default : callable
        Returns the value where none is given.
    """

    table: str
    name: str
    kind: Kind
    unit: str
    block: bool
    option: str
    everyday: bool
    example: Any
    default: Callable[[], Any]

    @property
    def keys(self) -> dict[str, float]:
        """The names it may be written under, and the size of each one's unit in SI."""
        endings = UNIT_ENDINGS.get(self.unit)
        if endings is None:
            return {self.name: 1.0}
        stem = self.name.removesuffix(f"_{next(iter(endings))}")
        return {f"{stem}_{ending}": size for ending, size in endings.items()}

    @property
    def place(self) -> str:
        """Where it stands, for messages."""
        return f"[{self.table}] {self.name}"

    def key_for(self, units: str) -> str:
        """The name that readers of a unit system are shown."""
        wanted = SHOWN_ENDINGS[units].get(self.unit, "")
        return next((key for key in self.keys if wanted and key.endswith(f"_{wanted}")), self.name)

    def option_for(self, key: str) -> str:
        """The option that takes the setting under one of its keys."""
        return self.option or "--" + key.replace("_", "-")

    def read(self, key: str, value: Any, folder: Path) -> Any:
        """Return the value of a TOML file in SI."""
        return self._in_si(self.kind.read, key, value, folder)

    def parse(self, key: str, texts: Sequence[str], folder: Path) -> Any:
        """Return the value that was typed, in SI."""
        return self._in_si(self.kind.parse, key, texts, folder)

    def _in_si(self, reader: Callable[..., Any], key: str, value: Any, folder: Path) -> Any:
        if isinstance(self.kind, Number):
            return reader(value, folder, factor=self.keys[key])
        return reader(value, folder)


def setting(
    kind: Kind,
    default: Any = None,
    *,
    kept: Callable[[], Any] | None = None,
    unit: str = "",
    block: bool = False,
    option: str = "",
    everyday: bool = False,
    example: Any = None,
) -> Any:
    """Return the field of a table that holds a setting; `kept` looks its default up where another room keeps it."""
    mine = {"kind": kind, "unit": unit, "block": block, "option": option, "everyday": everyday, "example": example}
    return field(default_factory=kept or (lambda: default), metadata=mine)


class Table:
    """Base of the tables: values are checked where a table is made."""

    #: Name of the table in a settings file.
    title = ""

    def __post_init__(self) -> None:
        problems = []
        for one in settings_of(type(self)):
            value = getattr(self, one.name)
            if value is None:
                continue
            try:
                object.__setattr__(self, one.name, one.read(one.name, value, Path()))
            except WrongValue as error:
                problems.append(Problem("", "", one.place, error.what, error.mend))
        if problems:
            raise DataError(problems)


def settings_of(table: type[Any]) -> tuple[Setting, ...]:
    """Return the settings that a table holds, in order."""
    return tuple(
        Setting(table.title, one.name, default=one.default_factory, **one.metadata)  # type: ignore[arg-type]
        for one in fields(table)
    )
