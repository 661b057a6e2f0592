"""`geoprune replant`: what to replant, in the order of what comes back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from geoprune.cli.console import fail, open_console, print_json_summary, print_table
from geoprune.cli.options import FILE, as_json, language, units
from geoprune.cli.spoken import SpokenCommand
from geoprune.text import one_line

if TYPE_CHECKING:
    from geoprune.jobs.replant import Replanting
    from geoprune.words import Reader


@click.command(cls=SpokenCommand)
@click.argument("source", metavar="RESULTS|VINEYARD", type=click.Path(exists=True, path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--prices", type=FILE)
@click.option(
    "--earlier",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    multiple=True,
)
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=0, show_default=True)
@units
@language
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option("--force", is_flag=True)
@as_json
def replant(
    *,
    source: Path,
    out: Path,
    prices: Path | None,
    earlier: tuple[Path, ...],
    seed: int,
    units: str,
    language: str,
    paper: str,
    force: bool,
    as_json: bool,
) -> None:
    """Gather missing, dead, diseased and weak vines into areas, and say what replanting each costs and brings back."""
    from geoprune.deliver.edition import Style
    from geoprune.deliver.replanting import PRICES, carried_prices, write_replanting
    from geoprune.deliver.writing.folder import free_target
    from geoprune.errors import GeopruneError
    from geoprune.jobs.replant import plan_replanting
    from geoprune.words import Reader, locale_for

    reader = Reader(language, units, locale_for(language))
    try:
        own = None if prices is None or prices.resolve() != (out / PRICES).resolve() else prices.read_bytes()
        out = free_target(out, force=force, carried=carried_prices(own))
        found = plan_replanting(source, prices=prices, earlier=earlier, seed=seed)
        style = Style(reader, paper)
        write_replanting(found.proposals, found.prices, found.remarks, out, style=style, force=force, own_prices=own)
    except (GeopruneError, OSError) as error:
        fail(error, language=language)
    if as_json:
        print_json_summary(out)
        return
    _print(found, reader, out)


def _print(found: Replanting, reader: Reader, out: Path) -> None:
    from geoprune.deliver.replanting.wording import AREA_HEADS, area_cells, invented_line
    from geoprune.errors import Message

    console, words = open_console(), reader.words("replant")
    heads = [words[f"head_{name}"] for name in AREA_HEADS]
    for proposal in found.proposals:
        console.print(one_line(proposal.stand.block), style="bold")
        if proposal.choices:
            print_table(console, heads, area_cells(proposal, reader), numbers=(0, *range(4, len(heads))))
        for message in proposal.messages or (() if proposal.choices else (Message("replant.nothing"),)):
            console.print(f"  {one_line(reader.say(message))}")
    for remark in found.remarks:
        console.print(one_line(reader.say(remark)), style="dim")
    if invented := invented_line(found.proposals, reader):
        console.print(one_line(invented), style="bold")
    console.print(one_line(reader.say(Message("replant.written", {"path": str(out / "replant.html")}))))
