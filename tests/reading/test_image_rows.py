"""Rows in an image from above: told where they can be, to a fraction of a degree, and never where they cannot.

The images are simulated, rows of known bearing in known noise; that is what the directions are held against. Pixels: a wave
needs more than two samples to a period (Shannon 1949, Proceedings of the IRE 37:10-21), four are asked for.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from growers import spanish_geojson
from scipy.ndimage import gaussian_filter

from geoprune.jobs.check import check_files
from geoprune.jobs.check_report import check_sections
from geoprune.trellis.bearing import turn_deg
from geoprune.trellis.periodicity import seen_rows
from geoprune.words import say

STEP_M = 0.4


def image(
    bearing, *, spacing=2.5, step=STEP_M, size=(60.0, 60.0), seed=0, noise=1.0, canopy=1.0, weeds=0.0, edge=0.0, shade=0.0
):
    """Rows at a bearing under noise, patches of weeds, a bright headland around them, the shadow each row throws."""
    rng = np.random.default_rng(seed)
    wide, high = (int(side / step) for side in size)
    y, x = np.mgrid[high:0:-1, 0:wide] * step
    turn = np.deg2rad(bearing)
    across = x * np.cos(turn) - y * np.sin(turn)
    along = ((x * np.sin(turn) + y * np.cos(turn)) / 1.2).astype(int)
    off = (across / spacing - np.floor(across / spacing) - 0.5) * spacing
    gaps = rng.random(10_007)[(np.floor(across / spacing).astype(int) * 7919 + along * 104_729) % 10_007] < 0.1
    found = canopy * np.exp(-0.5 * (off / 0.3) ** 2) * ~gaps - shade * np.exp(-0.5 * ((off - 0.6) / 0.3) ** 2)
    patches = gaussian_filter(rng.normal(size=x.shape), 0.8 / step)
    found += rng.normal(0, noise, x.shape) + weeds * patches / patches.std() + (x + y) / 60
    rim = int(edge / step)
    if rim:
        found[:rim] = found[-rim:] = found[:, :rim] = found[:, -rim:] = 3.0
    return found[None]


@pytest.mark.parametrize(
    ("bearing", "more"),
    [
        (0.0, {}),
        (37.0, {"noise": 1.5}),
        (90.0, {"weeds": 1.0}),
        (121.5, {"edge": 5.0}),
        (164.0, {"shade": 0.8}),
        (73.0, {"noise": 1.2, "weeds": 0.8, "edge": 4.0, "shade": 0.6}),
        (15.0, {"spacing": 2.3}),  # 8 % less than told
    ],
)
def test_rows_of_known_bearing_are_seen_to_half_a_degree(bearing, more):
    seen = seen_rows(image(bearing, seed=int(bearing), **more), STEP_M, 2.5)
    assert abs(turn_deg(seen.degrees, bearing)) < 0.5
    assert seen.spacing_m == pytest.approx(more.get("spacing", 2.5), rel=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_noise_and_weeds_are_no_rows(seed):
    assert seen_rows(image(0.0, seed=seed, canopy=0.0, weeds=2.0 * (seed % 2)), STEP_M, 2.5) is None


def test_nothing_is_told_of_pixels_too_coarse_of_few_rows_or_of_vines_alike_both_ways():
    assert seen_rows(image(20.0, step=0.7), 0.7, 2.5) is None
    assert seen_rows(image(20.0, size=(60.0, 12.0)), STEP_M, 2.5) is None
    y, x = np.mgrid[150:0:-1, 0:150] * STEP_M
    square = np.exp(-(((x / 2.5) % 1 - 0.5) ** 2 + ((y / 2.5) % 1 - 0.5) ** 2) / 0.03)
    assert seen_rows(square[None], STEP_M, 2.5) is None


def written(folder, bearing, step=STEP_M):
    """An image over the block of the grower in Mendoza, whose long sides lie at 22 degrees, two colours, on its grid."""
    outline = gpd.read_file(folder / "finca.geojson").to_crs(32719)
    west, _, _, north = outline.total_bounds
    bands = np.concatenate([image(bearing, step=step, size=(130, 130), seed=seed) for seed in (1, 2)])
    path = folder / f"seen_{bearing:g}_{step:g}.tif"
    place = {"crs": "EPSG:32719", "transform": Affine(step, 0, west - 5, 0, -step, north + 5)}
    shape = {"height": bands.shape[1], "width": bands.shape[2], "count": 2, "dtype": "float32"}
    with rasterio.open(path, "w", driver="GTiff", **shape, **place) as file:
        file.write(bands.astype("float32"))
    return path


@pytest.fixture(scope="module")
def finca(tmp_path_factory):
    folder = tmp_path_factory.mktemp("finca")
    return folder, *spanish_geojson(folder)


def asked_for(checked):
    return next(
        (question, option) for question, option in checked.asked if question.about.key.startswith("check.ask_bearing")
    )


def said(checked):
    return " ".join(say(line, "en", "metric") for _, lines in check_sections(checked) for line in lines)


def test_rows_in_the_image_that_agree_with_the_outline_are_proposed(finca):
    folder, vineyard, samples = finca
    checked = check_files(vineyard, samples, beside={"image": written(folder, 21.0)})
    question, option = asked_for(checked)
    # the grid's north is 0.06 degrees off true north here: 1.1 degrees from the middle of the zone, sine of 33 degrees south
    assert option.sets["block"]["Cuartel 7"]["row_bearing_deg"] == pytest.approx(21.0, abs=0.4)
    assert "as rows every 2.50 m are seen in the image" in said(checked)
    assert [o.label.key for o in question.options] == ["check.rows_along_image", "check.rows_along_other_side"]


def test_rows_in_the_image_that_run_otherwise_are_asked_about_and_never_taken_unasked(finca):
    folder, vineyard, samples = finca
    checked = check_files(vineyard, samples, beside={"image": written(folder, 52.0)})
    question, option = asked_for(checked)
    assert question.about.key == "check.ask_bearing_image"
    assert (option, checked.ready) == (None, False)
    keys = [o.label.key for o in question.options]
    assert keys == ["check.rows_along_image", "check.rows_along_side", "check.rows_along_other_side"]


def test_a_bearing_that_the_image_speaks_against_and_pixels_too_coarse_are_told(finca):
    folder, vineyard, samples = finca
    given = {"block": {"Cuartel 7": {"row_bearing_deg": 22.0}}}
    assert "run 30 degrees off the rows as they were drawn" in said(
        check_files(vineyard, samples, beside={"image": folder / "seen_52_0.4.tif"}, settings=given)
    )
    assert "Pixels of 0.80 m are too coarse to show rows every 2.50 m" in said(
        check_files(vineyard, samples, beside={"image": written(folder, 22.0, step=0.8)})
    )


def test_an_image_elsewhere_is_refused(finca, tmp_path):
    folder, vineyard, samples = finca
    with rasterio.open(folder / "seen_52_0.4.tif") as file:
        profile, data = file.profile, file.read()
    profile["transform"] = Affine(0.4, 0, 300_000, 0, -0.4, 6_000_000)
    with rasterio.open(tmp_path / "away.tif", "w", **profile) as file:
        file.write(data)
    checked = check_files(vineyard, samples, beside={"image": tmp_path / "away.tif"})
    assert any(problem.file == "away.tif" and "does not reach the blocks" in problem.what for problem in checked.problems)
