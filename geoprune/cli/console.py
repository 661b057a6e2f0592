"""What the terminal shows: results on stdout, progress and remarks on stderr, and no control character of a file."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from itertools import count
from typing import TYPE_CHECKING, Any, NoReturn

import click

if TYPE_CHECKING:
    from rich.console import Console

#: Characters by which text can move the cursor, colour, hide or turn what stands beside it: C0 and C1 controls,
#: zero-width and bidirectional marks (Unicode Standard Annex 9), line and paragraph separators.
CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]")


def clean(text: object) -> str:
    """Return text of a file or a name without characters that steer a terminal; line breaks stay."""
    return CONTROL.sub("", str(text))


def open_console(*, stderr: bool = False) -> Console:
    """Return a console that shows text as it is: no markup, no highlighting, colours only where they are wanted."""
    from rich.console import Console

    stream = sys.stderr if stderr else sys.stdout
    console = Console(file=stream, markup=False, highlight=False, emoji=False, soft_wrap=True)
    if not console.is_terminal:
        console.width = 110
    return console


def fail(error: Exception) -> NoReturn:
    """Tell an error of the data or a file, and leave with code 1."""
    open_console(stderr=True).print(clean(error), style="bold")
    raise SystemExit(1)


@contextmanager
def show_progress(total: int, *, quiet: bool, doing: str) -> Iterator[Callable[[str], None]]:
    """Give a function to call when a block is begun; a bar on a terminal, a line each elsewhere, nothing when quiet."""
    console = open_console(stderr=True)
    if quiet:
        yield lambda name: None
    elif not console.is_terminal:
        yield lambda name: click.echo(f"{doing} {clean(name)}", err=True)
    else:
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

        columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn())
        with Progress(*columns, console=console, transient=True) as bar:
            task = bar.add_task(doing, total=total)
            begun = count()

            def step(name: str) -> None:
                bar.update(task, completed=next(begun), description=f"{doing} {clean(name)}")

            yield step


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
        table.add_row(*(clean(cell) for cell in line))
    console.print(table, soft_wrap=False)
