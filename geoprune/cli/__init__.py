"""The command line, one file per command. Heavy imports stay inside the commands, so that --help answers at once.

Exit codes: 0 done, 1 the data or a file is at fault, 2 wrong usage.
"""

import io
import os
import sys
from typing import Any

import click

from geoprune.cli.audit import audit
from geoprune.cli.buds import buds_to_cut
from geoprune.cli.check import check
from geoprune.cli.console import drop_output, fail
from geoprune.cli.database import database
from geoprune.cli.join import join
from geoprune.cli.new import new
from geoprune.cli.options import asked_language
from geoprune.cli.prescribe import prescribe
from geoprune.cli.replant import replant
from geoprune.cli.rules import rules
from geoprune.cli.sample import sample
from geoprune.cli.seasons import seasons
from geoprune.cli.settings import settings
from geoprune.cli.spoken import Program, speak, typed_language
from geoprune.cli.trainings import trainings
from geoprune.cli.weigh_in import weigh_in
from geoprune.errors import GeopruneError
from geoprune.words import preferred_language, room_words

#: What is said where the folder that a command runs in was removed.
GONE = "the folder you are in is gone: change into another one, and run again"


class Commands(Program):
    """The commands; a reader that closes the pipe early is no fault."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            drop_output()
            ctx.exit(0)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(package_name="geoprune", message="%(prog)s %(version)s")
@asked_language
@click.pass_context
def main(ctx: click.Context, language: str | None) -> None:
    """From a few dozen weighed vines to zones and bud counts a crew can follow."""
    speak(ctx, language)
    try:
        os.getcwd()
    except OSError:
        fail(GeopruneError(GONE), language=language or preferred_language())


for command in (
    new,
    check,
    sample,
    weigh_in,
    join,
    prescribe,
    audit,
    seasons,
    replant,
    settings,
    rules,
    trainings,
    buds_to_cut,
    database,
):
    main.add_command(command)


def run() -> int:
    """Run the command that the program's arguments name, and return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without a sign shows "?" in its place
    try:
        return int(main.main(standalone_mode=False) or 0)
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except OSError as error:
        words = room_words(typed_language(sys.argv[1:]), "help")
        click.echo(words["cannot_tell"].format(error=error.strerror or error), err=True)
        drop_output()
        return 1
