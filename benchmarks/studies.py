"""How a study on simulated vineyards is run in parts, and how its table is printed: `run RESULTS.csv FIRST LAST`, `tell`."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from pathlib import Path

import pandas as pd

Lines = Iterable[pd.DataFrame]


def run_or_tell(run: Callable[[int, int], Lines], tell: Callable[[pd.DataFrame], None], whole: int | None = None) -> None:
    """Run or tell, as the command line asks.

    Parameters
    ----------
    run : callable
        From first and last to tables, each appended to the CSV as soon as it is made.
    tell : callable
        Prints the tables of the whole CSV.
    whole : int, optional
        Last of a run that names neither.
    """
    what, path = sys.argv[1], Path(sys.argv[2])
    if what == "tell":
        tell(pd.read_csv(path))
        return
    first, last = (int(word) for word in (sys.argv[3:] or (() if whole is None else (0, whole))))
    for lines in run(first, last):
        lines.to_csv(path, mode="a", header=not path.exists(), index=False)
