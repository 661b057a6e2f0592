"""`geoprune seasons`: what became of the vines since last winter."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from geoprune.cli.console import fail, open_console, print_json_summary, print_table
from geoprune.cli.options import FILE, as_json, language, units
from geoprune.cli.spoken import SpokenCommand
from geoprune.text import one_line

if TYPE_CHECKING:
    from geoprune.jobs.seasons import Seasons
    from geoprune.words import Reader


@click.command(cls=SpokenCommand)
@click.argument(
    "results", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path), metavar="RESULTS..."
)
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--harvest", type=FILE)
@click.option("--left", type=FILE)
@units
@language
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option("--force", is_flag=True)
@as_json
def seasons(
    *,
    results: tuple[Path, ...],
    out: Path,
    harvest: Path | None,
    left: Path | None,
    units: str,
    language: str,
    paper: str,
    force: bool,
    as_json: bool,
) -> None:
    """Compare winters: change of vine size by panel and zone, what lasts, what stays small, crop load."""
    from geoprune.deliver.edition import Style
    from geoprune.deliver.seasons import write_seasons
    from geoprune.deliver.writing.folder import free_target
    from geoprune.errors import GeopruneError
    from geoprune.jobs.seasons import compare_winters
    from geoprune.words import Reader, locale_for

    reader = Reader(language, units, locale_for(language))
    try:
        out = free_target(out, force=force)
        found = compare_winters(results, harvest=harvest, left=left)
        write_seasons(found.comparisons, found.remarks, out, style=Style(reader, paper), force=force)
    except (GeopruneError, OSError) as error:
        fail(error, language=language)
    if as_json:
        print_json_summary(out)
        return
    _print(found, reader, out)


def _print(found: Seasons, reader: Reader, out: Path) -> None:
    from geoprune.deliver.seasons import zone_cells, zone_heads
    from geoprune.errors import Message

    console = open_console()
    for one in found.comparisons:
        console.print(one_line(one.years.block), style="bold")
        for message in one.messages:
            console.print(f"  {one_line(reader.say(message))}")
        print_table(console, zone_heads(one, reader), zone_cells(one, reader), numbers=(1, 2, 3, 4, 5))
    for remark in found.remarks:
        console.print(one_line(reader.say(remark)), style="dim")
    console.print(reader.words("seasons")["not_applied"])
    console.print(one_line(reader.say(Message("seasons.written", {"path": str(out / "seasons.html")}))))
