"""One broken input per test, its message matched. All input is invented."""

from __future__ import annotations

import json
import sqlite3
import zipfile

import geopandas as gpd
import invented_vineyard as iv
import numpy as np
import pandas as pd
import pytest
from shapely import LineString, MultiPoint, Point, Polygon, affinity

from geoprune import DataError, read_vineyard
from geoprune.errors import Message
from geoprune.reading import Faults
from geoprune.words import say


def problems(vineyard, weights=None, **options) -> list[str]:
    with pytest.raises(DataError) as caught:
        read_vineyard(vineyard, samples=weights, **options)
    return [str(problem) for problem in caught.value.problems]


def one(tmp_path, table=None, *, options=None, **layers) -> str:
    found = problems(*iv.write(tmp_path, table, **layers), **(options or {}))
    assert len(found) == 1, found
    return found[0]


def moved(table: gpd.GeoDataFrame, **places) -> gpd.GeoDataFrame:
    return table.set_geometry(gpd.GeoSeries(affinity.translate(table.geometry.iloc[0], **places), crs=table.crs))


def two_blocks(**changed) -> gpd.GeoDataFrame:
    return pd.concat([iv.blocks(), moved(iv.blocks(block="B"), xoff=150.0).assign(**changed)], ignore_index=True)


BOW_TIE = Polygon([(iv.WEST, iv.SOUTH), (iv.WEST + 90, iv.SOUTH + 80), (iv.WEST + 90, iv.SOUTH), (iv.WEST, iv.SOUTH + 80)])


# Blocks


@pytest.mark.parametrize("column", ["block", "variety", "rule", "training"])
def test_a_missing_column_of_blocks(tmp_path, column):
    rows = None if column == "block" else iv.rows()
    found = problems(*iv.write(tmp_path, blocks=iv.blocks(**{column: None}), rows=rows))
    assert f"vineyard.gpkg, layer blocks: column {column} is missing. Add a column {column}." in found


def test_a_misspelt_column_is_recognized(tmp_path):
    table = iv.blocks().rename(columns={"variety": "varietie"})
    assert "Rename 'varietie' to variety" in one(tmp_path, blocks=table)


def test_the_layer_of_blocks_is_missing(tmp_path):
    found = one(tmp_path, blocks=None)
    assert found == "vineyard.gpkg, layer blocks: the layer is missing. Name a layer blocks (found: rows)."


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"row_spacing_m": None}, "column row_spacing is missing. Add one of row_spacing_m, row_spacing_ft"),
        (
            {"row_spacing_m": None, "row_spacing": 2.7},
            "row_spacing has no unit. Rename it to one of row_spacing_m, row_spacing_ft",
        ),
        ({"row_spacing_ft": 9.0}, "row_spacing stands in two units (row_spacing_m, row_spacing_ft). Keep exactly one"),
        ({"vine_spacing_m": None, "vine_spacing_yd": 2.0}, "no unit is known for vine_spacing (found vine_spacing_yd)"),
    ],
)
def test_unit_missing_or_doubled(tmp_path, changed, words):
    assert words in one(tmp_path, blocks=iv.blocks(**changed))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"row_spacing_m": -2.7}, "feature 1: row_spacing_m '-2.7' is not possible (0.9 to 6 m)"),
        ({"row_spacing_m": 90.0}, "row_spacing_m '90' is not possible (0.9 to 6 m)"),
        ({"vine_spacing_m": 0.0}, "vine_spacing_m '0' is not possible (0.3 to 5 m)"),
        ({"vine_spacing_m": "wide"}, "vine_spacing_m 'wide' is not a number"),
        ({"vine_spacing_m": np.nan}, "vine_spacing_m is empty"),
        ({"vines_per_panel": 2.5}, "vines_per_panel '2.5' is not a whole number"),
        ({"planted": 12}, "planted '12' is not possible (1600 to "),
        ({"training": "low cordn"}, "unknown training 'low cordn' of block 'A'. Did you mean 'low cordon'?"),
    ],
)
def test_absurd_values_of_a_block(tmp_path, changed, words):
    assert words in one(tmp_path, blocks=iv.blocks(**changed))


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_no_crs(tmp_path):
    found = problems(*iv.write(tmp_path, blocks=iv.blocks().set_crs(None, allow_override=True)))
    assert "vineyard.gpkg, layer blocks: no CRS is declared." in found[0]


def test_a_crs_without_a_place_on_earth_is_no_crs(tmp_path):
    local = 'LOCAL_CS["paper",UNIT["metre",1]]'
    found = problems(*iv.write(tmp_path, blocks=iv.blocks().set_crs(local, allow_override=True), rows=None))
    assert any("layer blocks: no CRS is declared" in text for text in found)


@pytest.mark.parametrize("outline", [iv.square(side=1.0), iv.square(side=9_000.0), Polygon()])
def test_a_block_of_zero_or_absurd_area(tmp_path, outline):
    table = iv.blocks().set_geometry(gpd.GeoSeries([outline], crs=iv.CRS))
    found = problems(*iv.write(tmp_path, blocks=table, rows=None))
    assert len(found) == 1
    assert "block 'A' has an area of" in found[0] or "without a shape" in found[0]


def test_degrees_declared_as_metres(tmp_path):
    table = iv.blocks().to_crs(4326).set_crs(iv.CRS, allow_override=True)
    assert "look like degrees" in " ".join(problems(*iv.write(tmp_path, blocks=table, rows=None)))


def test_a_block_that_is_a_point(tmp_path):
    table = iv.blocks().set_geometry(gpd.GeoSeries([Point(iv.WEST, iv.SOUTH)], crs=iv.CRS))
    assert "block 'A' is a Point, not a polygon" in one(tmp_path, blocks=table, rows=None)


def test_a_self_crossing_block_is_mended_and_said(tmp_path):
    table = iv.blocks(row_bearing_deg=0.0).set_geometry(gpd.GeoSeries([BOW_TIE], crs=iv.CRS))
    given = iv.samples(8).assign(row=1 + np.arange(8) % 4, vine=1)
    path, weights = iv.write(tmp_path, given, blocks=table, rows=None)
    vineyard = read_vineyard(path, samples=weights)
    assert vineyard.blocks.geometry.is_valid.all()
    assert [(r.kind, r.block) for r in vineyard.remarks if r.message.key == "reading.outline_mended"] == [("mended", "A")]


def test_a_duplicate_block(tmp_path):
    table = two_blocks(block="a ")
    assert "feature 2: block 'a' stands twice" in problems(*iv.write(tmp_path, blocks=table))[0]


def test_a_duplicate_block_whose_first_has_no_vine_spacing(tmp_path):
    table = two_blocks(block="A").assign(vine_spacing_m=[np.nan, iv.VINE_M])
    assert "feature 2: block 'A' stands twice" in problems(*iv.write(tmp_path, blocks=table))[0]


def test_latitude_and_longitude_of_blocks_swapped(tmp_path):
    # 81 W, 42 N: exchanged, the blocks lie in the Southern Ocean, within 90 degrees
    table = iv.blocks(row_bearing_deg=0.0).to_crs(4326)
    swapped = table.set_geometry(
        gpd.GeoSeries([affinity.affine_transform(table.geometry.iloc[0], [0, 1, 1, 0, 0, 0])], crs=4326)
    )
    found = problems(*iv.write(tmp_path, blocks=swapped, rows=None))
    assert "where no vines grow. Longitude and latitude seem swapped" in found[0]


# Rows, vines, bud checks


def test_a_duplicate_row(tmp_path):
    table = iv.rows().assign(row=lambda t: t["row"].replace("20", "7"))
    assert "layer rows, feature 20: block 'A', row '7' stands twice" in problems(*iv.write(tmp_path, rows=table))[0]


def test_a_duplicate_vine(tmp_path):
    table = gpd.GeoDataFrame(
        {"block": "A", "row": ["3", "3"], "vine": [4, 4], "status": "dead"}, geometry=[iv.vine_point(3, 4)] * 2, crs=iv.CRS
    )
    assert "layer vines, feature 2: block 'A', row '3', vine '4' stands twice" in one(tmp_path, vines=table)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"status": "poorly"}, "unknown status 'poorly'. Use one of bearing, young, missing, dead, diseased"),
        ({"row": "99"}, "there is no row '99' in block 'A'"),
        ({"vine": 70}, "there is no vine 70 in row '3' of block 'A' (53 vines)"),
        ({"vine": "first"}, "vine 'first' is not a number"),
        ({"block": "Z"}, "unknown block 'Z'. Use a name of the blocks layer (A)"),
    ],
)
def test_wrong_vines(tmp_path, changed, words):
    entry = {"block": "A", "row": "3", "vine": 4, "status": "dead"} | changed
    table = gpd.GeoDataFrame([entry], geometry=[iv.vine_point(3, 4)], crs=iv.CRS)
    assert words in one(tmp_path, vines=table)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"primary_dead": 31}, "feature 1: primary_dead is 31 of 30 buds cut. Correct the counts"),
        ({"primary_dead": -1}, "primary_dead '-1' is not possible"),
        ({"primary_dead": 2.5}, "primary_dead '2.5' is not a whole number"),
        ({"primary_dead": "few"}, "primary_dead 'few' is not a number"),
        ({"buds_cut": 0, "primary_dead": 0}, "buds_cut '0' is not possible"),
        ({"secondary_dead": 40}, "secondary_dead is 40 of 30 buds cut"),
    ],
)
def test_impossible_bud_counts(tmp_path, changed, words):
    entry = {"block": "A", "buds_cut": 30, "primary_dead": 3} | changed
    table = gpd.GeoDataFrame([entry], geometry=[iv.vine_point(3, 4)], crs=iv.CRS)
    assert words in one(tmp_path, bud_checks=table)


def test_a_row_that_is_no_line(tmp_path):
    table = iv.rows()
    table.loc[4, "geometry"] = MultiPoint([iv.vine_point(5, 1), iv.vine_point(5, 2)])
    assert "row '5' is not a line of any length" in problems(*iv.write(tmp_path, rows=table))[0]


def test_neither_rows_nor_a_bearing(tmp_path):
    assert "block 'A': neither a rows layer nor row_bearing_deg. Give one of the two" in one(tmp_path, rows=None)


def test_rows_in_another_place_than_their_block(tmp_path):
    found = problems(*iv.write(tmp_path, rows=iv.rows().set_geometry(iv.rows().translate(5e4))))
    assert "layer rows: the rows lie 50 km from the blocks. Check the coordinates and their CRS" in found[0]


def bent(*places):
    """The rows of the block with the first of them drawn through places (east, north), in m from the block's corner."""
    table = iv.rows()
    table.loc[0, "geometry"] = LineString([(iv.WEST + east, iv.SOUTH + north) for east, north in places])
    return table


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (
            bent((5 + iv.ROW_M, 2), (5 + iv.ROW_M, 98)),
            "block 'A': rows '1' and '2' lie on the same ground. Draw each row once",
        ),
        (bent((5 + 0.9 * iv.ROW_M, 20), (5 + 0.9 * iv.ROW_M, 80)), "rows '1' and '2' lie on the same ground"),
        (bent((5, 2), (5 + 2.5 * iv.ROW_M, 98)), "rows '2' and '1' cross"),
        (bent((5, 2), (5, 98), (5, 30)), "block 'A': row '1' runs back over its own ground"),
    ],
)
def test_rows_on_each_other(tmp_path, table, words):
    assert any(words in problem for problem in problems(*iv.write(tmp_path, rows=table)))


@pytest.mark.parametrize(
    "table",
    [
        bent((5, 2), (5, 80), (5.3 + iv.ROW_M, 98)),  # drawn a little over the end of its neighbour
        bent((5, 2), (5, 70), (5 + 0.95 * iv.ROW_M, 98)),  # running up to its neighbour where the block narrows
    ],
)
def test_rows_may_run_up_to_each_other_at_an_end(tmp_path, table):
    vineyard, weights = iv.write(tmp_path, rows=table)
    read_vineyard(vineyard, samples=weights)


def test_another_name_of_a_training_is_taken_and_said(tmp_path):
    path, weights = iv.write(tmp_path, blocks=iv.blocks(training="High cordon"))
    vineyard = read_vineyard(path, samples=weights)
    assert vineyard.blocks["training"].tolist() == ["top-wire cordon"]
    (remark,) = (r for r in vineyard.remarks if r.message.key == "reading.training_also_called")
    said = say(Message("terminal.remark", {"block": "A", "kind": "", "text": remark.message}), "es", "us")
    assert "High cordon" in said
    assert say(Message("recipe.training_top_wire_cordon"), "es", "us") in said


# Samples


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (iv.samples(row=99), "line 2: unknown row '99' in block 'A'. Use a row's painted name (1, "),
        (iv.samples(vine=55), "line 2: row '1' of block 'A' has 53 vines, not 55. Correct the vine number"),
        (iv.samples(pruning_weight_kg=-1.0), "line 2: pruning_weight_kg is '-1.0': not possible"),
        (iv.samples(pruning_weight_kg="heavy"), "line 2: pruning_weight_kg 'heavy' is not a number"),
        (iv.samples(pruning_weight_kg=np.nan), "line 2: pruning_weight_kg is empty"),
        (iv.samples(pruning_weight_kg=55.0), "A vine gives 0.002 to 12 kg of prunings: correct weight or unit"),
        (iv.samples(pruning_weight_kg=np.inf), "pruning_weight_kg 'inf' is not a number"),
        (iv.samples(vines_weighed=0), "vines_weighed '0' is not possible (1 to 50)"),
        (iv.samples(canes=10, bull_canes=12), "bull_canes is 12 of 10 canes"),
        (iv.samples(cane_diameter_mm=300), "cane_diameter_mm '300' is not possible (1 to 40 mm)"),
        (iv.samples(internode_mm=50, internode_in=2), "internode stands in two units (internode_mm, internode_in)"),
        (iv.samples(season=26), "season '26' is not possible"),
        (iv.samples(block="B"), "unknown block 'B'. Use a name of the blocks layer (A)"),
        (iv.samples(row=[None, *range(1, 21), 1, 2, 3]), "line 2: no place. Give row and vine"),
    ],
)
def test_wrong_values_of_samples(tmp_path, table, words):
    found = problems(*iv.write(tmp_path, table))
    assert all(text.startswith("weights.csv") for text in found)
    assert words in " ".join(found)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (iv.samples().rename(columns={"pruning_weight_kg": "pruning_weight"}), "column pruning_weight has no unit"),
        (iv.samples(pruning_weight_lb=2.0), "stands in two units (pruning_weight_kg, pruning_weight_lb)"),
        (iv.samples().rename(columns={"pruning_weight_kg": "pruning_weight_st"}), "no unit is known for pruning_weight"),
        (iv.samples().drop(columns="pruning_weight_kg"), "column pruning_weight is missing. Add one of pruning_weight_kg"),
        (iv.samples().drop(columns="row"), "no columns with a place. Give row and vine, or lon and lat"),
        (iv.lonlat().drop(columns="lat"), "only half a place (lon without lat)"),
        (iv.lonlat().rename(columns={"lon": "easting", "lat": "northing"}), "easting and northing without a CRS"),
        (iv.lonlat().rename(columns={"lon": "lat", "lat": "lon"}), "the samples lie"),
        (iv.lonlat(lon=-81.5, lat=99.0), "latitudes beyond 90 degrees. Longitude and latitude seem swapped"),
        (iv.samples(4), "4 usable samples in block 'A'. Weigh at least 5 vines in every block"),
        (iv.samples(0), "there are no samples"),
        ("row;vine;pruning_weight_kg\n1;1;1,2;9\n" + "2;5;1,3\n" * 6, "line 2: there are more cells than column names"),
        ("row,vine,vine,pruning_weight_kg\n" + "1,2,2,1.0\n" * 6, "column vine stands twice. Keep one of the two"),
        ("", "weights.csv, layer samples: the file is empty"),
        ("\n , ,\n", "the table is empty"),
        (b"PK\x03\x04 no text", "the file is not what its ending .csv says"),
    ],
)
def test_tables_that_cannot_be_used(tmp_path, table, words):
    assert words in one(tmp_path, table)


def test_swapped_samples_are_told_from_a_wrong_crs(tmp_path):
    swapped = iv.lonlat().rename(columns={"lon": "lat", "lat": "lon"})
    found = one(tmp_path, swapped)
    assert "km from the blocks, but at them once longitude and latitude are exchanged. Exchange them in the samples" in found


def test_samples_in_a_wrong_zone(tmp_path):
    points = iv.located(crs=32617)
    table = pd.DataFrame({"easting": points.geometry.x, "northing": points.geometry.y, "pruning_weight_kg": 1.0})
    found = one(tmp_path, table, options={"crs": "EPSG:32618"})
    assert "km from the blocks. Check the coordinates and their CRS" in found


def test_an_unknown_crs(tmp_path):
    points = iv.located(crs=32617)
    table = pd.DataFrame({"easting": points.geometry.x, "northing": points.geometry.y, "pruning_weight_kg": 1.0})
    assert "unknown CRS 'EPSG:99999'" in " ".join(problems(*iv.write(tmp_path, table), crs="EPSG:99999"))
    assert "unknown CRS 'the usual'" in " ".join(problems(*iv.write(tmp_path), crs="the usual"))


def test_samples_that_do_not_stand_on_bearing_vines_are_not_usable(tmp_path):
    table = gpd.GeoDataFrame(
        {"block": "A", "row": ["1", "2"], "vine": [1, 8], "status": "missing"},
        geometry=[iv.vine_point(1, 1)] * 2,
        crs=iv.CRS,
    )
    assert "4 usable samples in block 'A' of 6 given (2 on vines that do not bear). Weigh at least 5" in one(
        tmp_path, iv.samples(6), vines=table
    )


def test_several_blocks_need_the_name(tmp_path):
    found = problems(*iv.write(tmp_path, blocks=two_blocks(row_bearing_deg=0.0)))
    assert "line 2: block is needed with several blocks. Add the block's name (A, B)" in " ".join(found)


# Files


def test_no_samples_at_all(tmp_path):
    assert "layer samples: there are no samples" in problems(iv.write(tmp_path)[0])[0]


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("v.gpkg", b"hello", "is not what its ending .gpkg says"),
        ("v.gpkg", b"", "the file is empty"),
        ("v.gpkg", b"SQLite format 3\x00 and nothing", "the file cannot be read"),
        ("v.zip", b"hello", "is not what its ending .zip says"),
        ("v.zip", b"PK\x03\x04 cut", "not a whole zip file"),
        ("v.geojson", b"<kml/>", "is not what its ending .geojson says"),
        ("v.geojson", b'{"type": "FeatureCollection", ', "the file cannot be read"),
        ("v.kml", b"<kml><Document>", "the file cannot be read"),
        ("v.kml", b"<html></html>", "is not what its ending .kml says"),
        ("v.shp", b"\x00\x00\x27\x0a", "files ending in '.shp' are not read. Zip the .shp together"),
        ("v.dwg", b"AC1027", "files ending in '.dwg' are not read. Give one of .gpkg"),
    ],
)
def test_vineyard_files_that_are_no_such_files(tmp_path, name, data, words):
    (tmp_path / name).write_bytes(data)
    found = problems(tmp_path / name, iv.write(tmp_path)[1])
    assert words in found[0]
    assert found[0].startswith(name)


def test_a_vineyard_file_that_is_not_there(tmp_path):
    assert "the file does not exist" in problems(tmp_path / "lost.gpkg")[0]


def test_a_zip_without_layers(tmp_path):
    with zipfile.ZipFile(tmp_path / "v.zip", "w") as archive:
        archive.writestr("letter.txt", "hello")
    assert "there is no .shp or .geojson file in the zip" in problems(tmp_path / "v.zip")[0]


def test_two_layers_of_one_name_are_reported(tmp_path):
    with zipfile.ZipFile(tmp_path / "v.zip", "w") as archive:
        for name in ("north/blocks.geojson", "south/blocks.geojson"):
            archive.writestr(name, iv.blocks().to_crs(4326).to_json())
    assert "v.zip: two files in the zip are called 'blocks'. Keep one of the two." in problems(tmp_path / "v.zip")
    with zipfile.ZipFile(tmp_path / "w.zip", "w") as archive:
        for name in ("blocks.geojson", "Blocks.geojson"):
            archive.writestr(name, iv.blocks().to_crs(4326).to_json())
    assert "w.zip: two layers are called blocks. Keep one of the two." in problems(tmp_path / "w.zip")


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        (
            "v.kml",
            '<kml xmlns="http://www.opengis.net/kml/2.2"><Document></Document></kml>',
            "there is no layer with shapes",
        ),
        (
            "v.geojson",
            '{"type": "Polygon", "coordinates": [[[1e400, 0]]]}',
            "the file cannot be read (point array",
        ),
    ],
)
def test_vector_files_that_hold_nothing_of_use(tmp_path, name, text, words):
    (tmp_path / name).write_text(text)
    assert words in problems(tmp_path / name, iv.write(tmp_path)[1])[0]


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("w.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "protected by a password, or of the kind before 2007"),
        ("w.xlsx", b"PK\x03\x04 broken", "the workbook cannot be read"),
        ("w.xlsx", b"row,vine\n1,2\n", "is not what its ending .xlsx says"),
        ("w.ods", b"PK", "samples ending in '.ods' are not read. Give one of .csv, .xlsx"),
    ],
)
def test_sample_files_that_are_no_such_files(tmp_path, name, data, words):
    (tmp_path / name).write_bytes(data)
    found = problems(iv.write(tmp_path)[0], tmp_path / name)
    assert len(found) == 1
    assert words in found[0]


def test_a_workbook_with_a_cell_far_out_is_reported(tmp_path):
    with pd.ExcelWriter(tmp_path / "w.xlsx", engine="xlsxwriter") as book:
        iv.samples().to_excel(book, sheet_name="samples", index=False)
        book.sheets["samples"].write(1_048_575, 16_383, "x")
    (found,) = problems(iv.write(tmp_path)[0], tmp_path / "w.xlsx")
    assert "a sheet reaches to cell XFD1048576, far beyond any table. Copy the table alone to a new workbook." in found


@pytest.mark.parametrize("name", ["v.gpkg", "w.csv"])
def test_a_folder_in_place_of_a_file(tmp_path, name):
    (tmp_path / name).mkdir()
    vineyard, weights = iv.write(tmp_path)
    given = (tmp_path / name, weights) if name == "v.gpkg" else (vineyard, tmp_path / name)
    assert name in problems(*given)[0]
    told = "there is no vineyard file in the folder" if name == "v.gpkg" else "it is a folder, not a file"
    assert told in problems(*given)[0]


def test_a_file_that_only_names_another_is_not_read(tmp_path):
    vineyard, weights = iv.write(tmp_path)
    names_it = f'<OGRVRTDataSource><OGRVRTLayer name="blocks"><SrcDataSource>{vineyard}</SrcDataSource></OGRVRTLayer>'
    names_it += "</OGRVRTDataSource>"
    (tmp_path / "v.kml").write_text(names_it)
    assert "is not what its ending .kml says" in problems(tmp_path / "v.kml", weights)[0]
    (tmp_path / "w.kml").write_text(names_it.replace(">", "><!-- <kml> -->", 1))
    assert "is not what its ending .kml says" in problems(tmp_path / "w.kml", weights)[0]
    steps = {"type": "gdal_streamed_alg", "command_line": f"gdal vector pipeline ! read {vineyard}"}
    (tmp_path / "v.json").write_text(json.dumps(steps))
    assert "the file cannot be read" in problems(tmp_path / "v.json", weights)[0]
    with zipfile.ZipFile(tmp_path / "v.zip", "w") as archive:
        archive.writestr("blocks.geojson", names_it)
    assert "blocks.geojson is not what its ending says" in problems(tmp_path / "v.zip", weights)[0]


# All at once


def test_all_problems_of_both_files_are_reported_together(tmp_path):
    bad_rows = iv.rows(21).assign(row=lambda t: t["row"].replace("21", "7"))
    table = iv.samples().astype(object)
    table.loc[0, "pruning_weight_kg"], table.loc[1, "row"], table.loc[2, "vine"] = "heavy", 99, 400
    checks = gpd.GeoDataFrame(
        {"block": ["A"], "buds_cut": 10, "primary_dead": 11}, geometry=[iv.vine_point(1, 1)], crs=iv.CRS
    )
    changed = iv.blocks(training="tall", planted=12)
    found = problems(*iv.write(tmp_path, table, blocks=changed, rows=bad_rows, bud_checks=checks))
    for words in ("unknown training 'tall'", "planted '12'", "row '7' stands twice", "primary_dead is 11", "'heavy'"):
        assert sum(words in text for text in found) == 1, words
    assert sum("unknown row '99'" in text for text in found) == 1
    assert sum("not 400" in text for text in found) == 1
    assert len(found) == 7


def test_a_bad_samples_file_does_not_hide_a_bad_vineyard(tmp_path):
    found = problems(*iv.write(tmp_path, "", blocks=iv.blocks(variety=None)))
    assert [text.split(":")[0] for text in found] == ["weights.csv, layer samples", "vineyard.gpkg, layer blocks"]


def test_many_faults_of_one_kind_are_counted(tmp_path):
    found = problems(*iv.write(tmp_path, iv.samples(pruning_weight_kg="x")))
    assert len(found) == 11
    assert "14 more lines have the same fault" in found[-1]


def test_problems_go_into_a_book_that_is_given(tmp_path):
    path, weights = iv.write(tmp_path, iv.samples(vine=400))
    faults = Faults()
    vineyard = read_vineyard(path, samples=weights, faults=faults)
    assert len(faults.problems) == 12  # ten one by one, how many more, and that too few are left
    assert vineyard.blocks["block"].tolist() == ["A"]


def test_a_row_too_short_for_a_vine(tmp_path):
    table = iv.rows(1)
    table["geometry"] = [LineString([(iv.WEST, iv.SOUTH), (iv.WEST, iv.SOUTH + 1)])]
    assert "no row is as long as a vine" in " ".join(problems(*iv.write(tmp_path, rows=table)))


def test_a_view_in_a_geopackage_is_not_run(tmp_path):
    # a view can be an endless query: only tables are read
    vineyard, weights = iv.write(tmp_path, samples=iv.located(32617))
    with sqlite3.connect(vineyard) as database:
        database.execute("ALTER TABLE samples RENAME TO weighed")
        database.execute(
            "CREATE VIEW samples AS WITH RECURSIVE endless(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM endless)"
            " SELECT n AS fid, NULL AS geom, n AS pruning_weight_kg FROM endless"
        )
    database.close()
    assert "layer samples: there are no samples" in problems(vineyard)[0]
    assert len(read_vineyard(vineyard, samples=weights).samples) == 24
