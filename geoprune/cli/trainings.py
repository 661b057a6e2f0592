"""`geoprune trainings`: the training systems, what wood they carry and where that is published."""

from __future__ import annotations

import click

from geoprune.cli.console import open_console, print_json, print_table
from geoprune.cli.options import as_json


@click.command()
@as_json
def trainings(*, as_json: bool) -> None:
    """List the training systems a block may name, their other names, their wood and sources.

    \b
    Example:
      geoprune trainings
    """
    from dataclasses import asdict

    from geoprune.rules import load_trainings

    known = load_trainings().values()
    if as_json:
        print_json([asdict(training) for training in known])
        return
    lines = []
    for training in known:
        each = training.buds_per_spur if training.kind == "spur" else training.buds_per_cane
        wood = f"{training.kind}s of {each[0]} to {each[1]} buds"
        lines.append(
            (training.id, ", ".join(training.also_called), wood, training.renewal_spurs, training.canopies, training.source)
        )
    heads = ("Training", "Also called", "Wood", "Renewal spurs", "Canopies", "Source")
    print_table(open_console(), heads, lines, numbers=(3, 4))
    click.echo("Names under 'also called' are taken for the training (common practice, no source).")
