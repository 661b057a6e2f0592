"""`geoprune buds-to-cut`: how many buds to cut open for a wanted precision."""

from __future__ import annotations

import click

from geoprune.cli.console import open_console, print_json, print_table
from geoprune.cli.options import as_json, number, share


@click.command("buds-to-cut")
@click.option(
    "--within", type=share(0.01, 0.5), help="Wanted half-width of the 95 % range, as a share: 0.1 or 10% (35 % dead ± 10 %)."
)
@click.option("--expect", type=share(0.01, 0.99), default=0.5, show_default=True, help="Share expected dead: 0.35 or 35%.")
@click.option(
    "--alike",
    type=number(1, 10),
    default=1.0,
    show_default=True,
    help="Variance factor, as buds of a cane are alike.",
)
@as_json
def buds_to_cut(*, within: float | None, expect: float, alike: float, as_json: bool) -> None:
    """Tell how many buds to cut open before pruning.

    \b
    Examples:
      geoprune buds-to-cut
      geoprune buds-to-cut --within 0.1 --expect 0.35
    """
    from geoprune.rules import buds_to_cut, buds_to_cut_table

    if within is None:
        table = buds_to_cut_table(cluster_factor=alike)
    else:
        table = [{"share": expect, "precision": within, "buds": buds_to_cut(within, expect, cluster_factor=alike)}]
    if as_json:
        print_json(table)
        return
    lines = [(f"{row['share']:.0%}", f"± {row['precision']:.1%}", f"{row['buds']:.0f}") for row in table]
    print_table(open_console(), ("Expected dead", "95 % range", "Buds to cut"), lines, numbers=(0, 1, 2))
    click.echo("Cut buds 2 to 10 of canes like those you will keep, from all parts of the block; 100 per block are usually")
    click.echo("asked for (Fiola 2018, University of Maryland Extension). Mind the blade.")
