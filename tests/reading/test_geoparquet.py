"""GeoParquet through the same door as every other file; the format is checked against geopandas' own writer."""

from __future__ import annotations

import invented_vineyard as iv
import pandas as pd
import pytest

from geoprune import DataError, read_vineyard

pytest.importorskip("pyarrow", reason="needs the package pyarrow (make setup installs it)")


def test_blocks_and_rows_of_one_geoparquet_are_those_of_the_geopackage(tmp_path):
    file, weights = iv.write(tmp_path, iv.samples())
    layers = [iv.blocks().assign(layer="blocks"), iv.rows().assign(layer="rows")]
    pd.concat(layers, ignore_index=True).to_parquet(tmp_path / "farm.parquet")
    taken, given = (read_vineyard(path, samples=weights) for path in (tmp_path / "farm.parquet", file))
    assert taken.blocks.geometry.geom_equals_exact(given.blocks.geometry, 1e-6).all()
    assert taken.rows["row"].tolist() == given.rows["row"].tolist()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: path.write_text("no parquet"), "the file is not what its ending .parquet says"),
        (lambda path: path.write_bytes(b"PAR1" + b"x" * 500 + b"PAR1"), "cannot be read"),
        (lambda path: pd.DataFrame({"block": ["A"]}).to_parquet(path), "cannot be read"),
        (lambda path: iv.blocks(training="low cordn").to_parquet(path), "unknown training 'low cordn'"),
    ],
)
def test_a_geoparquet_at_fault_gets_its_message(tmp_path, make, words):
    make(tmp_path / "farm.parquet")
    with pytest.raises(DataError, match=words):
        read_vineyard(tmp_path / "farm.parquet", samples=iv.write(tmp_path, iv.samples())[1])


def test_an_archive_that_grows_without_end_is_refused_before_it_is_unpacked(tmp_path, monkeypatch):
    monkeypatch.setattr("geoprune.reading.vector_files.LARGEST_PARQUET", 100)
    iv.blocks().to_parquet(tmp_path / "farm.parquet")
    with pytest.raises(DataError, match=r"MB in .* columns when unpacked"):
        read_vineyard(tmp_path / "farm.parquet", samples=iv.write(tmp_path, iv.samples())[1])
