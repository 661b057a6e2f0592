"""The simulation of signs (benchmarks/sign_schemes.py) on rows small enough to walk with a finger."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from small_blocks import lay_block

from geoprune.signs import sign_posts

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

from sign_schemes import Row, hang_both_sides, measure

#: One row of ten vines in five panels: run of 1, 2, 1 zones 1, 2, 3; listed from vine 1.
ONE = [Row((1, 2, 2, 3, 3), (2, 2, 2, 2, 2), upward=True)]
OURS = "changes on both sides, and ends"


@pytest.fixture(scope="module")
def signs_read():
    rng = np.random.default_rng(7)
    rows = [Row(tuple(np.repeat(rng.integers(1, 4, 3), rng.integers(1, 6, 3)).tolist()), (), bool(k % 2)) for k in range(12)]
    rows = [Row(row.zones, (4,) * len(row.zones), row.upward) for row in rows]
    return measure(rows, repeats=6).set_index("scheme")


def test_marks_as_hung_now_mislead_whoever_comes_from_the_other_end():
    """Walked back, the tape of zone 3 is met first (right by chance in its run), then holds where 2 is due, then 2 for 1."""
    found = measure(ONE, repeats=1).set_index("scheme").loc["first post of each run, as walked"]
    assert (found["listed"], found["other"], found["sets"]) == (0.0, 0.6, 3)


def test_whoever_looks_reads_ours_right_and_finds_any_one_fault(signs_read):
    ours = signs_read.loc[OURS]
    assert (ours[["listed", "other", "middle", "headland", "stand", "stand_doubt"]] == 0).all()
    assert (ours[["lost_stand", "misread_stand"]] == 0).all()
    assert ours["lost_stand_doubt"] > 0
    assert ours["misread_stand_doubt"] > 0
    sided = signs_read.loc["one end of each run, on its side"]
    assert sided["stand"] == 0
    assert sided["lost_stand"] > 0  # half the marks, and nothing that tells of a lost one
    assert sided["sets"] * 2 == ours["sets"]


def test_the_simulated_marks_are_those_of_the_program():
    labels = np.array([1, 2, 2, 3, 3, 3, 3, 1])
    signs = sign_posts(lay_block([5, 3])[0], labels, np.array([20, 30, 40]))
    for row, zones in (("R1", labels[:5]), ("R2", labels[5:])):
        here = signs[signs["row"] == row]
        sides = zip(here["post"], here["low_zone"].fillna(0), here["high_zone"].fillna(0), strict=True)
        assert {post: (low, high) for post, low, high in sides} == hang_both_sides(Row(tuple(zones), (), upward=True))
