"""What the terminal shows: results on stdout, progress and remarks on stderr, and no control character of a file."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from geoprune.text import clean, one_line

if TYPE_CHECKING:
    from rich.console import Console


def open_console(*, stderr: bool = False) -> Console:
    """Return a console that shows text as it is: no markup, no highlighting, colours only where they are wanted."""
    from rich.console import Console

    stream = sys.stderr if stderr else sys.stdout
    console = Console(file=stream, markup=False, highlight=False, emoji=False, soft_wrap=True)
    console.on_broken_pipe = _raise_again  # type: ignore[method-assign]
    if not console.is_terminal:
        console.width = 110
    return console


def _raise_again() -> NoReturn:
    raise


def fail(error: Exception, *, language: str) -> NoReturn:
    """Tell an error of the data or a file in a language, and leave with code 1."""
    from geoprune.errors import DataError
    from geoprune.words.problems import problem_sentence, translated_text

    if isinstance(error, DataError):
        text = "\n".join(problem_sentence(problem, language) for problem in error.problems)
    else:
        text = f"{error.filename}: {error.strerror}." if isinstance(error, OSError) and error.filename else str(error)
        text = translated_text(text, language)
    with suppress(OSError):
        open_console(stderr=True).print(clean(text), style="bold")
    raise SystemExit(1)


@contextmanager
def show_progress(*, quiet: bool, doing: str) -> Iterator[Callable[[str, int, int], None]]:
    """Give a function to call when a block is begun, with its name, how many were before it, and how many there are.

    It shows a bar on a terminal, a line each elsewhere, and nothing when quiet.
    """
    console = open_console(stderr=True)
    if quiet:
        yield lambda name, begun, total: None
    elif not console.is_terminal:
        yield lambda name, begun, total: _progress_line(f"{doing} {one_line(name)}")
    else:
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

        columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn())
        with Progress(*columns, console=console, transient=True) as bar:
            task = bar.add_task(doing, total=None)

            def step(name: str, begun: int, total: int) -> None:
                bar.update(task, completed=begun, total=total, description=f"{doing} {one_line(name)}")

            yield step


def drop_output() -> None:
    """Send what stdout and stderr still hold nowhere, so that closing them does not fail again."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError):
            stream.flush()
            continue
        os.dup2(nowhere, stream.fileno())


def _progress_line(text: str) -> None:
    """Print a line of progress; the work goes on when nobody reads it."""
    with suppress(BrokenPipeError):
        click.echo(text, err=True)


def print_json(data: Any) -> None:
    """Print JSON on stdout as UTF-8, whatever the terminal's encoding (RFC 8259, 8.1)."""
    import json

    click.echo((json.dumps(data, indent=2, ensure_ascii=False) + "\n").encode("utf-8"), nl=False)


def print_json_summary(out: Path) -> None:
    """Print the summary.json of a folder of results, as it was written."""
    click.echo((out / "summary.json").read_bytes(), nl=False)


def print_table(
    console: Console, heads: Sequence[str], lines: Sequence[Sequence[Any]], *, numbers: Sequence[int] = ()
) -> None:
    """Print a table; the columns at the positions `numbers` stand to the right."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE, pad_edge=False, padding=(0, 1), header_style="bold")
    for place, head in enumerate(heads):
        table.add_column(head, justify="right" if place in numbers else "left", overflow="fold")
    for line in lines:
        table.add_row(*(one_line(cell) for cell in line))
    console.print(table, soft_wrap=False)
