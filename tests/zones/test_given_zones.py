"""Zones given by others: a panels layer edited by hand and given back, or any layer of polygons."""

import geopandas as gpd
import numpy as np
import pytest
from geopandas.testing import assert_geodataframe_equal
from shapely import Point, box
from shapely.affinity import rotate
from small_blocks import CORNER, PER_PANEL, ROW_M, UTM, VINE_M, draws_of, field_of, lay_block, need

from geoprune.errors import DataError
from geoprune.signs import sign_posts
from geoprune.words import say
from geoprune.zones import GivenLabels, Interval, Worth, draw_zones, judge_zones, labels_from_layer
from geoprune.zones.judging import worth_message

PANEL_M = PER_PANEL * VINE_M
NEARER, FARTHER = (f"buds {way} its own number than one number does" for way in ("nearer to", "farther from"))
UNPAID = " That does not pay for their 66 marks, about 0.5 hours to tie including the walking"


@pytest.fixture(scope="module")
def block():
    trellis, _ = lay_block([12] * 8)
    draws = draws_of(field_of(trellis, 7, sd_kg=0.35), vine_sd_kg=0.1)
    return trellis, draws, draw_zones(trellis, draws, need)


def panels_layer(trellis, zone):
    return trellis.panels[["row", "panel", "geometry"]].assign(block="A", zone=zone)


def patches(*areas, crs=UTM, **columns):
    """Polygons given in rows and panels: (first row, last row, first panel, last panel), counted from 0, ends open."""
    shapes = [
        box(CORNER[0] + west * ROW_M, CORNER[1] + low * PANEL_M, CORNER[0] + east * ROW_M, CORNER[1] + high * PANEL_M)
        for west, east, low, high in areas
    ]
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=crs)


def zone_by_place(trellis, found):
    return {(r, p): z for r, p, z in zip(trellis.panels["row"], trellis.panels["panel"], found.panel_zone, strict=True)}


def flags_of(trellis, found):
    return sign_posts(trellis, found.panel_zone, found.buds)


def test_our_own_panels_given_back_are_our_own_zones(block):
    trellis, draws, ours = block
    given = labels_from_layer(trellis, panels_layer(trellis, ours.panel_zone), block="A")
    again = judge_zones(trellis, draws, need, given, ours)
    assert (again.panel_zone == ours.panel_zone).all()
    assert again.buds.tolist() == ours.buds.tolist()
    assert again.benefit.loss_against_proposed_buds.value == pytest.approx(0.0, abs=1e-12)
    assert again.benefit.gains.zones_misfit.value == pytest.approx(ours.benefit.gains.zones_misfit.value)
    flags = flags_of(trellis, ours)
    assert len(flags) >= 2 * len(trellis.rows)
    assert_geodataframe_equal(flags_of(trellis, again), flags)
    assert again.cost == pytest.approx(ours.cost)


def test_a_moved_boundary_recomputes_counts_benefit_and_flags(block):
    trellis, draws, ours = block
    edited = ours.panel_zone.copy()
    edited[trellis.panels["row"].isin(["R1", "R2"])] = 1
    layer = panels_layer(trellis, edited).sample(frac=1, random_state=0).to_crs(4326)
    given = judge_zones(trellis, draws, need, labels_from_layer(trellis, layer, block="A"), ours)
    assert (given.panel_zone == edited).all()
    loss = given.benefit.loss_against_proposed_buds
    assert loss.value == pytest.approx(given.benefit.gains.zones_misfit.value - ours.benefit.gains.zones_misfit.value)
    assert loss.value > 0
    assert loss.low <= loss.value <= loss.high
    said = {reason.key: reason.fields for reason in given.reasons}
    assert list(said)[:3] == ["zones.given_benefit", "zones.trade", "zones.given_worse"]
    one, own, perfect = (getattr(given.benefit.gains, f"{name}_misfit").value for name in ("one_number", "zones", "perfect"))
    assert said["zones.trade"]["percent"] == pytest.approx(100 * (one - own) / one)
    assert said["zones.trade"]["whole_percent"] == pytest.approx(100 * (one - perfect) / one)
    flags = flags_of(trellis, given)
    joined = flags[flags["row"].isin(["R1", "R2"])]
    assert joined["kind"].tolist() == ["end"] * 4  # one number all along: only the ends are marked
    for side in ("low", "high"):
        hung = flags[flags[f"{side}_zone"].notna()]
        assert hung[f"{side}_buds"].tolist() == given.buds[hung[f"{side}_zone"].to_numpy(int) - 1].tolist()
        assert (joined[f"{side}_zone"].dropna() == 1).all()
        assert joined[f"{side}_zone"].notna().sum() == 2
    # a mark at each end of each row and one at each change of number
    assert said["zones.trade"]["marks"] == given.benefit.worth.marks == len(flags)


@pytest.mark.parametrize(
    ("saving", "key", "said"),
    [
        (
            (1.04, 0.5, 1.6),
            "zones.given_benefit",
            "bring a vine 1.0 buds nearer to its own number than one number does (0.5 to 1.6)",
        ),
        (
            (0.96, 0.5, 1.6),
            "zones.given_little",
            f"bring a vine only 1.0 {NEARER} (0.5 to 1.6)." + UNPAID,
        ),
        (
            (-0.04, -0.3, 0.0),
            "zones.given_little",
            f"bring a vine only 0.0 {NEARER} (-0.3 to 0.0)." + UNPAID,
        ),
        (
            (-0.3, -0.7, 0.2),
            "zones.given_loss",
            f"put a vine 0.3 {FARTHER} (-0.2 to 0.7)",
        ),
        (
            (-0.3, -0.7, 0.0),
            "zones.given_loss",
            f"put a vine 0.3 {FARTHER} (0.0 to 0.7)",
        ),
    ],
)
def test_a_loss_is_called_a_loss(saving, key, said):
    message = worth_message(Interval(*saving), 2, Worth(66, 60 * 0.52, saving[0] - 1.0))
    assert message.key == key
    assert say(message, "en", "us") == f"The given 2 zones {said}."


def test_broken_limits_are_reported_and_nothing_is_mended(block):
    trellis, draws, ours = block
    edited = ours.panel_zone.copy()
    edited[5] = 1 + edited[5] % len(ours.buds)
    given = judge_zones(trellis, draws, need, labels_from_layer(trellis, panels_layer(trellis, edited), block="A"), ours)
    assert (given.panel_zone == edited).all()
    assert {"zones.limit_runs", "zones.limit_parts"} <= {reason.key for reason in given.reasons}


def test_zones_of_others_are_numbered_by_vine_size_and_keep_their_names(block):
    trellis, draws, ours = block
    swapped = len(ours.buds) + 1 - ours.panel_zone
    given = judge_zones(trellis, draws, need, labels_from_layer(trellis, panels_layer(trellis, swapped)), ours)
    assert (given.panel_zone == ours.panel_zone).all()
    assert given.names == tuple(str(z) for z in range(len(ours.buds), 0, -1))
    assert (np.diff(given.buds) > 0).all()


@pytest.mark.parametrize("crs", [UTM, 4326, 2261, 32618])
def test_polygons_in_any_crs_give_the_same_labels(block, crs):
    trellis, _, _ = block
    soil = patches((0, 8, 0, 6), (0, 8, 6, 12), soil=["loam", "clay"]).to_crs(crs)
    found = labels_from_layer(trellis, soil, column="soil")
    assert found.names == ("clay", "loam")
    assert (found.panel_zone == np.where(trellis.panels["panel"] <= 6, 2, 1)).all()
    assert found.messages == ()


def test_each_panel_goes_with_the_polygon_that_holds_most_of_it(block):
    trellis, _, _ = block
    found = labels_from_layer(trellis, patches((0, 8, 0, 4.7), (0, 8, 4.7, 12), zone=[1, 2]))
    assert (found.panel_zone == np.where(trellis.panels["panel"] <= 5, 1, 2)).all()
    assert [(m.key, m.fields["panels"]) for m in found.messages] == [("zones.panels_split", 8)]


def test_gaps_are_closed_from_the_nearest_polygon_and_told(block):
    trellis, _, _ = block
    found = labels_from_layer(trellis, patches((0, 8, 0, 4), (0, 8, 9, 12), zone=["a", "b"]))
    label = zone_by_place(trellis, found)
    assert [label["R3", panel] for panel in range(1, 13)] == [1] * 6 + [label["R3", 7]] + [2] * 5
    assert [(m.key, m.fields["panels"]) for m in found.messages] == [("zones.panels_outside", 5 * 8)]


def test_overlaps_are_reported(block):
    trellis, _, _ = block
    found = labels_from_layer(trellis, patches((0, 8, 0, 7), (0, 8, 5, 12), zone=["a", "b"]))
    assert ("zones.polygons_overlap", 2 * 8) in [(m.key, m.fields["panels"]) for m in found.messages]
    assert set(found.panel_zone) == {1, 2}


def test_polygons_without_a_name_are_each_their_own_and_crossed_ones_are_mended(block):
    trellis, _, _ = block
    layer = patches((0, 8, 0, 6), (0, 8, 6, 12))
    assert labels_from_layer(trellis, layer).names == ("1", "2")
    bow = [(0, 0), (8 * ROW_M, 6 * PANEL_M), (8 * ROW_M, 0), (0, 6 * PANEL_M)]
    layer.loc[0, "geometry"] = gpd.GeoSeries.from_wkt(
        ["POLYGON((" + ", ".join(f"{CORNER[0] + e} {CORNER[1] + n}" for e, n in [*bow, bow[0]]) + "))"]
    ).iloc[0]
    assert labels_from_layer(trellis, layer).names == ("1", "2")


def test_only_the_own_block_is_read(block):
    trellis, _, ours = block
    layer = panels_layer(trellis, ours.panel_zone)
    both = gpd.GeoDataFrame(
        gpd.pd.concat([layer.assign(block="B", zone=9), layer], ignore_index=True), geometry="geometry", crs=UTM
    )
    assert (labels_from_layer(trellis, both, block="A").panel_zone == ours.panel_zone).all()


def problems(trellis, layer, **options):
    with pytest.raises(DataError) as caught:
        labels_from_layer(trellis, layer, file="given.gpkg", **options)
    return [str(problem) for problem in caught.value.problems]


def test_all_faults_of_a_panels_layer_are_reported(block):
    trellis, _, ours = block
    layer = panels_layer(trellis, ours.panel_zone).astype({"zone": object})
    layer.loc[3, "zone"] = None
    layer.loc[4, "panel"] = 99
    layer.loc[6, ["row", "panel"]] = layer.loc[5, ["row", "panel"]].to_list()
    said = problems(trellis, layer)
    assert len(said) == 5
    for word in ("no zone", "no such panel", "there twice", "left out"):
        assert any(word in line for line in said), word
    assert all("given.gpkg" in line for line in said)


def test_layers_that_cannot_be_zones_are_refused_in_words(block):
    trellis, _, _ = block
    far = patches((500, 508, 0, 12), zone=[1])
    assert "96 of 96 panels lie outside" in problems(trellis, far)[0]
    points = gpd.GeoDataFrame({"zone": [1]}, geometry=[Point(CORNER)], crs=UTM)
    assert "neither panels nor polygons" in problems(trellis, points)[0]
    assert "no CRS" in problems(trellis, patches((0, 8, 0, 12), zone=[1], crs=None))[0]
    assert "no column 'soil'" in problems(trellis, patches((0, 8, 0, 12), zone=[1]), column="soil")[0]
    many = patches(*[(0, 8, i, i + 1) for i in range(12)], zone=range(12))
    assert "12 different labels" in problems(trellis, many)[0]
    assert "nothing for block 'A'" in problems(trellis, far.assign(block="B"), block="A")[0]
    assert "is empty" in problems(trellis, patches((0, 8, 0, 12), zone=[None]))[0]


def test_last_years_zones_are_compared_on_the_same_vines(block):
    trellis, draws, ours = block
    across = patches((0, 4, 0, 12), (4, 8, 0, 12), name=["west", "east"])
    across.geometry = [rotate(shape, 0.5, origin=tuple(CORNER)) for shape in across.geometry]
    given = judge_zones(trellis, draws, need, labels_from_layer(trellis, across), ours)
    benefit = given.benefit
    assert benefit.gains.one_number_misfit.value == pytest.approx(ours.benefit.gains.one_number_misfit.value)
    assert benefit.proposed_saving_buds.value == pytest.approx(ours.benefit.gains.saving_buds.value)
    gap = benefit.proposed_saving_buds.value - benefit.gains.saving_buds.value
    assert benefit.loss_against_proposed_buds.value == pytest.approx(gap)
    assert given.verdict == "zone"
    assert benefit.chosen_zones == 2
    assert np.isnan(given.lower_bound)


def test_one_label_is_one_number(block):
    trellis, draws, ours = block
    given = judge_zones(trellis, draws, need, GivenLabels(np.ones(96, dtype=np.int64), ("all",)), ours)
    assert given.verdict == "one_number"
    assert given.buds.tolist() == [ours.one_number]
    assert flags_of(trellis, given).empty
    assert given.benefit.worth.marks == 0
    assert given.benefit.worth.net_minutes == pytest.approx(0.0)
