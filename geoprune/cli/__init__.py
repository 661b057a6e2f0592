"""The command line, one file per command. Heavy imports stay inside the commands, so that --help answers at once.

Exit codes: 0 done, 1 the data or a file is at fault, 2 wrong usage.
"""

import click

from geoprune.cli.buds import buds_to_cut
from geoprune.cli.prescribe import prescribe
from geoprune.cli.rules import rules
from geoprune.cli.trainings import trainings


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(package_name="geoprune", message="%(prog)s %(version)s")
def main() -> None:
    """From a few dozen weighed vines to zones and bud counts a crew can follow.

    \b
    Start with:
      geoprune prescribe vineyard.gpkg --samples weights.csv --out results
    """


for command in (prescribe, rules, buds_to_cut, trainings):
    main.add_command(command)
