"""One workbook (XLSX) read in a process of its own: what its reader cannot bear ends that process, not the run.

Run as a program it takes the workbook's bytes on stdin and writes JSON on stdout. It
imports nothing of geoprune, so that it starts in a tenth of a second.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
from contextlib import suppress
from typing import Any

#: Limits of the process: memory (bytes), seconds of processor and of the clock, letters in all cells (design choices: a
#: million weights are about 60 million letters).
MOST_MEMORY, MOST_SECONDS, MOST_LETTERS = 2_000_000_000, 40, 200_000_000


class Unreadable(Exception):
    """A workbook that cannot be read; the text says why."""


def read_workbook(data: bytes) -> dict[str, list[list[Any]]]:
    """Return the cells of every sheet from A1 on, by its name: texts, numbers, truth values, dates as text.

    Raises
    ------
    Unreadable
    """
    command = [sys.executable, __file__]
    try:
        done = subprocess.run(command, input=data, capture_output=True, timeout=MOST_SECONDS + 10, check=False)
        damaged = {"error": "it is damaged, or too large once opened"}
        answer: dict[str, Any] = json.loads(done.stdout) if done.returncode == 0 else damaged
    except (subprocess.TimeoutExpired, ValueError):
        answer = {"error": "it takes too long to open"}
    if "error" in answer:
        raise Unreadable(answer["error"])
    return dict(answer["sheets"])


def _main() -> dict[str, Any]:
    from python_calamine import CalamineError, CalamineWorkbook

    sheets, letters = [], 0
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(sys.stdin.buffer.read()))
        for name in book.sheet_names:
            cells = [[_plain(cell) for cell in line] for line in book.get_sheet_by_name(name).iter_rows()]
            letters += sum(len(cell) for line in cells for cell in line if isinstance(cell, str))
            if letters > MOST_LETTERS:
                return {"error": "its cells hold too much text"}
            sheets.append((name, cells))
    except (CalamineError, OSError, ValueError, KeyError) as error:
        return {"error": " ".join(str(error).split())[:120]}
    return {"sheets": sheets}


def _plain(cell: Any) -> Any:
    if isinstance(cell, str | bool | int | float):
        return cell
    return cell.isoformat() if hasattr(cell, "isoformat") else str(cell)


def _limit() -> None:
    with suppress(ImportError, OSError, ValueError):  # a system without such limits
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    _limit()
    try:
        answer = _main()
    except MemoryError:
        answer = {"error": "it is too large once opened"}
    json.dump(answer, sys.stdout)
