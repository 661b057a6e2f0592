"""An estate: blocks worked on and written one by one, the same wherever it is done, and planned again only when needed.

The estate is invented: three small blocks. What is checked is that ways of working agree, byte for byte.
"""

from __future__ import annotations

import sqlite3
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import closing, contextmanager
from multiprocessing import get_context
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geoprune import DataError, Settings, prescribe
from geoprune.deliver.writing import joined
from geoprune.jobs import block, shelf
from geoprune.jobs.digests import digest_of

BLOCKS = ("Bench", "Creek", "Dell")
ENTRY = {"variety": "Concord", "rule": "20+20", "training": "top-wire cordon", "row_spacing_m": 2.7, "vine_spacing_m": 2.4}


@pytest.fixture
def estate(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Settings]:
    """A vineyard file and settings that name its weights; the caches and the time are the test's own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1764547200")
    return write_estate(tmp_path)


def write_estate(folder: Path) -> tuple[Path, Settings]:
    from shapely import box

    west, south = 600_000.0, 4_700_000.0
    outlines = [box(west + 60 * k, south, west + 60 * k + 32.4, south + 72.0) for k in range(len(BLOCKS))]
    entries = [{"block": name, "row_bearing_deg": 0.0, **ENTRY} for name in BLOCKS]
    gpd.GeoDataFrame(entries, geometry=outlines, crs=32617).to_file(folder / "v.gpkg", layer="blocks", driver="GPKG")
    rng = np.random.default_rng(4)
    places = [(name, row, vine) for name in BLOCKS for row in range(1, 13, 2) for vine in (3, 11, 20, 27)]
    table = pd.DataFrame(places, columns=["block", "row", "vine"])
    table["pruning_weight_kg"] = np.round(rng.normal(0.6 + 0.05 * table["row"], 0.1), 2)
    table.to_csv(folder / "w.csv", index=False)
    return folder / "v.gpkg", Settings().with_values({"samples": folder / "w.csv"})


def change_weight(settings: Settings, block_name: str) -> None:
    table = pd.read_csv(settings.files.samples)
    table.loc[table.index[table["block"] == block_name][0], "pruning_weight_kg"] += 0.4
    table.to_csv(settings.files.samples, index=False)


def contents(out: Path) -> dict[str, bytes]:
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in sorted(out.rglob("*")) if path.is_file()}


def same(one: Path, other: Path) -> None:
    """Every file the same, byte for byte; the folder's own name stands in no file but the settings."""
    first, second = contents(one), contents(other)
    assert set(first) == set(second)
    assert [name for name in first if first[name] != second[name]] == []


def test_processes_threads_and_any_executor_give_the_same_bytes_and_plans_are_kept_while_no_weight_changes(
    estate, tmp_path, monkeypatch
):
    vineyard, settings = estate
    where = {name: tmp_path / name / "out" for name in ("threads", "processes", "fresh")}
    alone = prescribe(vineyard, where["threads"], settings=settings)
    monkeypatch.setattr(shelf, "MOST_HELD", 1)  # the others wait in files
    done = prescribe(vineyard, where["processes"], settings=settings, cores=2, resume=True)
    assert [brief.name for brief in alone.briefs] == [brief.name for brief in done.briefs] == list(BLOCKS)
    assert (alone.failures, alone.kept, done.kept) == ((), (), ())
    same(where["threads"], where["processes"])
    kept = sorted((tmp_path / "cache").rglob("plans/*/*"))
    assert len(kept) == len(BLOCKS)

    kept[0].write_bytes(kept[0].read_bytes()[:-1])  # cut short, as by a crash: it is made again
    damaged = prescribe(vineyard, where["processes"], settings=settings, cores=2, resume=True, force=True)
    assert len(damaged.kept) == len(BLOCKS) - 1

    change_weight(settings, "Creek")  # the others listen to Creek: their plans are not what they would be now
    changed = prescribe(vineyard, where["processes"], settings=settings, cores=2, resume=True, force=True)
    again = prescribe(vineyard, where["processes"], settings=settings, resume=True, force=True)
    assert changed.kept == ()
    assert again.kept == BLOCKS
    prescribe(vineyard, where["fresh"], settings=settings)
    same(where["processes"], where["fresh"])
    assert len(list((tmp_path / "cache").rglob("plans/*/*"))) == len(BLOCKS)
    assert [path for path in tmp_path.rglob(".*") if path.name != ".cache"] == []


def fail_in_creek(task, **how):
    if task.name == "Creek":
        raise ZeroDivisionError("no\nnumber")
    return WORK(task, **how)


WORK = block.work_block


def test_a_failing_block_leaves_the_others_whole_and_parts_are_joined_as_one(estate, tmp_path, monkeypatch):
    vineyard, settings = estate
    monkeypatch.setattr(sys.modules[prescribe.__module__], "work_block", fail_in_creek)
    outs = [tmp_path / "one" / "out", tmp_path / "parts" / "out"]
    for out, lines in zip(outs, (joined.LINES_AT_ONCE, 1), strict=True):
        monkeypatch.setattr(joined, "LINES_AT_ONCE", lines)
        done = prescribe(vineyard, out, settings=settings)
        assert [failure.block for failure in done.failures] == ["Creek"]
        assert [remark.kind for remark in done.remarks][-1] == "warning"
        assert sorted(path.name for path in out.iterdir() if path.is_dir()) == ["bench", "dell"]
    one, parts = (contents(out) for out in outs)
    differ = {name for name in one if one[name] != parts[name]}
    assert differ <= {"prescription.gpkg", "summary.json"}  # a database keeps the order of writing; its digest is told
    for layer in ("zones", "vines", "samples", "runs", "flags", "blocks"):
        pd.testing.assert_frame_equal(*(rows(out / "prescription.gpkg", layer) for out in outs))


def rows(path: Path, layer: str) -> pd.DataFrame:
    with closing(sqlite3.connect(path)) as base:
        table = pd.read_sql(f"SELECT * FROM {layer}", base)
        styles = base.execute("SELECT styleQML FROM layer_styles WHERE f_table_name = ?", [layer]).fetchall()
    return table.assign(style=styles[0][0] if styles else "")


def test_a_digest_tells_values_apart_and_refuses_what_it_does_not_know():
    table = pd.DataFrame({"a": [1.0, np.nan], "b": ["x", None]})
    assert digest_of(table) == digest_of(table.copy())
    assert (
        len({digest_of(value) for value in (table, table.rename(columns={"a": "c"}), table.iloc[:1], table.assign(a=0.0))})
        == 4
    )
    assert (
        len(
            {
                digest_of(value)
                for value in (1, 1.0, "1", True, [1], (1,), {1: None}, None, np.float64(1), ["a", "b"], ["ab"])
            }
        )
        == 11
    )
    with pytest.raises(TypeError, match="no digest of function"):
        digest_of({"a": lambda: 1})


def test_a_pool_of_others_does_the_same_work(estate, tmp_path):
    vineyard, settings = estate
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        done = prescribe(vineyard, tmp_path / "pool" / "out", settings=settings, executor=pool, resume=True)
    assert (len(done.briefs), done.failures, done.kept) == (3, (), ())
    assert not (tmp_path / "cache").exists()


def one_block(estate) -> tuple[Path, Settings]:
    """The first block of the estate alone."""
    vineyard, settings = estate
    table = pd.read_csv(settings.files.samples)
    table[table["block"] == BLOCKS[0]].to_csv(settings.files.samples, index=False)
    gpd.read_file(vineyard).iloc[:1].to_file(vineyard.with_name("one.gpkg"), layer="blocks", driver="GPKG")
    return vineyard.with_name("one.gpkg"), settings


def test_one_block_whose_pages_are_made_beside_its_plan_is_the_same(estate, tmp_path):
    vineyard, settings = one_block(estate)
    for cores in (1, 2):
        prescribe(vineyard, tmp_path / str(cores) / "out", settings=settings, cores=cores)
    same(tmp_path / "1" / "out", tmp_path / "2" / "out")


def no_pages(brief, results):
    raise ZeroDivisionError("no page")


def test_pages_that_cannot_be_made_beside_the_plan_fail_the_block_and_nothing_is_written(estate, tmp_path, monkeypatch):
    vineyard, settings = one_block(estate)

    @contextmanager
    def threads(cores, blocks, executor=None):
        with ThreadPoolExecutor(1) as pool:
            yield job.Workforce(None, pool)

    job = sys.modules[prescribe.__module__]
    monkeypatch.setattr(job, "workforce", threads)
    monkeypatch.setattr(block, "make_pages", no_pages)
    with pytest.raises(DataError, match="ZeroDivisionError: no page"):
        prescribe(vineyard, tmp_path / "out", settings=settings)
    assert not (tmp_path / "out").exists()
    assert list(tmp_path.glob(".out*")) == []
