"""The command line in Spanish: help of every command, what is wrong with one that is typed, lists, and how it is chosen."""

from __future__ import annotations

import re

import click
import pytest
from click.testing import CliRunner
from conftest import ENGLISH, QUOTED, WORD
from test_terminal import test_wrong_usage_is_code_2_and_no_traceback as wrong_usage

from geoprune.cli import main
from geoprune.words import preferred_language, room_words

(WRONG,) = (mark.args[1] for mark in wrong_usage.pytestmark if mark.name == "parametrize")


def commands(group=main, before=()):
    for name, command in group.commands.items():
        yield (*before, name), command
        if isinstance(command, click.Group):
            yield from commands(command, (*before, name))


def invoke(*arguments, **environment):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], env=environment)


def english_in(text):
    kept = "\n".join(line for line in text.splitlines() if not line.strip().startswith("geoprune "))
    names = {name for path, _ in commands() for name in path}
    return (ENGLISH & set(WORD.findall(QUOTED.sub(" ", kept).casefold()))) - names


@pytest.mark.parametrize("names", [(), *(names for names, _ in commands())], ids=" ".join)
def test_help_of_every_command_is_spanish_throughout(names):
    told = invoke(*names, "--help", "--lang", "es")
    assert told.exit_code == 0
    assert "Opciones:" in told.output
    assert english_in(told.output) == set()
    for other in (invoke("--lang", "es", *names, "--help"), invoke(*names, "--help", GEOPRUNE_LANGUAGE="es")):
        assert other.output.replace("omisión: es", "omisión: en") == told.output


@pytest.mark.parametrize(
    ("names", "command"), list(commands()), ids=lambda value: " ".join(value) if isinstance(value, tuple) else ""
)
def test_every_option_that_is_shown_says_what_it_is_for(names, command):
    for option in (one for one in command.params if isinstance(one, click.Option) and not one.hidden):
        for language in ("en", "es"):
            told = re.split("Options:|Opciones:", invoke(*names, "--help", "--lang", language).output)[1]
            line = re.search(rf"{re.escape(option.opts[0])}\b[^\n]*(\n {{10,}}[^\n]*)*", told)[0]
            assert len(re.findall(r"[a-záéíóú]", re.sub(r"\[[^]]*\]|-+\w+", "", line))) >= 4, line


def test_lists_of_help_hold_the_same_in_both_languages_and_nothing_that_is_not_shown():
    lists = {code: room_words(code, "help") for code in ("en", "es")}
    assert lists["en"].keys() == lists["es"].keys()
    known = {name.replace("-", "_") for names, _ in commands() for name in names[-1:]} | {"main"}
    options = {(names[-1].replace("-", "_"), p.name) for names, c in commands() for p in c.params}
    own = {f"{command}_{name}" for command, name in options} | {f"option_{name}" for _, name in options}
    page = {
        "usage",
        "options",
        "commands",
        "default",
        "required",
        "error",
        "hint",
        "cannot_tell",
        "option_help",
        "option_version",
    }
    left = {name for name in lists["en"] if not name.startswith("name_")} - known - own - page
    assert left == set()


@pytest.mark.parametrize(("options", "said"), WRONG)
def test_what_is_wrong_with_a_command_line_is_told_in_spanish(tmp_path, options, said):
    (tmp_path / "v.gpkg").touch()
    done = invoke("prescribe", tmp_path / "v.gpkg", "--out", tmp_path / "out", *options, GEOPRUNE_LANGUAGE="es")
    assert done.exit_code == 2, done.output
    assert "Uso:" in done.stderr
    assert "Error:" in done.stderr
    assert english_in(done.stderr.replace("Error:", "")) == set(), done.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("prescribe",), "Falta el argumento 'VIÑEDO'."),
        (("no-such-command",), "No hay comando 'no-such-command'."),
        (("prescrib",), "¿Quiso decir 'prescribe'?"),
        (("rules", "--jsn"), "No hay opción '--jsn'. ¿Quiso decir '--json'?"),
        (("prescribe", "not-there.gpkg", "--out", "x"), "'not-there.gpkg' no existe."),
        (("new",), "Falta el argumento 'CARPETA'."),
        (("new", "x", "--crs", "moon"), "no es un sistema de coordenadas"),
        (("buds-to-cut", "--within", "5"), "'5' no es una parte de 0.01 (1%) a 0.5 (50%). Escriba 0.1 o 10%."),
        (("settings", "x", "y", "z"), "no existe"),
        (("rules", "a"), "Hay un argumento de más (a)"),
        (("audit", "plan", "none"), "La carpeta 'none' no existe."),
    ],
)
def test_wrong_usage_is_told_in_words_of_the_trade(arguments, words):
    done = invoke("--lang", "es", *arguments)
    assert done.exit_code == 2
    assert words in done.stderr


@pytest.mark.parametrize("command", ["rules", "trainings", "buds-to-cut"])
def test_lists_are_told_in_spanish(command):
    told = invoke(command, "--lang", "es").output
    assert "Fuente" in told or "Yemas" in told
    assert told != invoke(command).output
    assert english_in(" ".join(told.splitlines()[1:2] + told.splitlines()[-3:])) == set()


@pytest.mark.parametrize(
    ("environment", "language"),
    [
        ({"LANG": "es_AR.UTF-8"}, "es"),
        ({"LANG": "en_US.UTF-8", "LC_ALL": "es_ES"}, "es"),
        ({"LANG": "es_AR", "GEOPRUNE_LANGUAGE": "en"}, "en"),
        ({"LANG": "de_DE.UTF-8"}, "en"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"GEOPRUNE_LANGUAGE": "xx", "LANG": "es"}, "es"),
        ({}, "en"),
    ],
)
def test_the_language_is_the_chosen_one_then_the_systems(environment, language):
    assert preferred_language(environment) == language


def test_numbers_are_written_as_the_place_writes_them():
    # CLDR: decimal comma in Argentina and Spain, decimal point in Mexico
    told = {
        place: invoke("buds-to-cut", "--within", "0.125", "--lang", "es", LC_ALL=place).output
        for place in ("es_AR", "es_MX")
    }
    assert "12,5%" in told["es_AR"]
    assert "12.5%" in told["es_MX"]
