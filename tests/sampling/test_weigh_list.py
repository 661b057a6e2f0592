"""A block's list: who may be chosen, strata, pairs, spares, what it buys. The blocks are invented."""

import geopandas as gpd
import numpy as np
import pytest
from kriging_reference import Kriging
from pyproj import CRS
from shapely import LineString, Point, box

from geoprune import build_trellis
from geoprune.errors import DataError
from geoprune.layers import Vineyard
from geoprune.sampling import (
    SampleOptions,
    VineModel,
    assumed_model,
    earlier_model,
    expected_errors,
    half_width,
    make_weigh_list,
    single_vines,
    whole_panels,
)
from geoprune.sampling.choosing import choose_sites
from geoprune.sampling.sites import beside_ground

UTM = CRS.from_epsg(32617)
WEST, SOUTH = 600_000.0, 4_700_000.0


def block(rows=20, vines=30, *, status=None):
    """Rows north, 2.7 m apart, vines 2.4 m apart, three to a panel."""
    entry = {"block": "A", "variety": "Concord", "rule": "20+20", "training": "top-wire cordon"}
    entry |= {"row_spacing_m": 2.7, "vine_spacing_m": 2.4, "vines_per_panel": 3.0, "row_bearing_deg": np.nan}
    outline = box(WEST, SOUTH, WEST + 2.7 * rows, SOUTH + 2.4 * vines)
    lines = [
        LineString([(WEST + 2.7 * (r + 0.5), SOUTH), (WEST + 2.7 * (r + 0.5), SOUTH + 2.4 * vines)]) for r in range(rows)
    ]
    names = [str(r + 1) for r in range(rows)]
    listed = None
    if status:
        table = [{"block": "A", "row": str(r), "vine": v, "status": word} for (r, v), word in status.items()]
        listed = gpd.GeoDataFrame(table, geometry=[Point(WEST, SOUTH)] * len(table), crs=UTM)
    blocks = gpd.GeoDataFrame([entry], geometry=[outline], crs=UTM)
    drawn = gpd.GeoDataFrame({"block": "A", "row": names}, geometry=lines, crs=UTM)
    return build_trellis(Vineyard(blocks, drawn, listed, blocks.iloc[:0], None, UTM), "A")


MODEL = VineModel(1.0, 0.06, 0.10, 25.0)


def keys(table):
    return set(zip(table["row"], table["vine"], strict=True))


def test_only_bearing_vines_are_chosen_and_each_once():
    words = ("young", "missing", "dead", "diseased")
    status = {(r, v): words[v % 4] for r in range(1, 21) for v in range(1, 31) if (r + v) % 3}
    said = make_weigh_list(block(status=status), MODEL, 44.0, options=SampleOptions(stops=40, together="vine"))
    assert len(said.stops) == 40
    assert len(keys(said.table)) == len(said.table) == 80  # a spare for each, all different
    assert not {(str(r), v) for r, v in status} & keys(said.table)


def test_one_in_ten_stands_beside_another_of_its_row():
    said = make_weigh_list(block(), MODEL, 44.0, options=SampleOptions(stops=40, together="vine"))
    stops = said.stops.set_index("order")
    paired = stops[stops["pair_with"].notna()]
    assert len(paired) == 4
    for line in paired.itertuples():
        partner = stops.loc[int(line.pair_with)]
        assert partner["row"] == line.row
        assert abs(partner["vine"] - line.vine) == 1
    assert paired["inclusion_probability"].isna().all()
    assert stops["inclusion_probability"].dropna().unique().tolist() == pytest.approx([36 / 600])


def test_spread_places_have_the_chance_that_is_reported():
    sites = single_vines(block(rows=6, vines=10))
    rng = np.random.default_rng(1)
    times, draws = np.zeros(60), 250
    for _ in range(draws):
        chosen = choose_sites(sites, 20, rng=rng)
        times[chosen.spread] += 1
    z = (times / draws - chosen.chance) / np.sqrt(chosen.chance * (1 - chosen.chance) / draws)
    assert chosen.chance == pytest.approx(18 / 60)
    assert np.abs(z).max() < 4.0


@pytest.mark.parametrize("seed", range(5))
def test_each_zone_gets_its_share(seed):
    trellis = block()
    zones = np.where(trellis.vines["row_order"].to_numpy() < 5, "weak", "strong").astype(object)  # a quarter, three quarters
    said = make_weigh_list(trellis, MODEL, 44.0, options=SampleOptions(stops=12, together="vine", seed=seed), zones=zones)
    assert sum(int(row) <= 5 for row in said.stops["row"]) == 3


def test_a_covariate_is_covered():
    sites = single_vines(block(rows=12, vines=18))
    layer = np.random.default_rng(2).uniform(size=len(sites))  # nothing to do with the ground

    def off(further):
        rng = np.random.default_rng(4)
        return np.std([layer[choose_sites(sites, 12, further=further, rng=rng).spread].mean() for _ in range(80)])

    assert off(beside_ground(layer, 60.0)) < 0.8 * off(None)


def test_a_list_takes_covariates_of_numbers_and_words():
    trellis = block(rows=8, vines=12)
    layers = {"soil": np.where(trellis.vines["row_order"] < 4, "clay", "sand").astype(object)}
    layers["elevation"] = np.where(trellis.vines["vine"] > 10, np.nan, trellis.vines["vine"]).astype(float)
    options = SampleOptions(stops=8, together="vine")
    said = make_weigh_list(trellis, MODEL, 44.0, options=options, covariates=layers)
    assert sum(int(row) <= 4 for row in said.stops["row"]) == 4


def test_panels_are_weighed_post_to_post_and_read_back_as_such():
    said = make_weigh_list(block(), MODEL, 44.0, options=SampleOptions(stops=20, together="panel"))
    assert (said.table["vines_weighed"] == 3).all()
    assert (said.table["first_vine"] % 3 == 1).all()
    assert (said.table["vine"] == said.table["first_vine"] + 1).all()


def test_panels_pay_where_vines_differ_from_the_next_and_are_quickly_weighed():
    own = VineModel(1.0, 0.004, 0.196, 25.0)  # nearly all of the variance is from vine to vine
    quick = SampleOptions(minutes_per_vine=0.5)
    assert make_weigh_list(block(30, 60), own, 44.0, options=quick).together == "panel"
    assert make_weigh_list(block(30, 60), VineModel(1.0, 0.15, 0.05, 25.0), 44.0).together == "vine"


def test_a_broken_panel_is_not_weighed():
    sites = whole_panels(block(rows=2, vines=9, status={(1, 5): "missing", (2, 1): "young"}))
    assert len(sites) == 4
    assert sites.vines.tolist() == [3, 3, 3, 3]


def test_without_a_pattern_the_expected_error_is_the_formula():
    trellis = block()
    sites = single_vines(trellis)
    rng = np.random.default_rng(0)
    chosen = rng.choice(600, 30, replace=False)
    plain = VineModel(1.0, 0.0, 0.16, 25.0)
    targets = sites.point[::5]
    variance, panel = expected_errors(sites.point[chosen], targets, plain, vines=1, panel_vines=3, population=600)
    assert variance == pytest.approx(0.16 / 30 * (1 - 30 / 600))  # (1 - n/N) s^2 / n
    assert panel == pytest.approx(np.sqrt(0.16 / 30 + 0.16 / 3))
    said = make_weigh_list(trellis, plain, 44.0, options=SampleOptions(together="vine"))
    assert said.effort.number_within_buds == pytest.approx(
        44.0 * half_width(said.effort.stops, 0.4) * np.sqrt(1 - said.effort.stops / 600)
    )


def test_expected_errors_are_those_of_kriging():
    # the engine's kriging, itself held against gstat (tests/geostat)
    sites = single_vines(block())
    chosen = np.random.default_rng(1).choice(600, 25, replace=False)
    targets = sites.point[::7]
    known, ones = sites.point[chosen], np.ones((25, 1))
    fit = Kriging(known, np.zeros(25), ones, np.ones(25), MODEL.sill_kg2, MODEL.nugget_kg2, MODEL.range_m)
    variance, panel = expected_errors(known, targets, MODEL, vines=1, panel_vines=3, population=1e12)
    assert variance == pytest.approx(fit.predict_block(targets)[1], rel=1e-6)
    assert panel == pytest.approx(np.sqrt(fit.predict(targets)[1] + MODEL.nugget_kg2 / 3).mean(), rel=1e-6)


def test_more_weighing_buys_less_error_and_the_knee_lies_between():
    said = make_weigh_list(block(30, 60), MODEL, 44.0)
    hours, number = ([getattr(e, key) for e in said.worth.curve] for key in ("hours", "number_within_buds"))
    assert np.all(np.diff(hours) > 0)
    assert np.all(np.diff(number) < 0)
    assert 5 < said.worth.knee < 100
    assert said.worth.curve[-1].map_off_buds < said.worth.without_map_buds


def test_the_wanted_error_says_how_many_and_never_fewer_than_a_map_needs():
    few = make_weigh_list(block(), MODEL, 44.0, options=SampleOptions(within=0.3, together="vine"))
    assert few.needed < 15 == len(few.stops)
    many = make_weigh_list(block(), MODEL, 44.0, options=SampleOptions(within=0.05, together="vine"))
    assert len(many.stops) == many.needed > 100


def test_a_pattern_that_was_seen_is_counted_on():
    seen = VineModel(1.0, 0.16, 0.04, 40.0, "earlier")
    assumed = VineModel(1.0, 0.16, 0.04, 40.0)
    fewer, plain = (make_weigh_list(block(30, 60), m, 44.0, options=SampleOptions(together="vine")) for m in (seen, assumed))
    assert len(plain.stops) == plain.needed == fewer.needed > len(fewer.stops) >= 15
    assert fewer.effort.number_within_buds == pytest.approx(0.1 * 44.0, rel=0.25)


def test_earlier_results_tell_mean_and_pattern():
    earlier = earlier_model(1.2, 0.2, nugget_share=0.25, range_m=40.0)
    assert earlier == VineModel(1.2, 0.15000000000000002, 0.05, 40.0, "earlier")
    assert earlier_model(float("nan"), 0.2, nugget_share=0.25, range_m=40.0) is None
    assert earlier_model(None, None, nugget_share=None, range_m=None) is None
    flat = earlier_model(1.2, 0.2, nugget_share=None, range_m=None)
    assert flat is not None
    assert (flat.sill_kg2 + flat.nugget_kg2, flat.range_m) == (pytest.approx(0.2), assumed_model(2.0).range_m)
    assert assumed_model(2.0, cv=0.3, mean_kg=0.9).cv() == pytest.approx(0.3)


def test_a_block_without_vines_to_weigh_is_refused():
    status = {(r, v): "dead" for r in (1, 2) for v in range(1, 7)}
    with pytest.raises(DataError, match="fewer than two places"):
        make_weigh_list(block(rows=2, vines=6, status=status), MODEL, 44.0, block="A")


def test_the_same_seed_gives_the_same_list():
    one, other = (make_weigh_list(block(), MODEL, 44.0) for _ in range(2))
    assert one.table.drop(columns="geometry").equals(other.table.drop(columns="geometry"))
