"""What is written is opened again with other libraries and compared with the plan."""

import json
import pickle
import re
import shutil
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
from jsonschema import Draft202012Validator
from python_calamine import CalamineWorkbook
from small_plans import UTM, brief_without_number
from written_plans import HOSTILE, SMALL, blocks, estate_of, one_block, two_blocks, with_text

from geoprune.deliver.edition import Style
from geoprune.deliver.folders import block_folders
from geoprune.deliver.writing import write_plan
from geoprune.deliver.writing.spreadsheets import guard_text
from geoprune.errors import OutputError
from geoprune.rules import caution_notes
from geoprune.words import Reader

SCHEMA = Path(__file__).parents[2] / "docs" / "summary.schema.json"
# The project's contract: layer -> columns, in the order it lists them.
CONTRACT = {
    "zones": [
        "block",
        "zone",
        "class",
        "vines",
        "area_ha",
        "vine_size_kg",
        "vine_size_se_kg",
        "vine_size_kg_m",
        "buds_per_vine",
    ],
    "panels": [
        "block",
        "row",
        "panel",
        "first_vine",
        "last_vine",
        "zone",
        "vine_size_kg",
        "vine_size_se_kg",
        "buds_per_vine",
    ],
    "vines": ["block", "row", "vine", "status", "zone", "vine_size_kg", "vine_size_se_kg", "buds_per_vine"],
    "samples": ["block", "row", "vine", "pruning_weight_kg"],
    "replant_areas": ["block", "vines_missing", "vines_weak", "row_length_m", "reason"],
}


@pytest.fixture(scope="module")
def written_for(tmp_path_factory):
    """Both blocks, written for an English reader in US units and for a Spanish one in metric ones."""
    folder, units = tmp_path_factory.mktemp("out"), {"en": "us", "es": "metric"}
    beside = {"geoprune.toml": "# é\n"}
    return {
        code: write_plan(two_blocks(), folder / code, style=Style(Reader(code, said)), beside=beside)
        for code, said in units.items()
    }


@pytest.fixture(scope="module")
def written(written_for):
    return written_for["en"]


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    return write_plan(one_block(), tmp_path_factory.mktemp("alone") / "out")


@pytest.fixture
def results(alone, tmp_path):
    """A block's results, for a test to spoil."""
    return Path(shutil.copytree(alone, tmp_path / "out"))


@pytest.mark.parametrize("layer", CONTRACT)
def test_layer_has_the_promised_columns(written, layer):
    table = gpd.read_file(written / "prescription.gpkg", layer=layer)
    assert list(table.columns[: len(CONTRACT[layer])]) == CONTRACT[layer]
    assert set(table["block"]) == {"North", "South"}
    kinds = {"zones": "MultiPolygon", "replant_areas": "MultiPolygon", "panels": "LineString"}
    assert set(table.geom_type) == {kinds.get(layer, "Point")}


def test_totals_agree_across_layers_and_summary(written):
    read = {layer: gpd.read_file(written / "prescription.gpkg", layer=layer) for layer in ("vines", "panels", "zones")}
    summary = json.loads((written / "summary.json").read_text("utf-8"))
    for block in ("North", "South"):
        part = {layer: table[table["block"] == block] for layer, table in read.items()}
        vines = int(part["vines"]["buds_per_vine"].sum())
        assert vines == int(part["panels"]["buds_total"].sum()) == int(part["zones"]["buds_total"].sum())
        said = part["zones"].set_index("zone")["buds_per_vine"]
        renewed = part["vines"].query("treatment == 'renew'")
        assert len(renewed)
        assert vines == int((part["zones"]["vines"] * part["zones"]["buds_per_vine"]).sum() - said[renewed["zone"]].sum())
        assert summary["blocks"][block]["buds_total"] == vines


def test_figures_for_people_carry_the_decimals_that_mean_something_and_those_for_programs_all(tmp_path):
    block = blocks()[0]
    odd = {"area_ha": 1 / 3, "vine_size_kg": 2 / 3, "vine_size_kg_m": 1 / 7, "renew_share": 1 / 6, "buds_by_rule": 100 / 3}
    plan = replace(block, zones=block.zones.assign(**odd), panels=block.panels.assign(length_m=22 / 3))
    out = write_plan(estate_of(plan), tmp_path / "out")
    expected = {
        "area_ha": 0.3333,
        "vine_size_kg": 0.6667,
        "vine_size_kg_m": 0.1429,
        "renew_share": 0.1667,
        "buds_by_rule": 33.33,
    }
    for table in (
        pd.read_csv(out / "prescription.csv"),
        pd.read_excel(out / "prescription.xlsx", engine="calamine"),
    ):
        assert {name: float(table[name][0]) for name in expected} == expected
    assert not re.search(r"\d\.\d{5}", (out / "prescription.csv").read_text("utf-8"))
    summary = json.loads((out / "summary.json").read_text("utf-8"))["blocks"]["North"]
    layer = gpd.read_file(out / "prescription.gpkg", layer="zones").iloc[0]
    for place in (layer, summary["zones"][0]):
        assert {name: float(place[name]) for name in odd} == odd


def test_geopackage_passes_the_checks_of_its_standard(written):
    # OGC 12-128r18 (GeoPackage 1.3): application id (req. 2), tables, keys, integrity (req. 6, 7).
    with sqlite3.connect(written / "prescription.gpkg") as base:
        assert base.execute("PRAGMA application_id").fetchone()[0] == int.from_bytes(b"GPKG", "big")
        assert base.execute("PRAGMA user_version").fetchone()[0] == 10300
        assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert base.execute("PRAGMA foreign_key_check").fetchall() == []
        names = {row[0] for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        styled = base.execute("SELECT f_table_name, f_geometry_column, styleQML FROM layer_styles").fetchall()
    assert {"gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns", "gpkg_data_columns"} <= names
    assert {name for name, _, _ in styled} >= {*CONTRACT, "flags", "rows", "blocks"}
    for _, column, qml in styled:
        assert column == "geom"
        assert ET.fromstring(qml.split("\n", 1)[1]).tag == "qgis"


@pytest.mark.gdal
def test_gdal_reads_and_validates_the_geopackage(written, tmp_path):
    path = tmp_path / "copy.gpkg"
    path.write_bytes((written / "prescription.gpkg").read_bytes())
    said = subprocess.run(["ogrinfo", "-so", "-al", str(path)], capture_output=True, text=True, check=True)
    assert "Layer name: replant_areas" in said.stdout
    command = ["/usr/bin/python3", "-m", "osgeo_utils.samples.validate_gpkg", str(path)]
    checked = subprocess.run(command, capture_output=True, text=True, check=False)
    if "No module named" in checked.stderr:
        pytest.fail("Debian's python3-gdal is missing: the GeoPackage was not validated")
    assert checked.returncode == 0, checked.stdout + checked.stderr


@pytest.mark.parametrize(("name", "held"), [("vine_size.tif", "vine_size_kg"), ("vine_size_error.tif", "vine_size_se_kg")])
def test_rasters_are_tiled_geotiffs_of_one_band(written, name, held):
    with rasterio.open(written / "north" / name) as source:
        assert source.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert source.count == 1
        assert source.units == ("kg",)
        assert np.isnan(source.nodata)
        grid = blocks()[0].surface_grid
        assert np.isfinite(grid[held]).any()
        np.testing.assert_allclose(source.read(1), grid[held], rtol=1e-6)
        assert tuple(source.transform)[:6] == pytest.approx(tuple(grid["transform"])[:6])
        assert source.crs.to_epsg() == UTM.to_epsg() == 32610


def test_csv_and_workbook_hold_the_zones(written):
    assert (written / "prescription.csv").read_bytes().startswith(b"block,variety,")
    table = pd.read_csv(written / "prescription.csv")
    planned = [[plan.name, zone.zone, zone.buds_per_vine] for plan in blocks() for zone in plan.zones.itertuples()]
    assert len(planned) == 4
    assert table[["block", "zone", "buds_per_vine"]].to_numpy().tolist() == planned
    book = CalamineWorkbook.from_path(str(written / "prescription.xlsx"))
    assert book.sheet_names == [
        "zones",
        "row list",
        "flags",
        "samples",
        "replant areas",
        "next vines",
        "columns",
    ]
    explained = {(line[0], line[1]) for line in book.get_sheet_by_name("columns").to_python()[1:]}
    for name in book.sheet_names[:-1]:
        for column in book.get_sheet_by_name(name).to_python()[0]:
            assert (name, column) in explained


def test_waypoints_lie_on_the_posts_in_walking_order(written):
    points = gpd.read_file(written / "flags.gpx", layer="waypoints").to_crs(UTM)
    said = gpd.read_file(written / "prescription.gpkg", layer="flags")
    assert points.geometry.distance(said.geometry).max() < 0.02
    planned = pd.concat([plan.flags for plan in blocks()], ignore_index=True)
    assert points.geometry.distance(planned.geometry).max() < 0.02
    assert len(gpd.read_file(written / "flags.kml", layer="South")) == len(blocks()[1].flags)


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_waypoint_says_its_block(written_for, language):
    written = written_for[language]
    for name in ("flags", "next_vines"):
        said = gpd.read_file(written / f"{name}.gpx", layer="waypoints")
        assert said["name"].is_unique
        for words in (said["name"], said["cmt"]):
            assert all(block in line for block, line in zip(said["type"], words, strict=True))
        for block, own in said.groupby("type"):
            kml = gpd.read_file(written / f"{name}.kml", layer=block)
            assert kml["Name"].tolist() == [words.removeprefix(f"{block} ") for words in own["name"]]
            assert kml.geometry.force_2d().geom_equals_exact(own.geometry.reset_index(drop=True), 1e-7).all()
    flags = gpd.read_file(written / "flags.gpx", layer="waypoints")
    assert flags["name"].str.contains(r"/0 -\|[12]$").any()


def test_summary_follows_its_schema_and_lists_every_file(written):
    summary = json.loads((written / "summary.json").read_text("utf-8"))
    schema = json.loads(SCHEMA.read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    Draft202012Validator(schema).validate(summary)
    there = {p.relative_to(written).as_posix() for p in written.rglob("*") if p.is_file()}
    assert set(summary["files"]) == there
    assert summary["blocks"]["North"]["mean_rmse_kg"] is None
    broken = {**summary, "blocks": {"North": {**summary["blocks"]["North"], "verdict": "maybe"}}}
    assert not Draft202012Validator(schema).is_valid(broken)


def test_sentences_are_reported_in_the_language_and_units(written_for):
    english, spanish = (json.loads((written_for[code] / "summary.json").read_text("utf-8")) for code in ("en", "es"))
    assert english["blocks"]["North"]["verdict_reasons"] == ["Pruning weight 2.0 lb per vine."]
    assert spanish["blocks"]["North"]["verdict_reasons"] == ["Peso de poda 0.90 kg por cepa."]
    assert english["blocks"]["North"]["remarks"][0]["key"] == "reading.left_out_not_bearing"
    assert len(english["cautions"]) == len(spanish["cautions"]) == len(caution_notes())


def test_a_block_without_a_number_has_nulls(tmp_path):
    out = write_plan(estate_of(replace(brief_without_number(**SMALL).plan, name="Frozen")), tmp_path / "out")
    summary = json.loads((out / "summary.json").read_text("utf-8"))["blocks"]["Frozen"]
    assert summary["buds_per_vine"] is None
    assert summary["buds_total"] is None
    assert [zone["buds_per_vine"] for zone in summary["zones"]] == [None, None]
    for layer in ("zones", "panels"):
        assert gpd.read_file(out / "prescription.gpkg", layer=layer)["buds_per_vine"].isna().all()
    vines = gpd.read_file(out / "prescription.gpkg", layer="vines")
    assert (vines["buds_per_vine"].isna() == vines["treatment"].isin(["number", "sick"])).all()
    assert (vines["treatment"] == "number").sum() > 100
    assert pd.read_csv(out / "prescription.csv")["buds_per_vine"].isna().all()


def test_hostile_text_stays_text(tmp_path):
    north, south = blocks()
    hostile = estate_of(with_text(north, HOSTILE, HOSTILE), with_text(south, HOSTILE, "../../x"))
    out = write_plan(hostile, tmp_path / "out")
    assert {p.name for p in tmp_path.iterdir()} == {"out"}
    line = pd.read_csv(out / "prescription.csv").iloc[0]
    assert line["block"].startswith("'=1+1")
    assert line["variety"].startswith("'=1+1")
    import zipfile

    with zipfile.ZipFile(out / "prescription.xlsx") as parts:
        sheets = [parts.read(n).decode() for n in parts.namelist() if n.startswith("xl/worksheets/")]
    assert sheets
    assert not any("<f>" in sheet or "<hyperlink" in sheet for sheet in sheets)
    for name in ("flags.gpx", "flags.kml"):
        tags = {element.tag.split("}")[1] for element in ET.parse(out / name).iter()}
        assert not tags & {"script", "img", "b"}
    assert gpd.read_file(out / "prescription.gpkg", layer="zones")["block"].iloc[0].startswith("=1+1</script>")


# What a spreadsheet takes for the start of a formula: OWASP Application Security Verification Standard 5.0, 1.2.10
@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "＝", "＋", "－", "＠"])
@pytest.mark.parametrize(
    "before",
    ["", "\x01", "\x00", " ", "\t", "\r", "\n", "\u200b", "\ufeff", "\u202e", "\u061c", "\xa0", "\u3000", "\u2066 \x1f"],
)
def test_no_text_begins_a_formula(before, sign):
    for said in (guard_text(f"{before}{sign}1+1"), guard_text(f"x;{before}{sign}1+1")):
        kept = re.sub(r"[\s\x00-\x1f\u061c\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]", "", said)
        assert kept.removeprefix("x;").startswith(f"'{sign}")


@pytest.mark.parametrize("text", ["row 3", "2 x 8", "a-b", "Peña", "one\ntwo", "", "1.5"])
def test_other_text_stays_as_it_is(text):
    assert guard_text(text) == text


def test_hidden_characters_are_left_out_of_every_table(tmp_path):
    hidden = "".join(map(chr, [*range(1, 9), 0x1B, 0x7F, 0x9B, 0x61C, *range(0x200B, 0x2010), *range(0x202A, 0x202F)]))
    hidden += "".join(map(chr, [*range(0x2060, 0x206A), 0xFEFF, 0xDCFF]))
    out = write_plan(estate_of(with_text(blocks()[0], f"{hidden}=1+1", "North")), tmp_path / "out")
    assert pd.read_csv(out / "prescription.csv")["variety"].tolist() == ["'=1+1"] * 2
    sheet = CalamineWorkbook.from_path(str(out / "prescription.xlsx")).get_sheet_by_name("zones").to_python()
    assert {line[sheet[0].index("variety")] for line in sheet[1:]} == {"=1+1"}
    assert set(gpd.read_file(out / "prescription.gpkg", layer="blocks")["variety"]) == {"=1+1"}
    text = (out / "summary.json").read_text("utf-8")
    assert not [sign for sign in hidden if sign in text]


def test_failure_leaves_nothing(tmp_path):
    north, south = blocks()
    broken = replace(south, surface_grid={**south.surface_grid, "vine_size_kg": np.zeros(3)})
    with pytest.raises(ValueError, match="unpack"):
        write_plan(estate_of(north, broken), tmp_path / "deep" / "out")
    assert list(tmp_path.iterdir()) == []


LIMITED = """
import pickle, resource, signal, sys
sys.dont_write_bytecode = True  # a compiled module cut short by the limit would be read by whoever comes next
from pathlib import Path
from geoprune.errors import OutputError
from geoprune.deliver.writing import write_plan
plan = pickle.loads(Path(sys.argv[1]).read_bytes())
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), int(sys.argv[3])))
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
try:
    write_plan(plan, Path(sys.argv[2]))
except OutputError as error:
    print("told:", error)
"""


@pytest.mark.parametrize("limit", [0, 20_000, 200_000])
def test_a_disk_that_takes_no_more_is_reported_and_leaves_nothing(tmp_path, limit):
    # a limit on the size of a file fails a write as a full disk does, at another place each time
    kept, out = tmp_path / "plan", tmp_path / "deep" / "out"
    kept.write_bytes(pickle.dumps(one_block()))
    command = [sys.executable, "-c", LIMITED, str(kept), str(out), str(limit)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.stdout.startswith(f"told: {out}: cannot be written: "), done.stderr
    assert list(tmp_path.iterdir()) == [kept]


def test_existing_folder_is_kept_without_force(tmp_path):
    (tmp_path / "out").mkdir()
    with pytest.raises(OutputError, match="exists already"):
        write_plan(one_block(), tmp_path / "out")
    with pytest.raises(OutputError, match="no summary"):
        write_plan(one_block(), tmp_path / "out", force=True)
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_force_replaces_results_that_are_as_they_were_written(results):
    out = results
    with sqlite3.connect(out / "prescription.gpkg") as base:  # a GIS that looks at it sets the journal and sets it back
        base.execute("PRAGMA journal_mode=WAL")
    base.close()
    with sqlite3.connect(out / "prescription.gpkg") as base:
        base.execute("PRAGMA journal_mode=DELETE")
    base.close()
    (out / "north" / "vine_size.tif.aux.xml").write_text("what a GIS leaves")
    write_plan(one_block("New"), out, force=True)
    assert list(json.loads((out / "summary.json").read_text())["blocks"]) == ["New"]
    assert not (out / "north").exists()


def edit_csv(out):
    with (out / "prescription.csv").open("a") as file:
        file.write("a line of mine")


def edit_layer(out):
    with sqlite3.connect(out / "prescription.gpkg") as base:
        base.execute("UPDATE layer_styles SET description = 'mine'")
    base.close()


def claim(out):
    """Add a file of one's own to the list of files, as one might by hand."""
    (out / "keep.txt").write_text("keep me")
    summary = json.loads((out / "summary.json").read_text())
    summary["files"].append("keep.txt")
    summary["digests"]["keep.txt"] = "0" * 64
    (out / "summary.json").write_text(json.dumps(summary))


def lead_out(out):
    """Put a link to a folder elsewhere in the place of one of ours."""
    (out.parent / "elsewhere").mkdir()
    (out.parent / "elsewhere" / "vine_size.tif").write_bytes(b"mine")
    shutil.rmtree(out / "north")
    (out / "north").symlink_to(out.parent / "elsewhere")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda out: (out / "my notes.txt").write_text("keep me"), "my notes.txt"),
        (lambda out: (out / "my folder").mkdir(), "my folder"),
        (lambda out: (out / "link").symlink_to(out), "link"),
        (lambda out: (out / "prescription.gpkg-wal").write_bytes(b"busy"), "a program has it open"),
        (edit_csv, "prescription.csv"),
        (edit_layer, "prescription.gpkg"),
        (claim, "keep.txt"),
        (lead_out, "north"),
    ],
)
def test_force_keeps_what_is_not_ours_or_was_changed(results, tmp_path, change, said):
    change(results)
    before = sorted(path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*"))
    with pytest.raises(OutputError, match=said):
        write_plan(one_block(), results, force=True)
    assert sorted(path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*")) == before


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            "[]",
            "{}",
            "5",
            "[" * 100_000,
            '{"program": "geoprune", "files": 5}',
            '{"program": "geoprune", "digests": []}',
        ),
        '{"program": "another", "digests": {}}',
    ],
)
def test_a_folder_whose_summary_is_not_ours_is_left_alone(tmp_path, text):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "summary.json").write_text(text)
    with pytest.raises(OutputError, match="left alone"):
        write_plan(one_block(), tmp_path / "out", force=True)
    assert (tmp_path / "out" / "summary.json").read_text() == text


def test_no_folder_is_made_that_nobody_asked_for(tmp_path):
    write_plan(one_block(), tmp_path / "passed" / ".." / "out")
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    with pytest.raises(OutputError, match="exists already"):
        write_plan(one_block(), tmp_path / "passed" / "..")
    (tmp_path / "link").symlink_to(tmp_path / "out" / "north")
    write_plan(one_block(), tmp_path / "link" / ".." / "beside")  # what lies above a link is above the place it names
    assert (tmp_path / "out" / "beside" / "summary.json").exists()


def test_failed_replacement_keeps_the_old_result(results, tmp_path):
    with pytest.raises(OutputError, match="twice"):
        write_plan(one_block("New"), results, beside={"prescription.csv": "x"}, force=True)
    assert list(json.loads((results / "summary.json").read_text())["blocks"]) == ["North"]
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("name", ["../x.html", "/x.html", "a\\b", "C:x", ""])
def test_a_text_outside_the_folder_is_refused(tmp_path, name):
    with pytest.raises(OutputError, match="inside"):
        write_plan(one_block(), tmp_path / "out", beside={name: "x"})
    assert list(tmp_path.iterdir()) == []


def test_block_folders_are_safe_and_unlike():
    names = ["Peña Alta", "pena alta", "../../x", "CON", "葡萄", "", "-", "a" * 90, "COM1"]
    folders = block_folders(names)
    assert folders["Peña Alta"] == "pena-alta"
    assert folders["pena alta"] == "pena-alta-2"
    assert folders["CON"] == "block-con"
    assert len(set(folders.values())) == len(names)
    assert all(set(f) <= set("abcdefghijklmnopqrstuvwxyz0123456789_-") and len(f) <= 46 for f in folders.values())


def test_one_block_without_vines_or_samples_is_written(tmp_path):
    block = replace(blocks()[0], name="Bare")
    block = replace(block, samples=block.samples.iloc[:0], replant_areas=block.replant_areas.iloc[:0], surface_grid=None)
    out = write_plan(estate_of(block), tmp_path / "out")
    empty = gpd.read_file(out / "prescription.gpkg", layer="replant_areas")
    assert list(empty.columns[:5]) == CONTRACT["replant_areas"]
