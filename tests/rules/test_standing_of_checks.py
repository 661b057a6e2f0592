"""Every row of a published check says what it is worth.

"printed": the value expected stands in print. "applied": figures in print, put together by our own sum: it catches a slip
in data or code, and says nothing of the sum. "memory": from memory, unverified. "ours": our own rule, definition or sum.
"""

import importlib
from pathlib import Path

import pytest

STANDINGS = ("printed: ", "applied: ", "memory: ", "ours: ")
EVERY = sorted(path.stem for path in Path(__file__).parent.glob("test_*.py") if path.stem != Path(__file__).stem)
MODULES = sorted(
    path.stem for path in Path(__file__).parent.glob("test_*.py") if "_published" in path.stem or "_defined" in path.stem
)


def rows_with_source(module):
    """Test, source of each row that is told with one."""
    for name, function in vars(module).items():
        for mark in getattr(function, "pytestmark", ()):
            if mark.name == "parametrize" and "source" in (names := list(mark.args[0])):
                yield from ((name, row[names.index("source")]) for row in mark.args[1])


@pytest.mark.parametrize("module", MODULES)
def test_each_row_tells_its_standing(module):
    rows = list(rows_with_source(importlib.import_module(module)))
    assert rows
    assert [row for row in rows if not row[1].startswith(STANDINGS)] == []
    # a value printed somewhere names where
    assert [row for row in rows if row[1].startswith("printed: ") and len(row[1]) < 20] == []


@pytest.mark.parametrize("module", [name for name in MODULES if "_published" in name and "balance" not in name])
def test_a_published_check_holds_values_in_print(module):
    rows = list(rows_with_source(importlib.import_module(module)))
    assert sum(source.startswith("printed: ") for _, source in rows) >= 5


@pytest.mark.parametrize("module", [name for name in EVERY if name not in MODULES])
def test_checks_without_rows_tell_their_standing_once(module):
    assert importlib.import_module(module).STANDING.startswith(STANDINGS)
