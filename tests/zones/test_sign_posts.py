"""Signs say the right number to whoever looks at them from any vine, whichever way; lists and signs give the zones back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, MultiPolygon, Polygon, box
from small_blocks import CORNER, ROW_M, VINE_M, lay_block, lay_lines

from geoprune.signs import follow, look_both_ways, post_name, row_list, short_sign, sign_message, sign_posts
from geoprune.words import languages, say

ANY = settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
BUDS = np.array([20.0, 30.0, 40.0, 50.0])


@st.composite
def labels_for(draw, trellis):
    zones = draw(st.integers(1, 4))
    return np.array(draw(st.lists(st.integers(1, zones), min_size=len(trellis.panels), max_size=len(trellis.panels))))


@st.composite
def zoned_blocks(draw):
    lengths = draw(st.lists(st.integers(1, 7), min_size=1, max_size=7))
    turned = draw(st.sets(st.integers(0, len(lengths) - 1)))
    offsets = draw(st.lists(st.integers(0, 3), min_size=len(lengths), max_size=len(lengths)))
    trellis, _ = lay_block(
        lengths,
        turned=turned,
        shuffled=draw(st.integers(0, 5)),
        bearing_deg=draw(st.sampled_from([0.0, 33.0, 90.0, 200.0])),
        offsets_m=np.array(offsets) * 6.0,
    )
    return trellis, draw(labels_for(trellis))


@st.composite
def awkward_blocks(draw):
    """Rows that bend, stand on slopes of other length, or are broken by alleys; laid out or drawn, in one part or two."""
    count, bend = draw(st.integers(1, 6)), draw(st.sampled_from([0.0, 4.0, -15.0]))
    alley = draw(st.sampled_from([0.0, 3.0, 9.0]))
    lengths = [[draw(st.integers(4, 20)) * VINE_M for _ in range(2)] for _ in range(count)]
    if draw(st.booleans()):  # no rows layer: laid out in the parts of the block
        north = 40.0 + alley
        parts = [box(0, 0, count * ROW_M, 40), Polygon([(0, north), (9 * ROW_M, north), (3 * ROW_M, north + 55)])]
        parts = [shapely.transform(part, lambda place: place + CORNER) for part in parts]
        trellis, _ = lay_lines(
            None, MultiPolygon(parts) if alley else parts[1], bearing_deg=draw(st.sampled_from([0.0, 25.0]))
        )
    else:
        lines = []
        for i, (south, north) in enumerate(lengths):
            pieces = [(0.0, south), (south + alley, south + alley + north)]
            at = [np.linspace(*piece, 12) for piece in (pieces if alley else [(0.0, south + north)])]
            bent = [np.column_stack([CORNER[0] + i * ROW_M + bend * np.sin(t / 40), CORNER[1] + t]) for t in at]
            bent = [p[::-1] for p in bent][::-1] if draw(st.booleans()) else bent
            lines.append(MultiLineString(bent) if alley else LineString(bent[0]))
        trellis, _ = lay_lines(lines, shapely.buffer(shapely.union_all(lines), 3.0))
    return trellis, draw(labels_for(trellis))


def stand_and_look(signs, trellis):
    """An own pedestrian's reading, by measure alone: at each vine, the nearest marked posts of the row to either side, by
    metres along the row, and of each the tape on the side of the vine."""
    lines = trellis.rows.set_index("row").geometry
    read = np.full((len(trellis.vines), 2), np.nan)
    marked = {row: [(lines[row].project(s.geometry), s) for s in group.itertuples()] for row, group in signs.groupby("row")}
    for i, (row, at) in enumerate(zip(trellis.vines["row"], trellis.vines["along_m"], strict=True)):
        below = [pair for pair in marked[row] if pair[0] < at]
        above = [pair for pair in marked[row] if pair[0] > at]
        read[i] = max(below, key=lambda pair: pair[0])[1].high_zone, min(above, key=lambda pair: pair[0])[1].low_zone
    return read


@ANY
@given(st.one_of(zoned_blocks(), awkward_blocks()))
def test_from_every_vine_the_nearest_marked_post_to_either_side_says_the_zone(case):
    trellis, labels = case
    signs = sign_posts(trellis, labels, BUDS)
    if len(np.unique(labels)) == 1:
        assert signs.empty
        assert (follow(signs, trellis) == 1).all()
        return
    truth = labels[trellis.vines["panel_id"]]
    assert (stand_and_look(signs, trellis) == truth[:, None]).all()
    assert (look_both_ways(signs, trellis) == labels[:, None]).all()
    assert (follow(signs, trellis) == labels).all()


@ANY
@given(st.one_of(zoned_blocks(), awkward_blocks()))
def test_following_the_row_list_gives_the_zones_back(case):
    trellis, labels = case
    runs = row_list(trellis, labels, BUDS)
    assert (follow(runs, trellis) == labels).all()
    assert runs["vines"].sum() == trellis.panels["counted"].sum()
    assert (runs["buds_per_vine"] == BUDS[runs["zone"] - 1]).all()


@ANY
@given(zoned_blocks())
def test_two_marks_stand_for_each_run_and_none_can_be_spared(case):
    """The fewest: take any one away and some vine reads nothing, or another number, to that side."""
    trellis, labels = case
    signs = sign_posts(trellis, labels, BUDS)
    runs = row_list(trellis, labels, BUDS)
    marks = [(place, side) for side in ("low_zone", "high_zone") for place in signs.index[signs[side].notna()]]
    assert len(marks) == (2 * len(runs) if len(signs) else 0)
    for place, side in marks[:: max(1, len(marks) // 4)]:
        less = signs.copy()
        less.loc[place, side] = None
        assert (look_both_ways(less, trellis) != labels[:, None]).any()


def test_a_row_with_two_numbers_has_three_marked_posts():
    trellis, _ = lay_block([5, 4])
    signs = sign_posts(trellis, np.array([1, 1, 2, 2, 2, 1, 1, 1, 1]), np.array([25.0, np.nan]))
    first = signs[signs["row"] == "R1"]
    assert first["post"].tolist() == [0, 2, 5]
    assert first["after_vine"].tolist() == [0, 6, 15]
    assert first["kind"].tolist() == ["end", "line", "end"]
    assert first["low_zone"].astype(object).where(first["low_zone"].notna(), None).tolist() == [None, 1, 2]
    assert first["high_zone"].astype(object).where(first["high_zone"].notna(), None).tolist() == [1, 2, None]
    assert first["high_buds"].iloc[0] == 25
    assert first["high_buds"].isna().tolist() == [False, True, True]  # zone 2 has no number, the end post no such side
    assert signs["stop"].tolist() == [1, 2, 3, 4, 5]
    assert signs.loc[signs["row"] == "R2", "post"].tolist() == [4, 0]  # the next row is walked back
    along = signs.set_crs(trellis.rows.crs).geometry.distance(trellis.rows.set_index("row").geometry["R1"].centroid)
    assert along.iloc[1] == pytest.approx(abs(15 * VINE_M / 2 - 6 * VINE_M), abs=1e-6)


def test_both_posts_at_an_alley_are_marked_on_the_side_of_their_vines():
    line = MultiLineString([[(0, 0), (0, 12)], [(0, 20), (0, 32)]])
    line = shapely.transform(line, lambda place: place + CORNER)
    other = shapely.affinity.translate(line, ROW_M)
    trellis, _ = lay_lines([line, other], shapely.buffer(line, 5.0))
    signs = sign_posts(trellis, np.array([1, 1, 1, 1, 2, 2, 1, 1]), BUDS)
    alley = signs[(signs["row"] == "R1") & (signs["post"] == 2)]
    assert (alley.geometry.y - CORNER[1]).round(6).tolist() == [12.0, 20.0]
    assert alley["low_zone"].notna().tolist() == [True, False]
    assert alley["high_zone"].notna().tolist() == [False, True]
    assert alley["kind"].tolist() == ["end", "end"]


def test_signs_that_do_not_agree_are_found():
    trellis, labels = lay_block([4, 4])[0], np.array([1, 1, 2, 2, 1, 1, 1, 1])
    signs = sign_posts(trellis, labels, BUDS)
    with pytest.raises(ValueError, match="row R1, panel 1: the two sides say 1 and 2"):
        follow(signs[signs["kind"].eq("end")], trellis)
    runs = row_list(trellis, labels, BUDS)
    with pytest.raises(ValueError, match="given no zone"):
        follow(runs.iloc[:-1], trellis)
    with pytest.raises(ValueError, match="listed twice"):
        follow(runs.assign(from_post=0, to_post=4), trellis)


def test_rows_numbered_from_opposite_ends_are_walked_to_and_fro_too():
    trellis, _ = lay_block([5, 5, 5], turned={1})
    signs = sign_posts(trellis, np.tile([1, 1, 2, 2, 2], 3), BUDS)
    north = signs.groupby("row", sort=False)["geometry"].first().set_crs(trellis.rows.crs)
    assert (north.y - north.y.min()).round(6).tolist() == [0.0, 5 * 3 * VINE_M, 0.0]


@pytest.mark.parametrize(
    "names", [["B9", "B10", "B11"], ["B11", "B10", "B9"], ["9", "10", "101"], ["east", "middle", "west"]]
)
def test_the_walk_begins_at_the_row_with_the_lower_name(names):
    trellis, _ = lay_block([3, 3, 3])
    named = dict(zip(["R1", "R2", "R3"], names, strict=True))
    panels, vines = (table.assign(row=table["row"].map(named)) for table in (trellis.panels, trellis.vines))
    trellis = replace(trellis, panels=panels, vines=vines)
    labels = np.array([1, 2, 2, 1, 1, 2, 1, 1, 1])
    runs = row_list(trellis, labels, BUDS)
    walk_order = names[::-1] if names[0] == "B11" else names
    assert list(dict.fromkeys(runs["row"])) == walk_order
    assert list(dict.fromkeys(sign_posts(trellis, labels, BUDS)["row"])) == walk_order
    assert (follow(runs, trellis) == labels).all()


@pytest.mark.parametrize("language", languages())
def test_each_post_is_reported_with_what_hangs_on_which_side(language):
    trellis, _ = lay_block([5])
    signs = sign_posts(trellis, np.array([1, 1, 3, 3, 2]), BUDS)
    said = [say(sign_message(line), language, "us") for line in signs.itertuples()]
    names = [short_sign(line) for line in signs.itertuples()]
    assert names == ["R1/0 -|1", "R1/6 1|3", "R1/12 3|2", "R1/15 2|-"]
    for text, line in zip(said, signs.itertuples(), strict=True):
        assert say(post_name(line.row, line.after_vine, end=line.kind == "end"), language, "us") in text
    if language == "en":
        assert said[0] == "row R1, end post before vine 1: 1 band of tape on the side of vine 1."
        assert said[3] == "row R1, end post after vine 15: 2 bands of tape on the side of vine 15."
        assert said[1] == (
            "row R1, post after vine 6: 1 band of tape on the side of vine 6, 3 bands of tape on the side of vine 7."
        )


def test_where_the_number_does_not_change_no_post_is_marked():
    trellis, _ = lay_block([6, 6])
    labels = np.array([1, 1, 2, 2, 3, 3, 1, 1, 1, 2, 2, 2])
    signs = sign_posts(trellis, labels, np.array([20.0, 20.0, 30.0]))
    first, second = (signs[signs["row"] == row] for row in ("R1", "R2"))
    assert first["post"].tolist() == [0, 4, 6]  # not at post 2, between two zones of 20
    assert first["low_bands"].dropna().tolist() == [1, 2]
    assert first["high_bands"].dropna().tolist() == [1, 2]
    assert sorted(second["post"]) == [0, 6]  # the ends of a row tell its number
    runs = row_list(trellis, labels, np.array([20.0, 20.0, 30.0]))
    assert dict(zip(runs["zone"], runs["bands"], strict=True)) == {1: 1, 2: 1, 3: 2}


def test_zones_of_one_number_are_not_taped_at_all():
    trellis, _ = lay_block([4, 4])
    labels = np.array([1, 1, 2, 2, 1, 1, 2, 2])
    assert sign_posts(trellis, labels, np.array([24.0, 24.0])).empty
    assert (row_list(trellis, labels, np.array([24.0, 24.0]))["bands"] == 0).all()
    # two zones without a number may differ in what is done there: they keep signs of their own
    assert not sign_posts(trellis, labels, np.array([np.nan, np.nan])).empty
