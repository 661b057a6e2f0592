"""Blocks that wait for their turn: whole when they are taken, few in memory, and nothing of them is left."""

from __future__ import annotations

import tempfile
from pathlib import Path
from types import SimpleNamespace

import pytest

from geoprune.jobs import shelf as room
from geoprune.jobs.shelf import Lazily, empty_shelf


def block(number: int) -> SimpleNamespace:
    """As much of a block as a shelf looks at."""
    vines = list(range(number))
    return SimpleNamespace(settings=SimpleNamespace(block=f"B{number}"), trellis=SimpleNamespace(vines=vines))


def test_blocks_come_back_in_order_and_only_the_first_stay_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(room, "MOST_HELD", 2)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with empty_shelf() as shelf:
        for number in range(5):
            shelf.append(block(number))
        assert (len(shelf), shelf.names, shelf.vines) == (5, ["B0", "B1", "B2", "B3", "B4"], [0, 1, 2, 3, 4])
        assert [one.settings.block for one in shelf] == shelf.names
        assert [one.trellis.vines for one in shelf[3:]] == [[0, 1, 2], [0, 1, 2, 3]]
        assert len(list(tmp_path.rglob("*.blocks/*"))) == 3
        with pytest.raises(IndexError):
            shelf[5]
    assert list(tmp_path.iterdir()) == []


def test_items_are_made_when_they_are_asked_for():
    asked = []
    squares = Lazily(4, lambda position: asked.append(position) or position**2)
    assert (len(squares), asked) == (4, [])
    assert (squares[-1], asked) == (9, [3])
    assert list(squares) == [0, 1, 4, 9]
