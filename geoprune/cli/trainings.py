"""`geoprune trainings`: the training systems, what wood they carry and where that is published."""

from __future__ import annotations

import click

from geoprune.cli.console import open_console, print_json, print_table
from geoprune.cli.options import as_json, language
from geoprune.cli.spoken import SpokenCommand


@click.command(cls=SpokenCommand)
@language
@as_json
def trainings(*, language: str, as_json: bool) -> None:
    """List the training systems a block may name, their other names, their wood and sources."""
    from dataclasses import asdict

    from geoprune.errors import Message
    from geoprune.rules import load_trainings
    from geoprune.words import Reader

    known = load_trainings().values()
    if as_json:
        print_json([asdict(training) for training in known])
        return
    reader = Reader(language)
    words, lines = reader.words("terminal"), []
    for training in known:
        low, high = training.buds_per_spur if training.kind == "spur" else training.buds_per_cane
        wood = reader.say(Message(f"terminal.trainings_{training.kind}", {"low": low, "high": high}))
        also, source = ", ".join(training.also_called), reader.phrase(training.source)
        lines.append((training.id, also, wood, training.renewal_spurs, training.canopies, source))
    heads = ("training", "also", "wood", "spurs", "canopies", "source")
    print_table(open_console(), [words[f"trainings_{head}"] for head in heads], lines, numbers=(3, 4))
    click.echo(words["trainings_how"])
