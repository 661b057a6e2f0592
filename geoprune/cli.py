"""The command line. Heavy imports stay inside the commands, so that --help answers at once."""

from __future__ import annotations

import sys
from pathlib import Path

import click

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="geoprune")
def main() -> None:
    """From a few dozen weighed vines to zones and bud counts a crew can follow."""


@main.command()
@click.argument("vineyard", type=FILE)
@click.option("--samples", type=FILE, help="Weighed vines, CSV or XLSX (default: the file's samples layer).")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the results.")
@click.option("--crs", help="CRS of easting and northing in the samples, e.g. EPSG:32617.")
@click.option("--units", type=click.Choice(["us", "metric"]), default="us", show_default=True, help="Units shown.")
@click.option("--lang", type=click.Choice(["en", "es"]), default="en", show_default=True, help="Language a map opens in.")
@click.option("--background", help="Address of a background map, with {z}/{x}/{y} (default: none, no network).")
@click.option("--credit", default="", help="Credit line of the background map.")
@click.option("--max-zones", type=click.IntRange(2, 4), default=3, show_default=True, help="Most zones in a block.")
@click.option("--bud-step", type=click.IntRange(1, 20), default=5, show_default=True, help="Buds are told in this step.")
@click.option("--min-saving", type=float, default=1.0, show_default=True, help="Buds per vine zones must save.")
@click.option("--over-weight", type=float, default=1.25, show_default=True, help="A bud too many against one too few.")
@click.option("--seed", type=int, default=0, show_default=True, help="Seed of the simulations.")
@click.option("--force", is_flag=True, help="Replace the results of an earlier run.")
@click.option("--json", "as_json", is_flag=True, help="Print the summary on stdout and nothing else.")
@click.option("--quiet", is_flag=True, help="No progress.")
def prescribe(
    vineyard: Path,
    samples: Path | None,
    out: Path,
    crs: str | None,
    units: str,
    lang: str,
    background: str | None,
    credit: str,
    max_zones: int,
    bud_step: int,
    min_saving: float,
    over_weight: float,
    seed: int,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Plan every block of VINEYARD and write maps, crew sheets, tables and layers."""
    from geoprune.errors import GeopruneError
    from geoprune.maps.page import check_choices
    from geoprune.pages import all_pages
    from geoprune.plan import EstatePlan, PlanOptions, make_plan
    from geoprune.reading import read_vineyard
    from geoprune.writing import block_folders, write_plan
    from geoprune.zones import ZoneOptions

    try:
        check_choices(lang, units, background)
    except ValueError as error:
        raise click.UsageError(str(error)) from error

    def tell(text: str) -> None:
        if not (quiet or as_json):
            click.echo(text, err=True)

    zones = ZoneOptions(max_zones, bud_step, over_weight, min_saving_buds=min_saving)
    try:
        data = read_vineyard(vineyard, samples=samples, crs=crs)
        options = PlanOptions(zones, seed)
        plans = make_plan(data, options=options, progress=lambda name: tell(f"Planning {click.unstyle(name)} ..."))
        folders = block_folders(plan.name for plan in plans)
        pages = all_pages(plans, folders, units=units, language=lang, background=background, credit=credit)
        estate = EstatePlan(plans, data.crs, options, data.sources, data.remarks)
        write_plan(estate, out, pages=pages, force=force)
    except (GeopruneError, OSError) as error:
        click.echo(str(error), err=True)
        sys.exit(1)
    if as_json:
        click.echo((out / "summary.json").read_text(encoding="utf-8"))
        return
    for plan in plans:
        numbers = ", ".join(f"{z.buds_per_vine} buds ({z[3]})" for z in plan.zones.itertuples())
        click.echo(f"{plan.name}: {'no number' if plan.buds_per_vine is None else numbers}. {plan.reason}")
        for remark in () if quiet else plan.remarks:
            click.echo(f"  {remark}", err=True)
    click.echo(f"Results: {out / 'index.html'}")


@main.command()
def rules() -> None:
    """List the named pruning rules with their sources."""
    from geoprune.rules import load_rules, rule_table

    for rule in rule_table(load_rules()):
        click.echo(f"{rule['rule']}: {rule['buds']} buds ({rule['title']}). {rule['known']}: {rule['source']}")
