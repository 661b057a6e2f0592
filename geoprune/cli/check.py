"""`geoprune check`: reads everything, plans nothing, and says what is there, missing, odd and not used."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geoprune.cli.console import fail, open_console
from geoprune.cli.options import FILE, VINEYARD_FILE, asked_language, options_of, values_of
from geoprune.cli.spoken import SpokenCommand
from geoprune.words import UNITS, preferred_language

if TYPE_CHECKING:
    from geoprune.jobs.asking import Answer, Question

#: Settings that name a file which is read beside the weights, as options of the check.
BESIDE = ("bud_checks", "harvest", "scores", "zones_from", "covariates", "image")


@click.command(cls=SpokenCommand)
@click.argument("vineyard", type=VINEYARD_FILE)
@click.option("--samples", type=FILE)
@options_of(BESIDE)
@click.option("--yes", is_flag=True)
@click.option("--dry-run", is_flag=True)
@asked_language
@click.option("--units", type=click.Choice(UNITS))
def check(
    *,
    vineyard: Path,
    samples: Path | None,
    yes: bool,
    dry_run: bool,
    language: str | None,
    units: str | None,
    **given: Any,
) -> None:
    """Read a vineyard as it is and find out what each column means."""
    from geoprune.errors import GeopruneError
    from geoprune.jobs.asking import proposed
    from geoprune.jobs.check import check_files
    from geoprune.jobs.check_report import check_sections, next_step, spacing_is_missing, write_checked
    from geoprune.settings import find_settings
    from geoprune.settings.reading import settings_from
    from geoprune.text import clean
    from geoprune.toml_files import read_toml
    from geoprune.words import say
    from geoprune.words.problems import problem_sentence

    beside = values_of(given)
    terminal = is_terminal() and not yes
    try:
        file = find_settings(vineyard)
        settings = {} if file is None else read_toml(file, may_be_empty=True)
        pages = settings_from(settings, file or vineyard).pages  # what is wrong with the settings is reported first
        language, units = language or pages.language, units or pages.units
        answer = _ask_person(language, units) if terminal else proposed
        checked = check_files(vineyard, samples, beside=beside, settings=settings, answer=answer)
        if not dry_run:
            write_checked(checked, vineyard.parent, language=language, units=units)
    except (GeopruneError, OSError) as error:
        fail(error, language=language or preferred_language())
    console = open_console()
    for heading, lines in check_sections(checked):
        console.print(clean(say(heading, language, units)), style="bold")
        for line in lines:
            console.print(f"  {clean(say(line, language, units))}")
    if checked.problems:
        from geoprune.errors import Message

        console.print(clean(say(Message("check.faults"), language, units)), style="bold")
        for problem in checked.problems:
            console.print(f"  {clean(problem_sentence(problem, language))}")
        if spacing_is_missing(checked):
            console.print(f"  {clean(say(Message('check.for_all_blocks'), language, units))}")
    console.print(clean(say(next_step(checked, vineyard, samples, beside), language, units)), style="bold")
    if not checked.ready:
        raise SystemExit(1)


def is_terminal() -> bool:
    """Return whether a person can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def _ask_person(language: str, units: str) -> Answer:
    """Ask on the terminal: Enter takes the first answer where one may be taken so, a number another, s leaves it open."""
    from geoprune.errors import Message
    from geoprune.text import clean
    from geoprune.words import say

    def ask(question: Question) -> int | None:
        click.echo(clean(say(question.about, language, units)))
        for number, option in enumerate(question.options, start=1):
            click.echo(f"  {number}  {clean(say(option.label, language, units))}")
        prompt = say(Message("check.prompt" if question.default is not None else "check.prompt_none"), language, units)
        while True:
            typed = click.prompt(prompt, default="", show_default=False).strip().casefold()
            if typed == "s":
                return None
            if not typed and question.default is not None:
                return question.default
            if typed.isdecimal() and 1 <= int(typed) <= len(question.options):
                return int(typed) - 1

    return ask
