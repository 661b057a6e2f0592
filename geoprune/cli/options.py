"""Options that commands share. Those of settings are made from the settings' definitions."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from click.shell_completion import CompletionItem

from geoprune.cli.spoken import SelfExplaining, language_of
from geoprune.settings.kinds import Choice, FilePath, Kind, Number, WrongValue, nearest, plain_number
from geoprune.settings.setting import Setting
from geoprune.settings.tables import block_definitions, definitions
from geoprune.text import clean
from geoprune.units import HA_PER_AC
from geoprune.words import UNITS, languages, preferred_language

if TYPE_CHECKING:
    from geoprune.settings import Settings

Command = TypeVar("Command", bound=Callable[..., Any])
#: A file that is there; whether it can be read is reported with the other faults of the data.
FILE = click.Path(exists=True, dir_okay=False, readable=False, path_type=Path)


class VineyardPath(click.Path):
    """A vineyard: a file, a folder of them, or the address of a database, which becomes a file before anything else."""

    def __init__(self, *, folders: bool) -> None:
        super().__init__(exists=True, readable=False, dir_okay=folders, path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path; of an address that of the file with what the database held."""
        from geoprune.database import is_address

        return _taken(str(value), ctx) if is_address(value) else super().convert(value, param, ctx)


def _taken(address: str, ctx: click.Context | None) -> Path:
    """What stands in a database, as a file named after it in the folder where the command runs: a run repeats from it."""
    from geoprune.cli.console import fail, open_console
    from geoprune.database import shown_address
    from geoprune.errors import GeopruneError, Message
    from geoprune.jobs.database import take_vineyard
    from geoprune.words import Reader

    language = language_of(ctx)
    try:
        out = take_vineyard(address, Path())
    except (GeopruneError, OSError) as error:
        fail(error, language=language)
    told = Message("terminal.taken", {"address": shown_address(address), "file": out.name})
    open_console(stderr=True).print(clean(Reader(language).say(told)))
    return out


#: A vineyard file, a folder of them, or a database; and where no folder will do.
VINEYARD, VINEYARD_FILE = VineyardPath(folders=True), VineyardPath(folders=False)

units = click.option("--units", type=click.Choice(UNITS), default="us", show_default=True)
#: The language of help and faults where a command has no settings to take it from.
asked_language = click.option("--lang", "language", type=click.Choice(languages()))
language = click.option("--lang", "language", type=click.Choice(languages()), default=preferred_language, show_default=False)
rule_file = click.option("--rules", "rule_file", type=FILE)
as_json = click.option("--json", "as_json", is_flag=True)


class Typed(click.ParamType):
    """What is typed, read as a kind of value."""

    def __init__(self, kind: Kind, read: Callable[[Sequence[str]], Any] | None = None) -> None:
        self.kind, self.read = kind, read or (lambda texts: kind.parse(texts, Path()))
        self.many = kind.many
        self.name = kind.metavar

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the value; of an option that may be repeated the text, which is read with its fellows."""
        if not isinstance(value, str):
            return value
        try:
            read = self.read([value])
        except WrongValue as error:
            self.fail(clean(f"{error.what}. {error.mend}."), param, ctx)
        return value if self.many else read

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """Return what help calls the value."""
        return self.kind.metavar

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Offer the words of a choice, and files."""
        if isinstance(self.kind, Choice):
            return [CompletionItem(word) for word in self.kind.known if word.startswith(incomplete)]
        return [CompletionItem(incomplete, type="file")] if isinstance(self.kind, FilePath) else []


class Share(Kind):
    """A share from `low` to `high`: 0.1 or 10%."""

    metavar = "SHARE"

    def __init__(self, low: float, high: float) -> None:
        self.low, self.high = low, high

    def parse(self, texts: Sequence[str], folder: Path) -> float:
        """Return the share."""
        text = texts[-1]
        number = plain_number(text.removesuffix("%"))
        share = None if number is None else number / 100 if text.endswith("%") else number
        if share is None or not self.low <= share <= self.high:
            limits = f"from {self.low:g} ({self.low:.0%}) to {self.high:g} ({self.high:.0%})"
            raise WrongValue(f"{clean(text)!r} is not a share {limits}", "Write 0.1 or 10%")
        return share


class ZoneSize(Kind):
    """The smallest zone: a share of the block's panels or an area, such as 5%, 0.2ha or 0.5ac."""

    metavar = "SIZE"

    def parse(self, texts: Sequence[str], folder: Path) -> dict[str, float]:
        """Return the settings that say so."""
        found = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,9})?)\s*(%|ha|ac)\s*", texts[-1], re.ASCII)
        if found is None:
            raise WrongValue(f"{clean(texts[-1])!r} is not a size", "Write 5%, 0.2ha or 0.5ac")
        number, unit = float(found[1]), found[2]
        if unit != "%":
            return {"smallest_zone_percent": 0.0, "smallest_zone_ha": number * (HA_PER_AC if unit == "ac" else 1.0)}
        if number >= 50:
            raise WrongValue("a zone of half the block or more leaves no room for another", "Write less than 50%")
        return {"smallest_zone_percent": number, "smallest_zone_ha": 0.0}


class SettingOption(SelfExplaining):
    """The option of a setting; its help is looked up when it is shown."""

    def __init__(self, *args: Any, setting: Setting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.setting = setting

    def help_in(self, language: str) -> str:
        """Return what the setting means, with its default where there is one."""
        from geoprune.settings.writing import help_sentence

        default = self.setting.default()
        return help_sentence(self.setting, language) + (f"  [default: {default}]" if default else "")


def settings_options(*, shown: Sequence[str] | None = None) -> Callable[[Command], Command]:
    """Give a command every setting as an option, `--settings` and `--set`.

    Parameters
    ----------
    shown : sequence of str, optional
        Names of the settings whose options stand in help; the everyday ones by default. The others work as well.
    """

    def add(command: Command) -> Command:
        for option in reversed([*_FILE_OPTIONS, *_setting_options(shown), *_OLDER_OPTIONS]):
            command = option(command)
        return command

    return add


def options_of(names: Sequence[str]) -> Callable[[Command], Command]:
    """Give a command the options of some settings, all of them shown; each comes under its setting's name."""

    def add(command: Command) -> Command:
        for one in reversed([one for one in definitions() if one.name in names]):
            how: dict[str, Any] = {"type": Typed(one.kind, partial(one.parse, one.name, folder=Path())), "setting": one}
            how |= {"multiple": one.kind.many, "cls": SettingOption}
            command = click.option(one.option_for(one.name), one.name, **how)(command)
        return command

    return add


def values_of(given: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values that `options_of` took, by setting; those that were not typed are left out."""
    known = {one.name: one for one in definitions()}
    return {
        name: _parsed(known[name], name, value) if known[name].kind.many else value
        for name, value in given.items()
        if value not in (None, ())
    }


def _setting_options(shown: Sequence[str] | None) -> list[Callable[[Command], Command]]:
    options = []
    for one in definitions():
        visible = one.everyday if shown is None else one.name in shown
        for key in one.keys:
            how: dict[str, Any] = {"type": Typed(one.kind, partial(one.parse, key, folder=Path())), "setting": one}
            how |= {"multiple": one.kind.many, "hidden": not visible, "cls": SettingOption}
            options.append(click.option(one.option_for(key), key, **how))
    return options


class Assigned(click.ParamType):
    """A setting of any name, such as zones.max_zones=2, max_zones=2 or block.Ridge.change_cost=1."""

    name = "NAME=VALUE"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return block ("" for all), setting, key and text."""
        if isinstance(value, tuple):
            return value
        path, sign, text = str(value).partition("=")
        table, _, key = path.strip().rpartition(".")
        block = table.removeprefix("block.").strip('"') if table.startswith("block.") else ""
        known = {key: one for one in (block_definitions() if block else definitions()) for key in one.keys}
        one = known.get(key)
        if not sign or one is None or (table and not block and table != one.table):
            near = nearest(key, tuple(known))
            fault = f"'{clean(path)}' is not a setting" if sign else f"{clean(value)!r} is not of the form NAME=VALUE"
            self.fail(f"{fault}. {near}Write it like zones.max_zones=2; `geoprune settings` lists all.", param, ctx)
        try:
            one.parse(key, [text], Path())
        except WrongValue as error:
            self.fail(clean(f"{key}: {error.what}. {error.mend}."), param, ctx)
        return block, one, key, text


_FILE_OPTIONS = (
    click.option("--settings", "settings_file", type=FILE),
    click.option(
        "--set",
        "assigned",
        type=Assigned(),
        multiple=True,
    ),
)
#: Options of earlier versions, which settings answer to under other names.
_OLDER_OPTIONS = (
    click.option("--wood", "wood", type=Assigned(), multiple=True, hidden=True),
    click.option("--smallest-zone", "smallest_zone", type=Typed(ZoneSize()), hidden=True),
)


def gather_settings(vineyard: Path, given: dict[str, Any]) -> Settings:
    """Return the settings of a run: those of its file, and over them what the command line says.

    Parameters
    ----------
    vineyard : Path
    given : dict
        The command's parameters; those of settings are taken out of it.

    Raises
    ------
    DataError
        If the settings file is at fault.
    click.UsageError
        If the command line is.
    """
    from geoprune.errors import DataError
    from geoprune.jobs import choice_problems
    from geoprune.settings import Settings, find_settings, read_settings

    typed, own = _typed(given)
    file = given.pop("settings_file") or find_settings(vineyard)
    base = Settings() if file is None else read_settings(file)
    settings = _in_this_place(base.over_blocks(typed))
    blocks = {name: {**settings.blocks.get(name, {}), **own.get(name, {})} for name in (*settings.blocks, *own)}
    settings = Settings(**{**vars(settings), "blocks": blocks})
    problems = [*settings.problems(), *choice_problems(settings)]
    before = [*base.problems(), *choice_problems(base)] if problems else []
    if any(problem in before for problem in problems):
        raise DataError(problems)
    if problems:
        raise click.UsageError(clean("\n".join(f"{problem.what}. {problem.mend}." for problem in problems)))
    return settings


def _in_this_place(settings: Settings) -> Settings:
    """Settings whose marks of numbers and days are the system's, where it speaks their language and none is set."""
    from geoprune.words import DEFAULT_LOCALES, locale_for

    place = locale_for(settings.pages.language)
    if settings.pages.locale is not None or place in ("", DEFAULT_LOCALES.get(settings.pages.language)):
        return settings
    return settings.with_values({"locale": place})


def _typed(given: dict[str, Any]) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """What was typed, for the vineyard and for single blocks: name -> value in SI."""
    texts: dict[tuple[str, str], tuple[Setting, str, list[str]]] = {}
    for block, one, key, text in (*given.pop("assigned"), *given.pop("wood")):
        texts.setdefault((block, one.name), (one, key, []))[2].append(text)
    values: dict[str, dict[str, Any]] = {"": {}}
    for (block, name), (one, key, typed) in texts.items():
        values.setdefault(block, {})[name] = _parsed(one, key, typed)
    values[""] |= given.pop("smallest_zone") or {}
    for one in definitions():
        given_as_keys = {key: value for key in one.keys if (value := given.pop(key)) not in (None, ())}
        if len(given_as_keys) > 1:
            raise click.UsageError(f"Give it once: {' or '.join(map(one.option_for, given_as_keys))}.")
        for key, value in given_as_keys.items():
            values[""][one.name] = _parsed(one, key, value) if one.kind.many else value
    return values.pop(""), values


def _parsed(one: Setting, key: str, texts: Sequence[str]) -> Any:
    try:
        return one.parse(key, texts, Path())
    except WrongValue as error:
        raise click.UsageError(clean(f"{one.option_for(key)}: {error.what}. {error.mend}.")) from None


def number(low: float, high: float, *, whole: bool = False) -> Typed:
    """Return the type of an option that takes a number."""
    return Typed(Number(low, high, whole))


def share(low: float, high: float) -> Typed:
    """Return the type of an option that takes a share."""
    return Typed(Share(low, high))
