"""Following the flagging list, or the row list, in walking order gives the panels' zones back exactly."""

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, MultiPolygon, Polygon, box
from small_blocks import CORNER, ROW_M, VINE_M, draws_of, field_of, lay_block, lay_lines, need

from geoprune.writing.waypoints import GPX, flag_words, waypoints, write_gpx
from geoprune.zones import draw_zones, flagging_list, follow, row_list

ANY = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))


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
    zones = draw(st.integers(1, 4))
    labels = draw(st.lists(st.integers(1, zones), min_size=len(trellis.panels), max_size=len(trellis.panels)))
    return trellis, np.array(labels)


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
    zones = draw(st.integers(1, 4))
    labels = draw(st.lists(st.integers(1, zones), min_size=len(trellis.panels), max_size=len(trellis.panels)))
    return trellis, np.array(labels)


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(awkward_blocks())
def test_bent_rows_gaps_and_blocks_of_parts_are_told_by_rows_flags_and_waypoints_alike(case):
    trellis, labels = case
    expected = labels if len(np.unique(labels)) > 1 else np.ones(len(labels))
    flags = flagging_list(trellis, labels)
    assert (follow(row_list(trellis, labels, np.arange(1, 5) * 10), trellis) == labels).all()
    assert (follow(flags, trellis) == expected).all()
    written = io.BytesIO()
    write_gpx(waypoints(flags.assign(block="A"), flag_words, lambda message: message.key), written)
    told = [point.findtext(f"{{{GPX}}}name") for point in ET.fromstring(written.getvalue())]
    parts = pd.Series(told, dtype=str).str.extract(r"A (.+)/(\d+) Z(\d)").set_axis(["row", "after_vine", "zone"], axis=1)
    read = parts.astype({"after_vine": int, "zone": int}).assign(stop=np.arange(len(parts)))
    assert (follow(read, trellis) == expected).all()
    if len(flags):
        assert (walk(flags, trellis) == labels).all()


@ANY
@given(zoned_blocks())
def test_following_the_flags_gives_the_zones_back(case):
    trellis, labels = case
    flags = flagging_list(trellis, labels)
    assert (follow(flags, trellis) == (labels if len(np.unique(labels)) > 1 else 1)).all()


@ANY
@given(zoned_blocks())
def test_following_the_row_list_gives_the_zones_back(case):
    trellis, labels = case
    runs = row_list(trellis, labels, np.arange(1, 5) * 10)
    assert (follow(runs, trellis) == labels).all()
    assert runs["vines"].sum() == trellis.panels["counted"].sum()
    assert (runs["buds_per_vine"] == 10 * runs["zone"]).all()


def walk(flags, trellis):
    """An own pedestrian's reading of the list, who knows rows and vine numbers only.

    One goes from flag to flag in the order of the stops; along a row, every vine met between a flag and the next (or the
    row's end) has the zone of the flag last passed.
    """
    starts = flags[flags["action"] == "start"]
    upward = {start.row: start.after_vine == 0 for start in starts.itertuples()}
    zone = {}
    stops = list(flags.sort_values("stop").itertuples())
    for here, following in zip(stops, [*stops[1:], None], strict=True):
        vines = trellis.vines[trellis.vines["row"] == here.row]
        stay = following.after_vine if following is not None and following.row == here.row else None
        if upward[here.row]:
            met = vines[(vines["vine"] > here.after_vine) & (vines["vine"] <= (stay if stay is not None else np.inf))]
        else:
            met = vines[(vines["vine"] <= here.after_vine) & (vines["vine"] > (stay if stay is not None else 0))]
        zone |= dict.fromkeys(met["panel_id"], here.zone)
    return np.array([zone[panel] for panel in range(len(trellis.panels))])


@ANY
@given(zoned_blocks())
def test_a_walker_who_reads_only_rows_vines_and_bands_ties_the_same_zones(case):
    trellis, labels = case
    flags = flagging_list(trellis, labels)
    if len(flags):
        assert (walk(flags, trellis) == labels).all()


@pytest.fixture(scope="module")
def zoned():
    trellis, _ = lay_block([20] * 14)
    draws = draws_of(field_of(trellis, 7, length_m=60.0, sd_kg=0.4), vine_sd_kg=0.05)
    return trellis, draw_zones(trellis, draws, need)


def test_every_flag_stands_on_a_post(zoned):
    trellis, zoning = zoned
    flags = zoning.flags
    ends = shapely.get_point(trellis.panels.geometry.values, [[0], [-1]])
    posts = shapely.MultiPoint(np.unique(shapely.get_coordinates(ends).round(6), axis=0).tolist())
    assert shapely.distance(flags.geometry.values, posts).max() < 1e-5
    assert flags.crs == trellis.panels.crs
    line = trellis.rows.set_index("row").geometry
    for flag in flags.itertuples():
        assert line[flag.row].project(flag.geometry) == pytest.approx(flag.after_vine * VINE_M, abs=1e-6)


def test_the_walk_is_a_serpentine(zoned):
    trellis, zoning = zoned
    runs = row_list(trellis, zoning.panel_zone, zoning.buds)
    assert runs["stop"].tolist() == list(range(1, len(runs) + 1))
    up = runs["from_post"] < runs["to_post"]
    by_row = up.groupby(runs["row"], sort=False).agg(["min", "max"])
    assert (by_row["min"] == by_row["max"]).all()
    assert by_row["min"].tolist() == [i % 2 == 0 for i in range(14)]
    starts = zoning.flags[zoning.flags["action"] == "start"]
    assert len(starts) == 14
    hops = runs.groupby("row", sort=False).agg(first=("from_post", "first"), last=("to_post", "last"))
    assert (hops["last"].to_numpy()[:-1] == hops["first"].to_numpy()[1:]).all()  # on to the post across the alley


def test_rows_numbered_from_opposite_ends_are_walked_to_and_fro_too():
    trellis, _ = lay_block([5, 5, 5], turned={1})
    flags = flagging_list(trellis, np.tile([1, 1, 2, 2, 2], 3))
    starts = flags[flags["action"] == "start"]
    north = starts.geometry.y - starts.geometry.y.min()
    assert north.round(6).tolist() == [0.0, 5 * 3 * VINE_M, 0.0]
    across = starts.geometry.x.diff().iloc[1:]
    assert across.to_numpy() == pytest.approx([ROW_M, ROW_M], abs=1e-6)


@pytest.mark.parametrize(
    "names", [["B9", "B10", "B11"], ["B11", "B10", "B9"], ["9", "10", "101"], ["east", "middle", "west"]]
)
def test_the_walk_begins_at_the_row_with_the_lower_name(names):
    trellis, _ = lay_block([3, 3, 3])
    named = dict(zip(["R1", "R2", "R3"], names, strict=True))
    panels, vines = (table.assign(row=table["row"].map(named)) for table in (trellis.panels, trellis.vines))
    trellis = replace(trellis, panels=panels, vines=vines)
    labels = np.array([1, 2, 2, 1, 1, 2, 1, 1, 1])
    runs = row_list(trellis, labels, np.array([20, 30]))
    walk_order = names[::-1] if names[0] == "B11" else names
    assert list(dict.fromkeys(runs["row"])) == walk_order
    assert (follow(runs, trellis) == labels).all()
    assert (follow(flagging_list(trellis, labels), trellis) == labels).all()


def test_one_zone_gets_no_tape():
    trellis, _ = lay_block([4, 4])
    flags = flagging_list(trellis, np.ones(8, dtype=int))
    assert flags.empty
    assert {"stop", "row", "after_vine", "zone", "bands", "geometry"} <= set(flags.columns)
    assert (follow(flags, trellis) == 1).all()


def test_bands_are_the_zone_and_action_tells_the_row_start(zoned):
    _, zoning = zoned
    flags = zoning.flags
    assert (flags["bands"] == flags["zone"]).all()
    assert set(flags["action"]) == {"start", "change"}
    assert (flags.loc[flags["post"] == "line", "action"] == "change").all()


def test_a_list_that_leaves_a_panel_out_or_tells_it_twice_is_refused():
    trellis, _ = lay_block([4, 4])
    runs = row_list(trellis, np.array([1, 1, 2, 2, 1, 1, 1, 1]), np.array([20, 30]))
    with pytest.raises(ValueError, match="told no zone"):
        follow(runs.iloc[:-1], trellis)
    with pytest.raises(ValueError, match="told twice"):
        follow(runs.assign(from_post=0, to_post=4), trellis)
