"""Yields, scores and given zones: one reader of tables, names matched in one way. All input is invented."""

from __future__ import annotations

import geopandas as gpd
import invented_vineyard as iv
import pandas as pd
import pytest
from shapely import Polygon

from geoprune import DataError, read_vineyard
from geoprune.layers import Vineyard
from geoprune.reading import Faults, read_given_zones, read_harvest, read_scores


@pytest.fixture
def vineyard(tmp_path):
    path, weights = iv.write(tmp_path)
    return read_vineyard(path, samples=weights)


def estate(*names, pruned=None):
    """A vineyard of blocks of 1 ha, with weights of the winters given by block."""
    blocks = pd.concat([iv.blocks(block=name) for name in names], ignore_index=True)
    weighed = gpd.GeoDataFrame({"block": list(pruned or ()), "season": list((pruned or {}).values())}, geometry=None)
    return Vineyard(blocks, None, None, weighed, None, blocks.crs)


def refused(read, *arguments) -> str:
    with pytest.raises(DataError) as caught:
        read(*arguments)
    return str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        b"block,season,yield_kg\nNorth,2025,1500.5\n,,\n\n",
        b"\xef\xbb\xbfBLOCK;Season;Yield_kg\nnorth;2025;1500,5\n",
        b"block\tseason\tyield_kg\rNORTH\t2025.0\t1500,5\r",
        "block,season,yield_kg\nnorth,2025,1500.5\n".encode("utf-16"),
    ],
)
def test_a_harvest_is_read_as_samples_are(tmp_path, text):
    (tmp_path / "h.csv").write_bytes(text)
    found = read_harvest(tmp_path / "h.csv", estate("North", "Peña"))
    assert found[["block", "season", "yield_kg"]].to_numpy().tolist() == [["North", 2025, 1500.5]]
    assert found["zone"].isna().all()


def test_a_harvest_in_a_workbook(tmp_path):
    table = pd.DataFrame({"block": ["north", "SOUTH"], "zone": [1, None], "yield_ton": ["1,5", 2.0]})
    with pd.ExcelWriter(tmp_path / "h.xlsx", engine="xlsxwriter") as book:
        pd.DataFrame({"x": [1]}).to_excel(book, sheet_name="notes", index=False)
        table.to_excel(book, sheet_name="Harvest", index=False)
    found = read_harvest(tmp_path / "h.xlsx", estate("North", "South"))
    assert found["block"].tolist() == ["North", "South"]
    assert found["yield_kg"].tolist() == pytest.approx([1360.77711, 1814.36948])
    assert found["zone"].tolist() == [1, pd.NA]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("block,yield_kg\n,5\n", "line 2: block is empty. Use a block's name (North, South)"),
        ("block,season,yield_kg\nNorth,1e30,5\n", "season '1e30' is not possible (1980 to "),
        ("block,season,yield_kg\nNorth,inf,5\n", "season 'inf' is not a number"),
        ("block,zone,yield_kg\nNorth,1e19,5\n", "zone '1e19' is not possible"),
        ("block,yield_kg\nNorth,1e308\n", "yield_kg '1e308' is not possible"),
        ("block,yield_kg,Yield_kg\nNorth,1,1\n", "column yield_kg stands twice"),
        ("block,yield_kg\nNorth,1,2,3\n", "line 2: there are more cells than column names"),
        ("block,yield_kg\n", "there are no yields"),
        ("block,zone,yield_kg\nNorth,1,5\nNORTH,1,6\n", "line 3: block 'North', zone '1' stands twice"),
        ("block,yield_kg\nNort,5\n", "unknown block 'Nort' (nearest: 'North')"),
        ("block,season,yield_kg\nNorth,1950,5000\n", "season '1950' is not possible (1980 to "),
        ("block,season,yield_kg\nNorth,2099,5000\n", "season '2099' is not possible (1980 to "),
        ("block,yield_kg\nNorth,0\n", "yield_kg '0' is not possible (1 to"),
        ("block,yield_kg\nNorth,-4\n", "yield_kg '-4' is not possible"),
        ("block,yield_t\nNorth,101\n", "line 2: 101 t/ha in block 'North' (1.00 ha). No vineyard bears over 100 t/ha"),
        ("block,zone,yield_t\nNorth,1,60\nNorth,2,60\n", "line 3: 120 t/ha in block 'North'"),
        (
            "block,season,yield_t\nNorth,2024,9\nNorth,,8\nSouth,,8\n",
            "line 3: no season beside other lines of block 'North'. Give the season in every line",
        ),
        ("\x00\x00", "not what its ending .csv says"),
    ],
)
def test_harvests_that_cannot_be_used(tmp_path, text, words):
    (tmp_path / "h.csv").write_text(text)
    assert words in refused(read_harvest, tmp_path / "h.csv", estate("North", "South"))


def test_yields_are_of_the_crop_that_the_pruned_wood_bore(tmp_path):
    # pruned in the winter of 2024: its wood grew beside the crop of 2023 (south of the equator maybe called 2024)
    known, faults = estate("North", "South", pruned={"North": 2024, "South": 2024}), Faults()
    lines = "block,season,yield_t\nNorth,2021,7\nNorth,2023,9\nSouth,2021,8\n"
    (tmp_path / "h.csv").write_text(lines)
    found = read_harvest(tmp_path / "h.csv", known, faults)
    assert found[["block", "season"]].to_numpy().tolist() == [["North", 2023]]
    (remark,) = faults.remarks
    assert (remark.kind, remark.block, remark.message.key) == ("dropped", "South", "reading.yield_old")
    assert remark.message.fields == {"season": 2021, "pruned": 2024}
    (tmp_path / "h.csv").write_text(lines + "South,2025,8\n")
    assert "line 5: season 2025 is later than the pruning of 2024" in refused(read_harvest, tmp_path / "h.csv", known)


def test_a_yield_in_the_wrong_unit_is_said(tmp_path):
    faults = Faults()
    (tmp_path / "h.csv").write_text("block,yield_kg\nNorth,12\nSouth,12000\n")
    read_harvest(tmp_path / "h.csv", estate("North", "South"), faults)
    (remark,) = faults.remarks
    assert (remark.message.key, remark.block, remark.message.fields["line"]) == ("reading.yield_low", "North", 2)


def test_scores_and_their_names(tmp_path, vineyard):
    (tmp_path / "s.csv").write_text("Block;Row;Vine;Score\na;1;2;3,5\n;;;\nA;20;53;1\n")
    found = read_scores(tmp_path / "s.csv", vineyard)
    assert found.to_numpy().tolist() == [["A", "1", 2, 3.5], ["A", "20", 53, 1.0]]


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("s.csv", "row,vine,score\n", "s.csv, layer scores: there are no scores"),
        ("s.csv", "row,vine,score\n1,1,2\n1,1,9\n", "line 3: block 'A', row '1', vine '1' stands twice"),
        ("s.csv", "row,vine,score\n1,1,-1e308\n", "score '-1e308' is not possible"),
        ("s.csv", "row,vine,score\n99,1,2\n", "there is no row '99' in block 'A'"),
        ("s.gpkg", "x", "scores ending in '.gpkg' are not read. Give one of .csv, .xlsx."),
    ],
)
def test_scores_that_cannot_be_used(tmp_path, vineyard, name, text, words):
    (tmp_path / name).write_text(text)
    assert words in refused(read_scores, tmp_path / name, vineyard)


def zones(**changed) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"block": ["a"], "Zone": ["low"]} | changed, geometry=[iv.square()], crs=iv.CRS)


def test_given_zones_are_named_as_the_vineyard_is(tmp_path, vineyard):
    zones().to_file(tmp_path / "z.gpkg", layer="zones", driver="GPKG")
    assert read_given_zones(tmp_path / "z.gpkg", vineyard)[["block", "zone"]].to_numpy().tolist() == [["A", "low"]]


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (zones(**{"Zone ": ["1"]}), "z.gpkg, layer zones: column zone stands twice"),
        (
            zones().set_geometry([Polygon([(0, 0), (1e308, 1), (1, 1)])]).set_crs(iv.CRS),
            "feature 1: a coordinate is no number",
        ),
        (zones(block=["Z"]), "no zone is of a known block (found: Z). Name blocks as A"),
    ],
)
def test_zones_that_cannot_be_used(tmp_path, vineyard, table, words):
    table.to_file(tmp_path / "z.gpkg", layer="zones", driver="GPKG")
    assert words in refused(read_given_zones, tmp_path / "z.gpkg", vineyard)
