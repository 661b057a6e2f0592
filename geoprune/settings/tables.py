"""The settings: one line each, with its kind, default and limits.

What a setting means and why its default is what it is stands under its name in `geoprune/words/<language>/settings.toml`
(`name` and `name_why`). A new setting is one line here and these two sentences; its place in the file, its option, its
checks, the documentation's table and the written file follow.
"""

# ruff: noqa: RUF009 - `setting` returns a dataclass field

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any

from geoprune.settings.kinds import Checked, Choice, FileMap, FilePath, Kind, Lines, Number, ResultList
from geoprune.settings.setting import Setting, Table, setting, settings_of
from geoprune.words import UNITS, languages, preferred_language

#: Sides of a block and ends of a row.
SIDES = ("N", "E", "S", "W")


def _zones_default(name: str) -> Any:
    """A default that drawing zones keeps."""
    from geoprune.zones import ZoneOptions

    return getattr(ZoneOptions, name)


def _usual_minutes() -> float:
    from geoprune.rules import MINUTES_PER_VINE

    return MINUTES_PER_VINE


def _usual_injury_method() -> str:
    from geoprune.rules import DEFAULT_METHOD

    return DEFAULT_METHOD


def _known_crs(text: str) -> str:
    """Refuse a CRS that PROJ does not know."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        CRS.from_user_input(text)
    except CRSError:
        raise ValueError(f"'{text}' is not a coordinate reference system, such as EPSG:32617") from None
    return text


def _known_injury_method(text: str) -> str:
    from geoprune.rules import injury_method

    return injury_method(text).id


def _wood_limits(name: str) -> tuple[float, float]:
    from geoprune.rules import WOOD_LIMITS

    return WOOD_LIMITS[name]


def _wood(name: str, unit: str = "", *, example: float) -> Any:
    """A length or number of the wood; its limits are those of the recipes."""
    return setting(Number(whole=not unit, kept=partial(_wood_limits, name)), unit=unit, block=True, example=example)


def _kept_in_zones(name: str) -> Callable[[], Any]:
    return partial(_zones_default, name)


@dataclass(frozen=True)
class Files(Table):
    """Files beside the vineyard, and how they are read."""

    title = "files"
    samples: Path | None = setting(FilePath(), everyday=True, example=Path("weights.csv"))
    sheet: str | None = setting(Kind(), example="Sheet1")
    header_row: tuple[int, ...] = setting(Lines(), (), example=(2,))
    decimal_mark: str | None = setting(Choice(words=(".", ",")), example=",")
    crs: str | None = setting(Checked(check=_known_crs), everyday=True, example="EPSG:32617")
    covariates: Mapping[str, Path] = setting(
        FileMap(), {}, option="--covariate", everyday=True, example={"elevation": Path("heights.tif")}
    )
    scores: Path | None = setting(FilePath(), example=Path("scores.csv"))
    bud_checks: Path | None = setting(FilePath(), example=Path("bud_checks.csv"))
    earlier: tuple[Path, ...] = setting(ResultList(), (), example=(Path("last_winter"),))
    image: Path | None = setting(FilePath(), example=Path("orthophoto.tif"))
    harvest: Path | None = setting(FilePath(), example=Path("harvest.csv"))
    left: Path | None = setting(FilePath(), example=Path("check/left.csv"))
    crop_figures: Path | None = setting(FilePath(), example=Path("crop.toml"))
    rules: Path | None = setting(FilePath(), example=Path("rules.toml"))
    trainings: Path | None = setting(FilePath(), example=Path("trainings.toml"))
    zones_from: Path | None = setting(FilePath(), example=Path("zones.gpkg"))
    zones_layer: str | None = setting(Kind(), example="panels")
    zones_column: str | None = setting(Kind(), example="zone")


@dataclass(frozen=True)
class Zones(Table):
    """How zones are drawn."""

    title = "zones"
    max_zones: int = setting(Number(2, 4, whole=True), kept=_kept_in_zones("max_zones"))
    smallest_zone_percent: float = setting(Number(0, 49.9), kept=lambda: 100 * _zones_default("smallest_share"))
    smallest_zone_ha: float = setting(Number(0, 10_000), kept=_kept_in_zones("smallest_ha"), unit="area")
    shortest_run: int = setting(Number(1, 100, whole=True), kept=_kept_in_zones("shortest_run"))
    most_changes: int = setting(Number(0, 20, whole=True), kept=_kept_in_zones("most_changes"))
    change_cost: float = setting(Number(0, 100), kept=_kept_in_zones("change_cost"), block=True)
    bud_step: int | None = setting(Number(1, 20, whole=True), example=5)
    worth: float = setting(Number(0, 100), kept=_kept_in_zones("worth"))
    over_weight: float = setting(Number(0.1, 10), kept=_kept_in_zones("over_weight"))
    seed: int = setting(Number(0, 2**31 - 1, whole=True), 0)


@dataclass(frozen=True)
class Buds(Table):
    """How a vine's count is found, and the wood that carries it."""

    title = "buds"
    injury_method: str = setting(Checked(check=_known_injury_method), kept=_usual_injury_method, block=True)
    fewest_buds: float | None = setting(Number(0, 500), block=True, example=20)
    most_buds: float | None = setting(Number(1, 500), block=True, example=80)
    last_pruning: str = setting(Choice(words=("hand", "minimal")), "hand", block=True)
    cordon_length_m: float | None = _wood("cordon_length_m", "length", example=2.4384)
    cane_length_m: float | None = _wood("cane_length_m", "length", example=1.2192)
    spur_spacing_m: float | None = _wood("spur_spacing_m", "spacing", example=0.127)
    node_spacing_m: float | None = _wood("node_spacing_m", "spacing", example=0.0762)
    canes: int | None = _wood("canes", example=2)
    buds_per_cane: int | None = _wood("buds_per_cane", example=12)
    buds_per_spur: int | None = _wood("buds_per_spur", example=2)
    renewal_spurs: int | None = _wood("renewal_spurs", example=2)
    buds_per_renewal_spur: int | None = _wood("buds_per_renewal_spur", example=2)


@dataclass(frozen=True)
class Crop(Table):
    """What the buyer wants."""

    title = "crop"
    target_crop_t_ha: float | None = setting(Number(0, 100), unit="crop", block=True, example=10)


@dataclass(frozen=True)
class Work(Table):
    """Hours and their cost."""

    title = "work"
    minutes_per_vine: float = setting(Number(0.1, 120), kept=_usual_minutes, block=True)
    cost_per_hour: float | None = setting(Number(0, 1_000_000), block=True, example=20)


@dataclass(frozen=True)
class Pages(Table):
    """Language, units and paper of what people read."""

    title = "pages"
    units: str = setting(Choice(words=UNITS), "us", everyday=True)
    language: str = setting(Choice(words=languages), kept=preferred_language, option="--lang", everyday=True)
    locale: str | None = setting(Kind(), example="es_ES")
    paper: str = setting(Choice(words=("letter", "a4")), "letter", everyday=True)
    background: str | None = setting(Kind(), example="https://tiles.example.org/{z}/{x}/{y}.png")
    credit: str | None = setting(Kind(), example="Map data: ...")


@dataclass(frozen=True)
class BlockOwn(Table):
    """What the vineyard file says of a block, and a block's settings may say in its place."""

    title = "block"
    training: str | None = setting(Kind(), block=True, example="low cordon")
    rule: str | None = setting(Kind(), block=True, example="20+20")
    row_bearing_deg: float | None = setting(Number(-360, 360), block=True, example=12)
    first_row_side: str | None = setting(Choice(words=SIDES), block=True, example="W")
    vine_1_end: str | None = setting(Choice(words=SIDES), block=True, example="S")


TABLES: dict[str, type[Any]] = {table.title: table for table in (Files, Zones, Buds, Crop, Work, Pages)}
#: The wood as keywords of `rules.fit_recipe`.
WOOD = (
    *("cordon_length_m", "cane_length_m", "spur_spacing_m", "node_spacing_m"),
    *("canes", "buds_per_cane", "buds_per_spur", "renewal_spurs", "buds_per_renewal_spur"),
)

#: What only a block says: columns of the layer of blocks.
BLOCK_COLUMNS = tuple(one.name for one in settings_of(BlockOwn))


@cache
def definitions() -> tuple[Setting, ...]:
    """Return every setting of the run, table by table."""
    return tuple(one for table in TABLES.values() for one in settings_of(table))


@cache
def block_definitions() -> tuple[Setting, ...]:
    """Return every setting that a block may have of its own."""
    return (*settings_of(BlockOwn), *(one for one in definitions() if one.block))
