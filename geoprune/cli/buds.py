"""`geoprune buds-to-cut`: how many buds to cut open for a wanted precision."""

from __future__ import annotations

import click

from geoprune.cli.console import open_console, print_json, print_table
from geoprune.cli.options import as_json, language, number, share
from geoprune.cli.spoken import SpokenCommand


@click.command("buds-to-cut", cls=SpokenCommand)
@click.option("--within", type=share(0.01, 0.5))
@click.option("--expect", type=share(0.01, 0.99), default=0.5, show_default=True)
@click.option(
    "--alike",
    type=number(1, 10),
    default=1.0,
    show_default=True,
)
@language
@as_json
def buds_to_cut(*, within: float | None, expect: float, alike: float, language: str, as_json: bool) -> None:
    """Tell how many buds to cut open before pruning."""
    from geoprune.rules import buds_to_cut, buds_to_cut_table
    from geoprune.words import Reader, locale_for

    if within is None:
        table = buds_to_cut_table(cluster_factor=alike)
    else:
        table = [{"share": expect, "precision": within, "buds": buds_to_cut(within, expect, cluster_factor=alike)}]
    if as_json:
        print_json(table)
        return
    reader = Reader(language, locale=locale_for(language))
    words = reader.words("terminal")

    def percent(share: float, digits: int = 0) -> str:
        return f"{reader.number(100 * share, digits)}%"

    lines = [(percent(row["share"]), f"± {percent(row['precision'], 1)}", reader.number(row["buds"])) for row in table]
    print_table(open_console(), [words[name] for name in ("buds_dead", "buds_range", "buds_cut")], lines, numbers=(0, 1, 2))
    click.echo(words["buds_how"])
