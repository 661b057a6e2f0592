"""`geoprune settings`: a settings file to fill in, with today's defaults and their reasons."""

from __future__ import annotations

from pathlib import Path

import click

from geoprune.cli.console import fail
from geoprune.cli.options import FILE, language, units
from geoprune.cli.spoken import SpokenCommand


@click.command("settings", cls=SpokenCommand)
@click.argument("vineyard", type=FILE, required=False)
@units
@language
def settings(vineyard: Path | None, *, units: str, language: str) -> None:
    """Print a settings file with every default and its reason, or write it beside VINEYARD with its blocks."""
    from geoprune.errors import GeopruneError
    from geoprune.jobs.settings_file import write_settings_file
    from geoprune.settings import settings_template

    if vineyard is None:
        click.echo(settings_template(language, units), nl=False)
        return
    try:
        click.echo(str(write_settings_file(vineyard, language=language, units=units)))
    except (GeopruneError, OSError) as error:
        fail(error, language=language)
