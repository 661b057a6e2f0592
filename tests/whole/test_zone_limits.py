"""The options of zones reach the zones that are written."""

import re
from collections import Counter

import geopandas as gpd
import numpy as np
import pytest
from small_jobs import run, samples, square, summary


def wavy(count=60):
    """Samples that rise and fall from west to east."""
    table = samples(count)
    return table.assign(pruning_weight_lb=(2.4 + 1.5 * np.sin(table["row"] / 2.2) + 0.1 * (table["vine"] % 3)).round(2))


def panels_of(tmp_path):
    return gpd.read_file(tmp_path / "out" / "prescription.gpkg", layer="panels").sort_values(["row_order", "panel"])


def test_limits_hold_in_the_written_panels_and_are_reported(tmp_path):
    limits = ("--most-changes", "0", "--smallest-zone", "20%", "--shortest-run", "2", "--change-cost", "0.1")
    done = run(tmp_path, square(), wavy(), *limits)
    assert done.exit_code == 0, done.output
    panels = panels_of(tmp_path)
    assert panels.groupby("row")["zone"].nunique().max() == 1
    assert panels["zone"].value_counts(normalize=True).min() >= 0.2
    said = summary(tmp_path)["options"]["zones"]
    assert (said["most_changes"], said["shortest_run"], said["smallest_zone_percent"]) == (0, 2, 20.0)
    assert said["change_cost"] == pytest.approx(0.1)


def test_flags_are_written_everywhere_and_agree(tmp_path):
    done = run(tmp_path, square(), wavy())
    assert done.exit_code == 0, done.output
    folder = tmp_path / "out"
    flags = gpd.read_file(folder / "prescription.gpkg", layer="flags")
    assert summary(tmp_path)["blocks"]["A"]["verdict"] == "zone"
    assert len(flags) >= panels_of(tmp_path)["row"].nunique()
    waypoints = gpd.read_file(folder / "flags.gpx", layer="waypoints")
    sides = ["low_bands", "high_bands"]
    hung = ["|".join("-" if np.isnan(bands) else f"{bands:.0f}" for bands in post) for post in flags[sides].to_numpy(float)]
    places = zip(flags["row"], flags["after_vine"], hung, strict=True)
    assert waypoints["name"].tolist() == [f"A {row}/{vine} {bands}" for row, vine, bands in places]
    said = [Counter(re.findall(r"(\d+) bands?\b", sentence)) for sentence in waypoints["cmt"]]
    assert said == [Counter(re.findall(r"\d+", bands)) for bands in hung]
    sheet = gpd.pd.read_excel(folder / "prescription.xlsx", sheet_name="flags", engine="calamine")
    for column in ("after_vine", *sides):
        assert sheet[column].fillna(0).tolist() == flags[column].fillna(0).tolist(), column
    assert flags[sides].notna().any(axis=1).all()
    assert summary(tmp_path)["blocks"]["A"]["flagged_posts"] == len(flags)


@pytest.mark.parametrize("size", ["5", "60%", "ha", "-1ha", "5 %%"])
def test_a_size_that_is_none_is_wrong_usage(tmp_path, size):
    done = run(tmp_path, square(), wavy(), f"--smallest-zone={size}")
    assert done.exit_code == 2
    assert "--smallest-zone" in done.output


def test_a_size_in_acres_is_an_area(tmp_path):
    done = run(tmp_path, square(), wavy(), "--smallest-zone", "0.3ac")
    assert done.exit_code == 0, done.output
    assert summary(tmp_path)["options"]["zones"]["smallest_zone_ha"] == pytest.approx(0.3 * 0.40468564224)
    zones = summary(tmp_path)["blocks"]["A"]["zones"]
    assert len(zones) == 1 or min(zone["area_ha"] for zone in zones) >= 0.115
