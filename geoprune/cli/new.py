"""`geoprune new`: empty files to begin with."""

from __future__ import annotations

from pathlib import Path

import click

from geoprune.cli.console import fail, open_console
from geoprune.cli.options import language, units
from geoprune.cli.spoken import SpokenCommand


@click.command("new", cls=SpokenCommand)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--crs", default="EPSG:4326", show_default=True)
@units
@language
def new(*, folder: Path, crs: str, units: str, language: str) -> None:
    """Write FOLDER with an empty vineyard to draw in a GIS, a workbook for weights, settings, and how to fill them."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    from geoprune.errors import GeopruneError, Message
    from geoprune.jobs.new import start_folder
    from geoprune.text import clean
    from geoprune.words import say

    try:
        CRS.from_user_input(crs)
    except CRSError:
        raise click.BadParameter(f"{clean(crs)!r} is not a coordinate reference system", param_hint="--crs") from None
    try:
        first = start_folder(folder, crs=crs, language=language, units=units)
    except (GeopruneError, OSError) as error:
        fail(error, language=language)
    fields = {"count": len(list(folder.iterdir())), "folder": str(folder), "first": first.name}
    open_console().print(clean(say(Message("check.template_written", fields), language, units)))
