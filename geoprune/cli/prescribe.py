"""`geoprune prescribe`: the whole job, from files to files."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geoprune.cli.console import fail, open_console, print_json_summary, show_progress
from geoprune.cli.options import VINEYARD, as_json, gather_settings, settings_options
from geoprune.cli.spoken import SpokenCommand
from geoprune.text import clean
from geoprune.words import preferred_language

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from geoprune.jobs import Prescription
    from geoprune.words import Reader


@click.command(cls=SpokenCommand)
@click.argument("vineyard", type=VINEYARD)
@settings_options()
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--force", is_flag=True)
@click.option("--resume", is_flag=True)
@click.option("--cores", type=click.IntRange(1, 1024))
@click.option("--scheduler")
@as_json
@click.option("--quiet", is_flag=True)
def prescribe(
    vineyard: Path,
    *,
    out: Path,
    force: bool,
    resume: bool,
    cores: int | None,
    scheduler: str | None,
    as_json: bool,
    quiet: bool,
    **given: Any,
) -> None:
    """Plan every block of VINEYARD and write maps, crew sheets, tables and layers."""
    from geoprune.processes import begin_early
    from geoprune.threads import workers

    cores = cores or workers()
    if cores > 1 and scheduler is None:
        begin_early()  # before this process loads what it needs itself

    from geoprune.deliver.writing.folder import tidy
    from geoprune.errors import GeopruneError, Message
    from geoprune.jobs import prescribe as do
    from geoprune.jobs.prescribe import style_of

    in_language = str(given.get("language") or preferred_language())
    try:
        settings = gather_settings(vineyard, given)
        reader = style_of(settings).reader
        in_language = reader.language
        if tidy(out):
            open_console(stderr=True).print(clean(reader.say(Message("terminal.restored", {"path": str(out)}))))
        doing = reader.say(Message("terminal.planning"))
        with show_progress(quiet=quiet or as_json, doing=doing) as progress, elsewhere(scheduler) as executor:
            how: dict[str, Any] = {"force": force, "resume": resume, "cores": cores, "executor": executor}
            done = do(vineyard, out, settings=settings, progress=progress, **how)
    except (GeopruneError, OSError) as error:
        fail(error, language=in_language)
    _print(done, reader, as_json=as_json, quiet=quiet)
    if done.failures:
        raise SystemExit(1)


@contextmanager
def elsewhere(scheduler: str | None) -> Iterator[Executor | None]:
    """Yield the cluster whose scheduler is named; None where none is."""
    if scheduler is None:
        yield None
        return
    from geoprune.jobs.cluster import cluster

    with cluster(scheduler) as executor:
        yield executor


def _print(done: Prescription, reader: Reader, *, as_json: bool, quiet: bool) -> None:
    """Print the result; blocks that failed are named in any case."""
    from geoprune.cli.summary import print_failures, print_remarks, print_summary

    if as_json:
        print_json_summary(done.out)
    else:
        if not quiet:
            print_remarks(open_console(stderr=True), done, reader)
        print_summary(open_console(), done, reader)
    print_failures(open_console(stderr=True), done.failures, reader)
