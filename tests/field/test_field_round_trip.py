"""From a plan to the phone and back: what is entered in the row is what the next plan reads. The vineyard is invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from field_blocks import enter, tap, wait_saved
from shapely import Point, box

from geoprune import make_plan, read_vineyard
from geoprune.deliver.field import (
    bud_check_layer,
    bud_check_table,
    count_table,
    field_block_from_tables,
    read_field_log,
    render_field_page,
    tick_table,
    weights_table,
)
from geoprune.reading import Results, read_counts, read_ticks

pytestmark = pytest.mark.browser
PHONE = {"width": 360, "height": 640, "has_touch": True, "is_mobile": True, "accept_downloads": True}
LB = 0.45359237  # kg, exactly (international yard and pound agreement, 1959)


def vineyard_file(folder: Path, **layers: Any) -> Path:
    """A block of 40 m by 40 m with straight rows."""
    west, south = 620000.0, 4690000.0
    blocks = gpd.GeoDataFrame(
        {
            "block": ["A"],
            "variety": ["Concord"],
            "rule": ["30+10"],
            "training": ["top-wire cordon"],
            "row_spacing_ft": [9.0],
            "vine_spacing_ft": [8.0],
            "row_bearing_deg": [0.0],
        },
        geometry=[box(west, south, west + 40, south + 40)],
        crs=32617,
    )
    path = folder / "v.gpkg"
    for name, layer in {"blocks": blocks, **layers}.items():
        layer.to_file(path, layer=name, driver="GPKG")
    return path


def first_plan(folder: Path) -> Any:
    """The plan of the winter before, from a few invented weights."""
    rng = np.random.default_rng(4)
    table = pd.DataFrame({"row": rng.integers(1, 13, 14), "vine": rng.integers(1, 15, 14)})
    table = table.assign(pruning_weight_lb=(2.4 + rng.normal(0, 0.4, 14)).round(2), season=2026)
    table.to_csv(folder / "s.csv", index=False)
    (plan,) = make_plan(read_vineyard(vineyard_file(folder), samples=folder / "s.csv"))
    return plan


def saved(page: Any, key: str, path: Path) -> Path:
    with page.expect_download() as download:
        tap(page, key)
    download.value.save_as(path)
    return path


def typed(page: Any, **fields: str) -> str:
    for field, text in fields.items():
        tap(page, f"field-{field}")
        enter(page, text)
    tap(page, "save")
    return wait_saved(page)


def same(table: pd.DataFrame, path: Path) -> None:
    """A table of the list and the page's own file say the same."""
    read = pd.read_csv(path, dtype={"row": str}, keep_default_na=False)
    said = table.astype(object).where(table.notna(), "")
    assert read.astype(str).replace(r"\.0$", "", regex=True).to_numpy().tolist() == (
        said.astype(str).replace(r"\.0$", "", regex=True).to_numpy().tolist()
    )
    assert list(read.columns) == list(table.columns)


def test_what_is_entered_in_the_row_is_what_the_next_plan_reads(open_page: Callable, tmp_path: Path) -> None:
    plan = first_plan(tmp_path)
    stops = plan.vines[plan.vines["vine"] % 4 == 2].iloc[::2].head(16)
    block = field_block_from_tables(
        "A",
        season=2027,
        rows=plan.rows,
        runs=plan.runs,
        vines=plan.vines,
        weigh=stops[["row", "vine"]],
        check=stops[["row", "vine"]].head(3),
        apart={"2": {"renew": [3]}},
    )
    page = open_page(render_field_page(block), **PHONE).page
    page.locator("#by").fill("JM")
    tap(page, "job-weigh")
    places = list(zip(stops["row"], stops["vine"].astype(int), strict=True))
    weights = {place: round(1.5 + 0.1 * i, 1) for i, place in enumerate(places)}
    for weight in weights.values():
        typed(page, weight=f"{weight:.1f}", canes="30", bull_canes="3")
    assert page.locator(".progress").inner_text() == "16 of 16"
    tap(page, "home", "job-buds")
    for row, vine in (("1", "2"), ("3", "5")):
        page.locator("select").select_option(f"Row {row}")
        typed(page, vine=vine, buds_cut="20", primary_dead="4", secondary_dead="1")
    tap(page, "home", "job-prune", "hours-1", "done")
    wait_saved(page)
    tap(page, "home", "job-check")
    typed(page, buds_left="44")
    tap(page, "home", "export")
    log = read_field_log(saved(page, "json", tmp_path / "list.json"))
    tables = {"weigh": weights_table(log, unit="lb"), "buds": bud_check_table(log), "prune": tick_table(log)}
    for job, table in {**tables, "check": count_table(log)}.items():
        same(table, saved(page, f"csv-{job}", tmp_path / f"{job}.csv"))
    assert len(tables["weigh"]) == 16

    second = tmp_path / "second"
    second.mkdir()
    checks = bud_check_layer(log)
    vineyard = read_vineyard(vineyard_file(second, bud_checks=checks), samples=tmp_path / "weigh.csv")
    read = vineyard.samples
    pounds = (read["vine_weight_kg"] / LB).round(6)
    assert dict(zip(zip(read["row"], read["vine"].astype(int), strict=True), pounds, strict=True)) == weights
    assert set(read["season"]) == {2027}
    assert (read["canes"].sum(), read["bull_canes"].sum()) == (480, 48)
    assert vineyard.bud_checks[["buds_cut", "primary_dead"]].to_numpy().tolist() == [[20, 4], [20, 4]]
    stood = plan.vines.set_index(["row", "vine"]).geometry
    for check, place in zip(vineyard.bud_checks.geometry, [("1", 2), ("3", 5)], strict=True):
        assert Point(check).distance(stood[place]) < 0.1
    table = read_vineyard(vineyard_file(second), samples=tmp_path / "weigh.csv", bud_checks=tmp_path / "buds.csv").bud_checks
    assert table[["buds_cut", "primary_dead"]].to_numpy().tolist() == [[20, 4], [20, 4]]
    assert (table.geometry.distance(vineyard.bud_checks.geometry, align=False) < 0.1).all()
    results = Results(plan.vines, plan.runs, pd.DataFrame({"block": ["A"], "training": [plan.settings.training]}))
    counts = read_counts([tmp_path / "check.csv"], results)
    assert counts[["block", "row", "vine", "buds_left"]].to_numpy().tolist() == [["A", *places[0], 44]]
    ticks = read_ticks([tmp_path / "prune.csv"], results)
    assert ticks[["block", "row", "hours", "worker", "done"]].to_numpy().tolist() == [["A", "1", 1.0, "JM", True]]
    (again,) = make_plan(vineyard)
    assert again.samples["used"].all()
    assert again.injury.share == pytest.approx(0.2, abs=0.05)


def test_a_vine_weighed_twice_is_read_twice(open_page: Callable, tmp_path: Path) -> None:
    plan = first_plan(tmp_path)
    block = field_block_from_tables("A", season=2027, rows=plan.rows, runs=plan.runs, vines=plan.vines)
    page = open_page(render_field_page(block, units="metric"), **PHONE).page
    tap(page, "job-weigh")
    for vine in ("2", "5", "6", "7", "3"):
        typed(page, vine=vine, weight="1.1")
    for digit in ("field-vine", "pad-3", "field-weight", "pad-1", "save"):
        tap(page, digit)
    assert page.locator(".ask p").inner_text() == "This vine is already entered: 1.1 kg."
    tap(page, "keep")
    wait_saved(page)
    tap(page, "home", "export")
    path = saved(page, "csv-weigh", tmp_path / "w.csv")
    read = read_vineyard(tmp_path / "v.gpkg", samples=path).samples
    assert read.loc[read["vine"] == 3, "vine_weight_kg"].tolist() == [1.1, 1.0]
    assert len(read) == 6


def test_vines_weighed_together_come_back_as_so_many(open_page: Callable, tmp_path: Path) -> None:
    plan = first_plan(tmp_path)
    stops = pd.DataFrame({"row": list("12345"), "vine": 5, "order": range(1, 6)})
    stops = stops.assign(first_vine=stops["vine"] - 1, last_vine=stops["vine"] + 1)
    block = field_block_from_tables("A", season=2027, rows=plan.rows, runs=plan.runs, vines=plan.vines, weigh=stops)
    page = open_page(render_field_page(block), **PHONE).page
    tap(page, "job-weigh")
    assert page.locator(".place").inner_text().replace("\n", " ").startswith("Row 1 Vines 4–6")
    for _ in range(5):
        typed(page, weight="7.5")
    tap(page, "home", "export")
    path = saved(page, "csv-weigh", tmp_path / "w.csv")
    same(weights_table(read_field_log(saved(page, "json", tmp_path / "list.json")), unit="lb"), path)
    read = read_vineyard(tmp_path / "v.gpkg", samples=path).samples
    assert read[["row", "vine", "vines_weighed"]].to_numpy().tolist() == [[row, 5, 3] for row in "12345"]
    assert read["vine_weight_kg"].to_numpy() == pytest.approx(2.5 * LB)
