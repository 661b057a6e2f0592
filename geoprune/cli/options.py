"""Options that commands share, and the small types behind them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from geoprune.text import clean, one_line
from geoprune.units import HA_PER_AC, SUFFIXES
from geoprune.words import UNITS, languages

#: A file that is there; whether it can be read is told with the other faults of the data.
FILE = click.Path(exists=True, dir_okay=False, readable=False, path_type=Path)
#: Digits as they are typed: no other script's, no "nan", no "inf", no underscores.
PLAIN = r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?"
#: What `--wood` may set, and the unit suffixes it takes (none: a plain number).
WOOD = {
    "cordon_length": "length",
    "cane_length": "length",
    "spur_spacing": "spacing",
    "node_spacing": "spacing",
    "canes": "",
    "buds_per_cane": "",
    "buds_per_spur": "",
    "renewal_spurs": "",
    "buds_per_renewal_spur": "",
}
_WOOD_UNITS = {"": {}, "length": SUFFIXES["length"], "spacing": SUFFIXES["length"] | {"in": 0.0254, "cm": 0.01}}

units = click.option("--units", type=click.Choice(UNITS), default="us", show_default=True, help="Units shown.")
language = click.option(
    "--lang", "language", type=click.Choice(languages()), default="en", show_default=True, help="Language of what is told."
)
rule_file = click.option("--rules", "rule_file", type=FILE, help="Your own rules, a TOML file (see docs/rules.md).")
as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON on stdout and nothing else there.")


class Number(click.FloatRange):
    """A number from `low` to `high`, in plain digits; a whole one where asked for."""

    def __init__(self, low: float, high: float, *, whole: bool = False) -> None:
        super().__init__(low, high)
        self.low, self.high, self.whole = low, high, whole
        self.name = "whole number" if whole else "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number."""
        number = plain_number(value)
        if number is None or (self.whole and number != int(number)):
            self.fail(f"{clean(value)!r} is not a {self.name}", param, ctx)
        number = super().convert(number, param, ctx)
        return int(number) if self.whole else number


class Share(Number):
    """A share from `low` to `high`: 0.1 or 10%."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the share."""
        number = plain_number(str(value).removesuffix("%"))
        share = None if number is None else number / 100 if str(value).endswith("%") else number
        if share is None or not self.low <= share <= self.high:
            limits = f"from {self.low:g} ({self.low:.0%}) to {self.high:g} ({self.high:.0%})"
            self.fail(f"{clean(value)!r} is not a share {limits}: write 0.1 or 10%", param, ctx)
        return share


def plain_number(value: Any) -> float | None:
    """Return a finite number as a person types it, or None."""
    if isinstance(value, str) and not re.fullmatch(PLAIN, value.strip(), re.ASCII):
        return None
    return number if math.isfinite(number := float(value)) else None


class WoodValue(click.ParamType):
    """A length or number of the wood, such as cane_length_ft=4 or buds_per_spur=2."""

    name = "NAME=NUMBER"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, float]:
        """Return the keyword of `rules.fit_recipe` and its value in SI."""
        from geoprune.rules.recipes import wood_fault

        if isinstance(value, tuple):
            return value
        name, _, text = str(value).partition("=")
        known = _wood_names()
        if name not in known:
            self.fail(f"'{clean(name)}' is not one of {', '.join(known)}", param, ctx)
        number = plain_number(text)
        if number is None:
            self.fail(f"{clean(text)!r} is not a number", param, ctx)
        keyword, size = known[name]
        number = number * size if size else number
        fault = wood_fault(keyword, number)
        if fault:
            self.fail(fault, param, ctx)
        return keyword, number if size else int(number)


def _wood_names() -> dict[str, tuple[str, float]]:
    names: dict[str, tuple[str, float]] = {}
    for quantity, kind in WOOD.items():
        for unit, size in _WOOD_UNITS[kind].items():
            names[f"{quantity}_{unit}"] = (f"{quantity}_m", size)
        if not kind:
            names[quantity] = (quantity, 0.0)
    return names


class ZoneSize(click.ParamType):
    """The smallest zone: a share of the block's panels or an area, such as 5%, 0.2ha or 0.5ac."""

    name = "SIZE"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Return share of panels and hectares; one of them is 0."""
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,9})?)\s*(%|ha|ac)\s*", str(value), re.ASCII)
        if found is None:
            self.fail(f"{clean(value)!r} is not a size: write 5%, 0.2ha or 0.5ac", param, ctx)
        number, unit = float(found[1]), found[2]
        if unit != "%":
            return 0.0, number * (HA_PER_AC if unit == "ac" else 1.0)
        if number >= 50:
            self.fail("a zone of half the block or more leaves no room for another", param, ctx)
        return number / 100, 0.0


class NamedFile(click.ParamType):
    """A file with a name for what it holds, such as elevation=heights.tif."""

    name = "NAME=FILE"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, Path]:
        """Return the name and the path."""
        if isinstance(value, tuple):
            return value
        name, sign, text = str(value).partition("=")
        if not one_line(name) or not sign or not text:
            self.fail(f"{clean(value)!r} is not of the form NAME=FILE, such as elevation=heights.tif", param, ctx)
        return one_line(name), FILE.convert(text, param, ctx)


def check_crs(ctx: click.Context, param: click.Parameter, value: str | None) -> str | None:
    """Refuse a CRS that PROJ does not know."""
    if value is None:
        return None
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        CRS.from_user_input(value)
    except CRSError:
        raise click.BadParameter(f"{clean(value)!r} is not a coordinate reference system, such as EPSG:32617") from None
    return value


def plain_text(ctx: click.Context, param: click.Parameter, value: str) -> str:
    """Return an option's text on one line, nothing hidden in it."""
    return one_line(value)


class SectionedCommand(click.Command):
    """A command that lists its options under headings; `sections` maps a heading to parameter names."""

    def __init__(self, *args: Any, sections: Mapping[str, Sequence[str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sections = sections

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write each option once, under its heading; those without one come last."""
        records = {param.name: param.get_help_record(ctx) for param in self.get_params(ctx)}
        named = {name for names in self.sections.values() for name in names}
        rest = [param.name for param in self.get_params(ctx) if param.name not in named and isinstance(param, click.Option)]
        for heading, names in {**self.sections, "Other": rest}.items():
            lines = [record for name in names if (record := records[name]) is not None]
            if lines:
                with formatter.section(heading):
                    formatter.write_dl(lines)
