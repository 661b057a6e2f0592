"""The errors geoprune raises. A `DataError` carries every problem found, not only the first one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import PurePath
from traceback import extract_tb
from typing import Any, ParamSpec, TypeVar

from geoprune.text import cut_names, one_line

Given = ParamSpec("Given")
Result = TypeVar("Result")


@dataclass(frozen=True)
class Problem:
    """One fault in the input: file, layer, row, what is wrong and how to mend it."""

    file: str
    layer: str
    row: str
    what: str
    mend: str

    def __str__(self) -> str:
        place = ", ".join(part for part in (self.file, self.layer and f"layer {self.layer}", self.row) if part)
        return cut_names(one_line(f"{place}: {self.what}. {self.mend}." if place else f"{self.what}. {self.mend}."))


class GeopruneError(Exception):
    """Root of all errors raised by geoprune."""


class DataError(GeopruneError, ValueError):
    """The input cannot be used. `problems` lists everything that was found."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class Problems(list[Problem]):
    """The problems of several steps, so that all of them are reported together."""

    def gather(self, step: Callable[Given, Result], *args: Given.args, **kwargs: Given.kwargs) -> Result | None:
        """Run a step; where it raises `DataError`, keep its problems and return None."""
        try:
            return step(*args, **kwargs)
        except DataError as error:
            self.keep(error.problems)
            return None

    def keep(self, problems: Iterable[Problem]) -> None:
        """Take in problems, each once."""
        self += [problem for problem in problems if problem not in self]

    def stop(self) -> None:
        """Raise `DataError` with everything found so far, if anything was."""
        if self:
            raise DataError(self)


class OutputError(GeopruneError, OSError):
    """The results cannot be written."""


class ClusterError(GeopruneError, OSError):
    """A cluster cannot be used."""


class ProcessLostError(GeopruneError):
    """A process that worked on blocks was ended from outside."""


class BlockError(GeopruneError):
    """One block could not be worked out, for a fault that is not the input's; other blocks go on.

    Attributes
    ----------
    block : str
        Its name as in the file.
    report : str
        What failed and where, in one line, for a report.
    """

    def __init__(self, block: str, cause: BaseException) -> None:
        self.block, self.report = block, _cause_text(cause)
        what = f"block '{one_line(block)}' could not be worked out ({self.report}). Nothing of it is written"
        mend = "Report this line, if you can with the block's outline, rows and weights, and leave the block out for now"
        super().__init__(cut_names(f"{what}. {mend}."))


@contextmanager
def as_block_error(block: str) -> Iterator[None]:
    """Raise what any library raises inside one block's work as a `BlockError`; our own errors and the disk's pass.

    Examples
    --------
    >>> with as_block_error("A"):
    ...     1 / 0
    Traceback (most recent call last):
    geoprune.errors.BlockError: block 'A' could not be worked out (ZeroDivisionError: ...)
    """
    try:
        yield
    except (GeopruneError, OSError):
        raise
    except Exception as error:
        raise BlockError(block, error) from error


def _cause_text(cause: BaseException) -> str:
    """Kind and text of an exception, and the last line of geoprune it came through; no path of the machine."""
    places = [frame for frame in extract_tb(cause.__traceback__) if "geoprune" in PurePath(frame.filename).parts]
    sentence = f"{type(cause).__name__}: {one_line(cause)[:200]}".removesuffix(": ")
    if not places:
        return sentence
    parts = PurePath(places[-1].filename).parts
    inside = "/".join(parts[len(parts) - parts[::-1].index("geoprune") :])
    return f"{sentence}, at {inside} line {places[-1].lineno}"


@dataclass(frozen=True)
class Message:
    """A sentence that can be said in several languages.

    `key` names the sentence in the word lists (`geoprune/words/<language>/<section>.toml`), as "section.name";
    `fields` are the values it is filled with. SI numbers go in as numbers; the teller chooses units.
    """

    key: str
    fields: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Remark:
    """Something assumed, dropped, mended or extrapolated, said in the output.

    `block` is "" when the remark concerns the whole vineyard. `kind` is one of "assumed", "dropped",
    "mended", "extrapolated", "warning".
    """

    kind: str
    message: Message
    block: str = ""
