"""`geoprune join`: what several phones exported becomes one list."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from geoprune.cli.console import fail, open_console, print_json_summary, print_table
from geoprune.cli.options import FILE, as_json, language, units
from geoprune.cli.spoken import SpokenCommand
from geoprune.text import one_line

if TYPE_CHECKING:
    from geoprune.jobs.join import Joined
    from geoprune.words import Reader

#: Places that are named on the terminal; all stand in twice.csv.
MOST_NAMED = 8


@click.command(cls=SpokenCommand)
@click.argument("lists", nargs=-1, required=True, type=FILE, metavar="LISTS...")
@click.option("--out", type=click.Path(path_type=Path), required=True)
@units
@language
@click.option("--force", is_flag=True)
@as_json
def join(*, lists: tuple[Path, ...], out: Path, units: str, language: str, force: bool, as_json: bool) -> None:
    """Join what several phones exported: no entry is lost, and vines entered twice are shown."""
    from geoprune.clock import today
    from geoprune.deliver.field import WEIGHT_UNITS
    from geoprune.deliver.joining import WrittenAs, write_joined
    from geoprune.deliver.writing.folder import free_target
    from geoprune.errors import GeopruneError
    from geoprune.jobs.join import join_lists
    from geoprune.words import Reader

    try:
        out = free_target(out, force=force)
        found = join_lists(lists)
        asked = WrittenAs(WEIGHT_UNITS[units], today(), force=force)
        write_joined(found.logs, out, asked, entries=found.entries, sources=found.sources)
    except (GeopruneError, OSError) as error:
        fail(error, language=language)
    if as_json:
        print_json_summary(out)
        return
    _print(found, Reader(language, units), out)


def _print(found: Joined, reader: Reader, out: Path) -> None:
    import pandas as pd

    from geoprune.deliver.field import live_entries
    from geoprune.deliver.joining import twice_table
    from geoprune.errors import Message

    def say(key: str, **fields: object) -> str:
        return one_line(reader.say(Message(f"join.{key}", fields)))

    console, words = open_console(), reader.words("join")
    for name, count in found.entries:
        console.print(say("read", name=name, entries=count))
    jobs = ("weigh", "buds", "prune", "check")
    lines = []
    for log in found.logs:
        held = [entry.job for entry in live_entries(log.entries)]
        block = say("log", block=log.block, season=log.season)
        lines.append([block, *(str(held.count(job)) for job in jobs), str(len(log.entries))])
    heads = [words[f"head_{name}"] for name in ("block", *jobs, "entries")]
    print_table(console, heads, lines, numbers=(1, 2, 3, 4, 5))
    twice = pd.concat([twice_table(log) for log in found.logs], ignore_index=True)
    places = twice.drop_duplicates(["block", "season", "job", "row", "vine"])
    if len(places):
        named = [f"{line.block}, {say('place', row=line.row, vine=line.vine)}" for line in places[:MOST_NAMED].itertuples()]
        more = len(places) - len(named)
        console.print(say("twice_more" if more else "twice", places="; ".join(named), more=more), style="bold")
        console.print(say("twice_mend", file="twice.csv"))
    files = ", ".join(sorted(file.name for file in out.glob("*.csv")))
    console.print(say("written", files=files, path=str(out)))
