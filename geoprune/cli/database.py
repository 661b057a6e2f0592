"""`geoprune database`: a vineyard out of a PostGIS database, and results back into it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import click

from geoprune.cli.console import fail, open_console
from geoprune.cli.options import asked_language, language
from geoprune.cli.spoken import SpokenCommand, SpokenGroup, speak
from geoprune.text import one_line

ADDRESS = click.argument("address", metavar="ADDRESS")


@click.group(cls=SpokenGroup)
@asked_language
@click.pass_context
def database(ctx: click.Context, language: str | None) -> None:
    """Take a vineyard out of a PostGIS database, and put results into it."""
    speak(ctx, language)


@database.command("get", cls=SpokenCommand)
@ADDRESS
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True)
@click.option("--table", "tables", multiple=True)
@language
@click.option("--force", is_flag=True)
def get(*, address: str, out: Path, tables: tuple[str, ...], language: str, force: bool) -> None:
    """Write tables of a database as a vineyard file."""
    from geoprune.errors import GeopruneError
    from geoprune.jobs.database import get_vineyard

    try:
        lines = get_vineyard(address, out, tables=tables, force=force)
    except (GeopruneError, OSError) as error:
        fail(error, language=language)
    _print(lines, str(out), language)


@database.command("put", cls=SpokenCommand)
@click.argument("results", type=click.Path(exists=True, file_okay=False, path_type=Path))
@ADDRESS
@click.option("--schema", default="geoprune", show_default=True)
@language
@click.option("--force", is_flag=True)
def put(*, results: Path, address: str, schema: str, language: str, force: bool) -> None:
    """Write the layers of results into a database."""
    from geoprune.database import shown_address
    from geoprune.errors import GeopruneError
    from geoprune.jobs.database import put_results

    try:
        lines = put_results(results, address, schema=schema, force=force)
    except (GeopruneError, OSError) as error:
        fail(error, language=language)
    _print(lines, f"{shown_address(address)} {schema}", language)


def _print(lines: Mapping[str, int], where: str, language: str) -> None:
    from geoprune.errors import Message
    from geoprune.words import Reader

    reader = Reader(language)
    named = ", ".join(f"{name} ({reader.number(count)})" for name, count in lines.items())
    open_console().print(one_line(reader.say(Message("terminal.database", {"where": where, "tables": named}))))
