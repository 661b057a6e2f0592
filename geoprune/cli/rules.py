"""`geoprune rules`: every rule a block may name, with its source."""

from __future__ import annotations

from pathlib import Path

import click

from geoprune.cli.console import fail, open_console, print_json, print_table
from geoprune.cli.options import as_json, rule_file


@click.command()
@rule_file
@click.option("--trials", is_flag=True, help="Published trials of rules instead.")
@as_json
def rules(*, rule_file: Path | None, trials: bool, as_json: bool) -> None:
    """List the pruning rules a block may name, with their sources.

    \b
    Examples:
      geoprune rules
      geoprune rules --trials
      geoprune rules --json
    """
    from dataclasses import asdict

    from geoprune.errors import GeopruneError
    from geoprune.rules import load_rules, rule_table

    try:
        book = load_rules(rule_file)
    except GeopruneError as error:
        fail(error)
    table = [asdict(trial) for trial in book.trials] if trials else rule_table(book)
    if as_json:
        print_json(table)
        return
    if trials:
        lines = [(t["variety"], t["place"], t["tried"], t["result"], f"{t['source']} ({t['tag']})") for t in table]
        print_table(open_console(), ("Variety", "Place", "Tried", "Result", "Source"), lines)
        return
    lines = [(r["rule"], r["buds"], r["title"], r["known"], r["source"]) for r in table]
    print_table(open_console(), ("Rule", "Buds", "For", "How known", "Source"), lines)
    click.echo("A rule a+b leaves a buds for the first pound of prunings and b for each further pound.")
    click.echo("A block may also write its own, such as 20+20 or 44/kg. Every number is a guide: look at each vine.")
