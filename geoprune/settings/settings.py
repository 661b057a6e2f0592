"""All settings of a run, and what one block makes of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from geoprune.errors import Problem
from geoprune.settings.setting import Setting, settings_of
from geoprune.settings.tables import TABLES, WOOD, Buds, Crop, Files, Pages, Work, Zones, definitions


@dataclass(frozen=True)
class Settings:
    """The settings of a run, in SI.

    Attributes
    ----------
    files, zones, buds, crop, work, pages
        The tables; each is checked where it is made.
    layers : mapping
        Layer -> what it is called in the vineyard file.
    columns : mapping
        Layer -> our column -> the header that it has in the file.
    values : mapping
        Column -> word in the file -> our word, or a number.
    blocks : mapping
        Block -> setting -> value, where a block differs.
    source : Path or None
        The file they were read from.

    Examples
    --------
    >>> from geoprune.settings import Settings, Work
    >>> mine = Settings(work=Work(minutes_per_vine=2.0), blocks={"Ridge": {"minutes_per_vine": 4.0}})
    >>> mine.work.minutes_per_vine, mine.for_block("Ridge").work.minutes_per_vine
    (2.0, 4.0)
    """

    files: Files = field(default_factory=Files)
    layers: Mapping[str, str] = field(default_factory=dict)
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    zones: Zones = field(default_factory=Zones)
    buds: Buds = field(default_factory=Buds)
    crop: Crop = field(default_factory=Crop)
    work: Work = field(default_factory=Work)
    pages: Pages = field(default_factory=Pages)
    blocks: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    source: Path | None = None

    def for_block(self, name: str) -> Settings:
        """Return the settings that hold for one block; what only a block can say is not among them."""
        return replace(self.with_values(self.blocks.get(name, {})), blocks={})

    def with_values(self, values: Mapping[str, Any]) -> Settings:
        """Return settings with other values, given by name and in SI."""
        tables = {}
        for title, table in TABLES.items():
            names = {one.name for one in settings_of(table)} & set(values)
            if names:
                tables[title] = replace(getattr(self, title), **{name: values[name] for name in names})
        return replace(self, **tables)

    def over_blocks(self, values: Mapping[str, Any]) -> Settings:
        """Return settings with other values that hold for every block, whatever it had of its own."""
        kept = {block: {k: v for k, v in own.items() if k not in values} for block, own in self.blocks.items()}
        return replace(self.with_values(values), blocks=kept)

    def value(self, one: Setting) -> Any:
        """Return the value of a setting."""
        return getattr(getattr(self, one.table), one.name)

    @property
    def wood(self) -> dict[str, float]:
        """Lengths and numbers of the wood that are given, keywords of `rules.fit_recipe`."""
        return {name: value for name in WOOD if (value := getattr(self.buds, name)) is not None}

    @property
    def file(self) -> str:
        """Name of the settings file, for messages."""
        return "" if self.source is None else self.source.name

    def problems(self) -> list[Problem]:
        """Return what does not go together, for the whole vineyard and for each block."""
        found = _apart(self)
        whole = len(found)
        for block in self.blocks:
            found += [replace(one, row=f'[block."{block}"]: {one.row}') for one in _apart(self.for_block(block))]
        common = {(one.what, one.mend) for one in found[:whole]}
        own = [one for one in found[whole:] if (one.what, one.mend) not in common]
        return [replace(one, file=self.file) for one in (*found[:whole], *own)]

    def as_data(self) -> dict[str, Any]:
        """Return all settings as plain tables, those that are not given left out, blocks under "block"."""
        tables = {
            title: {one.name: value for one in definitions() if one.table == title and _given(value := self.value(one))}
            for title in TABLES
        }
        more = {"layers": self.layers, "columns": self.columns, "values": self.values, "block": self.blocks}
        return tables | {title: _plain(table) for title, table in more.items() if table}


def _plain(table: Mapping[str, Any]) -> dict[str, Any]:
    return {name: dict(value) if isinstance(value, Mapping) else value for name, value in table.items()}


def _given(value: Any) -> bool:
    return value is not None and value != {} and value != ()


def _apart(settings: Settings) -> list[Problem]:
    """What does not go together."""
    files, buds = settings.files, settings.buds
    found = []
    if None not in (buds.fewest_buds, buds.most_buds) and buds.fewest_buds > buds.most_buds:  # type: ignore[operator]
        what = f"fewest_buds, {buds.fewest_buds:g}, lies above most_buds, {buds.most_buds:g}"
        found.append(Problem("", "", "[buds]", what, "Correct one of them"))
    if settings.crop.target_crop_t_ha is not None and files.crop_figures is None:
        what = "a wanted crop needs crop_figures (--crop-figures): no budbreak, clusters or weights are assumed"
        found.append(Problem("", "", "[crop]", what, "Name the file, or leave the wanted crop out"))
    if files.zones_from is None and (files.zones_layer or files.zones_column):
        what = "zones_layer and zones_column go with zones_from"
        found.append(Problem("", "", "[files]", what, "Name the file of the zones, or leave both out"))
    return found
