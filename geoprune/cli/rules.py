"""`geoprune rules`: every rule a block may name, with its source."""

from __future__ import annotations

from pathlib import Path

import click

from geoprune.cli.console import fail, open_console, print_json, print_table
from geoprune.cli.options import as_json, language, rule_file
from geoprune.cli.spoken import SpokenCommand


@click.command(cls=SpokenCommand)
@rule_file
@click.option("--trials", is_flag=True)
@language
@as_json
def rules(*, rule_file: Path | None, trials: bool, language: str, as_json: bool) -> None:
    """List the pruning rules a block may name, with their sources."""
    from dataclasses import asdict

    from geoprune.errors import GeopruneError
    from geoprune.rules import load_rules, rule_table
    from geoprune.words import Reader

    try:
        book = load_rules(rule_file)
    except GeopruneError as error:
        fail(error, language=language)
    table = [asdict(trial) for trial in book.trials] if trials else rule_table(book)
    if as_json:
        print_json(table)
        return
    reader = Reader(language)
    words, phrase = reader.words("terminal"), reader.phrase
    if trials:
        names = ("variety", "place", "tried", "result", "source")
        lines = [(*(phrase(t[name]) for name in names[:-1]), f"{phrase(t['source'])} ({phrase(t['tag'])})") for t in table]
    else:
        names = ("rule", "buds", "title", "known", "source")
        lines = [(r["rule"], r["buds"], phrase(r["title"]), phrase(r["known"]), phrase(r["source"])) for r in table]
    print_table(open_console(), [words[f"rules_{name}"] for name in names], lines)
    if not trials:
        click.echo(words["rules_how"])
