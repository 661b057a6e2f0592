"""Settings as a file: those of a run, to repeat it from, and a commented one to fill in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from textwrap import wrap
from typing import Any

from geoprune.settings.kinds import Number, key_text, quoted
from geoprune.settings.setting import Setting
from geoprune.settings.settings import Settings
from geoprune.settings.tables import TABLES, block_definitions, definitions
from geoprune.text import one_line
from geoprune.words import room_words

#: Width of comments.
WIDTH = 100
#: Tables that hold names of the user's files, as they are shown.
OWN_NAMES = {
    "layers": ("[layers]", 'blocks = "Parcelas"'),
    "columns": ("[columns.samples]", 'pruning_weight_g = "Peso (g)"'),
    "values": ("[values.training]", '"Royat" = "low cordon"', 'otherwise = "flat cane"'),
}


def settings_text(settings: Settings, *, folder: Path, language: str = "en") -> str:
    """Return the settings of a run as TOML, defaults included, so that the run can be repeated from it.

    Parameters
    ----------
    settings : Settings
    folder : Path
        Where the file will stand; paths are written as seen from there.
    language : str
        Of the comment at its head.
    """
    lines = [*_comment("effective", language), ""]
    by_name = {one.name: one for one in (*block_definitions(), *definitions())}
    for title in TABLES:
        held = [one for one in definitions() if one.table == title]
        lines += [f"[{title}]", *(_line(one, settings.value(one), folder) for one in held if _has(settings.value(one))), ""]
    own: dict[str, Mapping[str, Any]] = {"layers": settings.layers} if settings.layers else {}
    own |= {f"columns.{key_text(layer)}": headers for layer, headers in settings.columns.items()}
    own |= {f"values.{key_text(column)}": words for column, words in settings.values.items()}
    for title, names in own.items():
        lines += [f"[{title}]", *(f"{key_text(name)} = {_literal(value)}" for name, value in names.items()), ""]
    for block, values in settings.blocks.items():
        lines += [f"[block.{quoted(block)}]", *(_line(by_name[name], value, folder) for name, value in values.items()), ""]
    return "\n".join(lines)


def settings_template(language: str = "en", units: str = "us", *, blocks: Iterable[str] = ()) -> str:
    """Return a settings file to fill in: every setting with its meaning, its default and the default's reason.

    All lines are comments, so that the file changes nothing until one is freed.

    Parameters
    ----------
    language : str
        Of the comments.
    units : {"us", "metric"}
        Units of the keys.
    blocks : iterable of str
        Blocks that get a table of their own.
    """
    lines = [*_comment("head", language), ""]
    settings = Settings()
    for title in TABLES:
        lines += ["", *_comment(f"table_{title}", language), f"[{title}]"]
        for one in definitions():
            if one.table == title:
                lines += ["", *_reason(one, language), f"# {_shown(one, settings.value(one), units)}"]
    for title, shown in OWN_NAMES.items():
        lines += ["", "", *_comment(f"table_{title}", language), *(f"# {line}" for line in shown)]
    lines += ["", "", *_comment("table_block", language)]
    for block in [one_line(name) for name in blocks] or ["Name"]:
        lines += ["", f"# [block.{quoted(block)}]"]
        lines += [
            f"# {_shown(one, None if one.table == 'block' else settings.value(one), units)}" for one in block_definitions()
        ]
    return "\n".join(lines) + "\n"


def help_sentence(one: Setting, language: str = "en") -> str:
    """Return what a setting means, in one sentence."""
    return room_words(language, "settings")[one.name]


def _reason(one: Setting, language: str) -> list[str]:
    return [*_comment(one.name, language), *_comment(f"{one.name}_why", language)]


def _comment(name: str, language: str) -> list[str]:
    reason = room_words(language, "settings")[name]
    return [f"# {line}" for line in wrap(reason, WIDTH, break_long_words=False, break_on_hyphens=False)]


def _line(one: Setting, value: Any, folder: Path) -> str:
    return f"{one.name} = {one.kind.write(value, folder)}"


def _shown(one: Setting, value: Any, units: str) -> str:
    """A line of the template, in the reader's unit."""
    key = one.key_for(units)
    given = _has(value)
    value = value if given else one.example
    if not isinstance(one.kind, Number):
        return f"{key} = {one.kind.write(value, Path())}"
    return f"{key} = {value / one.keys[key]:{'g' if given else '.2g'}}"


def _literal(value: Any) -> str:
    return quoted(value) if isinstance(value, str) else repr(value)


def _has(value: Any) -> bool:
    return value is not None and not (isinstance(value, tuple | Mapping) and not value)
