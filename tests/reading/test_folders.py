"""A vineyard in a folder of files: each block keeps its file, and tables beside go where their block is. Invented files."""

from __future__ import annotations

from pathlib import Path

import invented_vineyard as iv
import pandas as pd
import pytest

from geoprune import DataError, read_vineyard


def write_folder(folder: Path, **changed) -> Path:
    """Two files of one block each, the second block 200 m east of the first and in other units."""
    home = folder / "vineyards"
    home.mkdir()
    one = iv.blocks(block="North", row_bearing_deg=0.0)
    other = iv.blocks(**{"block": "South", "row_bearing_deg": 0.0, **changed})
    other = other.set_geometry(other.geometry.translate(200.0, 0.0))
    one.to_file(home / "a.gpkg", layer="blocks", driver="GPKG")
    other.to_crs(4326).to_file(home / "b.geojson", driver="GeoJSON")
    (home / "notes.txt").write_text("no vineyard", "utf-8")
    return home


def weights(folder: Path, blocks=("North", "South"), **changed) -> Path:
    table = pd.concat([iv.samples(12).assign(block=name) for name in blocks], ignore_index=True).assign(**changed)
    table.to_csv(folder / "w.csv", index=False)
    return folder / "w.csv"


def problems(home: Path, samples: Path) -> list[tuple[str, str]]:
    with pytest.raises(DataError) as told:
        read_vineyard(home, samples=samples)
    return [(problem.file, problem.what) for problem in told.value.problems]


def test_blocks_of_all_files_are_read_and_samples_go_where_their_block_is(tmp_path):
    home = write_folder(tmp_path)
    vineyard = read_vineyard(home, samples=weights(tmp_path))
    assert vineyard.blocks["block"].tolist() == ["North", "South"]
    assert [vineyard.of(name).file for name in ("North", "South")] == ["a.gpkg", "b.geojson"]
    for name in ("North", "South"):
        own = vineyard.of(name)
        assert set(own.samples["block"]) == {name}
        assert len(own.samples) == 12
        assert own.crs.is_projected
    assert [source.name for source in vineyard.sources] == ["a.gpkg", "b.geojson", "w.csv"]


def test_one_file_in_a_folder_is_as_the_file_alone(tmp_path):
    home = write_folder(tmp_path)
    (home / "b.geojson").unlink()
    samples = weights(tmp_path, ("North",))
    alone, within = read_vineyard(home / "a.gpkg", samples=samples), read_vineyard(home, samples=samples)
    for name in ("blocks", "samples"):
        pd.testing.assert_frame_equal(pd.DataFrame(getattr(alone, name)), pd.DataFrame(getattr(within, name)))
    assert alone.crs == within.crs


def test_a_name_in_two_files_a_sample_without_a_block_and_one_of_an_unknown_block_are_told(tmp_path):
    home = write_folder(tmp_path, block="North")
    assert ("b.geojson", "block 'North' stands in a.gpkg too") in problems(home, weights(tmp_path, ("North",)))
    apart = tmp_path / "apart"
    apart.mkdir()
    home = write_folder(apart)
    told = problems(home, weights(apart, block=["", "Elsewhere"] + ["North"] * 11 + ["South"] * 11))
    assert ("w.csv", "block is needed with several blocks") in told
    assert any(file == "w.csv" and "Elsewhere" in what for file, what in told)


def test_an_empty_folder_and_a_file_that_is_no_vineyard_are_told(tmp_path):
    (tmp_path / "empty").mkdir()
    assert problems(tmp_path / "empty", weights(tmp_path)) == [("empty", "there is no vineyard file in the folder")]
    home = write_folder(tmp_path)
    iv.blocks().to_file(home / "c.gpkg", layer="roads", driver="GPKG")
    iv.blocks().to_file(home / "c.gpkg", layer="rivers", driver="GPKG")
    assert any(file == "c.gpkg" for file, _ in problems(home, weights(tmp_path)))
