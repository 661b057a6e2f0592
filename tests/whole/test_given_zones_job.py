"""Zones given back by hand, covariates and paper: what is handed in beside the vineyard is used, and said."""

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from affine import Affine
from markupsafe import escape
from shapely import box
from small_jobs import DEMO, UTM, run, samples, square, summary

from geoprune.errors import Message
from geoprune.words import Reader, word_lists


def halves(**columns):
    """Two polygons over the square block, west and east."""
    return gpd.GeoDataFrame(
        {"zone": ["west", "east"], **columns},
        geometry=[box(619990, 4689990, 620030, 4690070), box(620030, 4689990, 620070, 4690070)],
        crs=UTM,
    )


def slope(count=60, **changed):
    """Samples that rise from west to east."""
    table = samples(count)
    return table.assign(pruning_weight_lb=(1.0 + 0.15 * table["row"] + 0.1 * (table["vine"] % 3)).round(2), **changed)


def test_polygons_are_judged_in_place_of_ours(tmp_path):
    halves().to_file(tmp_path / "z.gpkg", layer="mine", driver="GPKG")
    done = run(tmp_path, square(), slope(), "--zones-from", tmp_path / "z.gpkg")
    assert done.exit_code == 0, done.output
    block = summary(tmp_path)["blocks"]["A"]
    assert [zone["given_as"] for zone in block["zones"]] == ["west", "east"]
    assert block["zones"][0]["vine_size_kg"] < block["zones"][1]["vine_size_kg"]
    assert "The given 2 zones bring a vine" in done.stdout
    assert "z.gpkg" in [entry["name"] for entry in summary(tmp_path)["inputs"]]
    west = gpd.read_file(tmp_path / "out" / "prescription.gpkg", layer="panels").query("zone == 1")
    assert west.geometry.centroid.x.max() < 620035


def test_panels_given_back_unchanged_give_the_same_zones(tmp_path):
    first = run(tmp_path / "a", square(), slope())
    assert first.exit_code == 0
    before = summary(tmp_path / "a")["blocks"]["A"]
    assert before["verdict"] == "zone"
    back = tmp_path / "a" / "out" / "prescription.gpkg"
    again = run(tmp_path / "b", square(), slope(), "--zones-from", back)
    assert again.exit_code == 0, again.output
    after = summary(tmp_path / "b")["blocks"]["A"]
    assert [zone["vines"] for zone in after["zones"]] == [zone["vines"] for zone in before["zones"]]
    assert [zone["buds_per_vine"] for zone in after["zones"]] == [zone["buds_per_vine"] for zone in before["zones"]]


@pytest.mark.parametrize("language", ["en", "es"])
def test_zones_that_are_not_worth_it_stay_but_one_number_is_named_first(tmp_path, language):
    across = halves().assign(geometry=[box(619990, 4689990, 620070, 4690045), box(619990, 4690045, 620070, 4690070)])
    across.to_file(tmp_path / "z.gpkg", layer="mine", driver="GPKG")
    weights = slope()  # and a little from south to north, so that the zones across get two numbers
    weights["pruning_weight_lb"] = (weights["pruning_weight_lb"] + 0.02 * weights["vine"]).round(2)
    done = run(tmp_path, square(), weights, "--zones-from", tmp_path / "z.gpkg", "--lang", language)
    assert done.exit_code == 0, done.output
    block, out, words = summary(tmp_path)["blocks"]["A"], tmp_path / "out", word_lists()[language]
    assert len(block["zones"]) == 2
    assert block["merit"]["net_minutes"] < 0
    fields = {"zones": 2, "buds": block["buds_per_vine"]}
    verdict = Reader(language).say(Message("brief.verdict_given", fields))
    assert f"A: {verdict}" in " ".join(done.stdout.split())
    pages = {name: (out / block["folder"] / f"{name}.html").read_text("utf-8") for name in ("map", "report")}
    plain = pages["map"].split("<noscript>")[1].split("</noscript>")[0]
    assert verdict in plain
    assert f"<h2>{verdict}</h2>" in pages["report"]
    reasons, remarks = block["verdict_reasons"], [remark["text"] for remark in block["remarks"]]
    assert f"{block['merit']['marks']} {'marks' if language == 'en' else 'marcas'}" in reasons[0]
    assert any("22" in text for text in remarks)  # each row has a panel that the edge cuts: told as assumed
    for sentence in (verdict, *reasons, *remarks):
        assert pages["report"].count(escape(sentence)) == 1, sentence
    estate = (out / "index.html").read_text("utf-8").split("<noscript>")[1]
    counts = words["map"]["estate_verdict"].format(zoned=0, one=0), words["map"]["estate_verdict_given"].format(given=1)
    assert " ".join(counts) in estate


def test_a_boundary_moved_in_a_gis_makes_counts_benefit_and_sheets_anew(tmp_path):
    assert run(tmp_path / "a", square(), slope()).exit_code == 0
    before = summary(tmp_path / "a")["blocks"]["A"]
    panels = gpd.read_file(tmp_path / "a" / "out" / "prescription.gpkg", layer="panels")
    border = panels["row"].astype(int) < 1 + panels.loc[panels["zone"] > 1, "row"].astype(int).max() // 2
    edited = panels.assign(zone=panels["zone"].where(~(border & (panels["zone"] > 1)), 1))
    moved = int((edited["zone"] != panels["zone"]).sum())
    assert moved > 0
    edited.to_crs(4326).sample(frac=1, random_state=0).to_file(tmp_path / "edited.gpkg", layer="panels", driver="GPKG")
    done = run(tmp_path / "b", square(), slope(), "--zones-from", tmp_path / "edited.gpkg")
    assert done.exit_code == 0, done.output
    folder, after = tmp_path / "b" / "out", summary(tmp_path / "b")["blocks"]["A"]
    zoned = gpd.read_file(folder / "prescription.gpkg", layer="panels")
    assert zoned["zone"].tolist() == edited["zone"].tolist()
    said = {zone["zone"]: zone["buds_per_vine"] for zone in after["zones"]}
    assert zoned["buds_per_vine"].tolist() == zoned["zone"].map(said).tolist()
    misfit, loss = after["merit"]["zones_misfit"]["value"], after["merit"]["loss_against_proposed_buds"]["value"]
    assert loss == pytest.approx(misfit - before["merit"]["zones_misfit"]["value"], abs=1e-6)
    assert loss > 0.1
    assert f"They are {loss:.2f} buds per vine worse than the proposed zones" in done.stdout
    sheets = [(tmp_path / name / "out" / "a" / "crew_sheet.html").read_text() for name in "ab"]
    assert sheets[0] != sheets[1]
    flags = gpd.read_file(folder / "prescription.gpkg", layer="flags")
    starts = edited[edited["panel"] == 1].set_index("row")["zone"]
    first = flags[flags["after_vine"] == 0]
    assert len(first) == len(starts)
    assert first["high_zone"].tolist() == starts[first["row"]].tolist()
    assert first["low_zone"].isna().all()


@pytest.mark.parametrize(
    ("layer", "options", "said"),
    [
        (halves(), ("--zones-layer", "other"), "there is no layer 'other'"),
        (halves(), ("--zones-column", "name"), "no column 'name' with names of zones. Name one of its columns: zone"),
        (halves(), ("--zones-column", "geometry"), "no column 'geometry' with names of zones"),
        (halves().iloc[:0], (), "z.gpkg, layer mine: the layer is empty. Draw at least one zone"),
        (halves(block="B"), (), "no zone is of a known block (found: B)"),
        (halves().assign(geometry=halves().translate(5000)), (), None),
        (halves().assign(geometry=halves().translate(70)), (), None),  # only an edge in common
        (halves().assign(geometry=halves().translate(69.0)), (), None),  # a neighbour's, drawn 1 m over the border
    ],
)
def test_zones_that_do_not_fit(tmp_path, layer, options, said):
    layer.to_file(tmp_path / "z.gpkg", layer="mine", driver="GPKG")
    done = run(tmp_path, square(), samples(spread=0), "--zones-from", tmp_path / "z.gpkg", *options)
    if said is None:
        assert done.exit_code == 0
        assert "holds no zones for this block" in done.stderr
    else:
        assert (done.exit_code, said in done.stderr) == (1, True), done.stderr


def raster(path, values):
    profile = {"driver": "GTiff", "height": 20, "width": 20, "count": 1, "dtype": "float32", "crs": UTM}
    transform = Affine(5, 0, 619990, 0, -5, 4690080)
    with rasterio.open(path, "w", transform=transform, **profile) as file:
        file.write(values.astype("float32"), 1)


def test_a_covariate_that_tells_vine_size_is_kept_and_one_of_noise_is_not(tmp_path):
    raster(tmp_path / "east.tif", np.tile(np.arange(20.0), (20, 1)))
    raster(tmp_path / "noise.tif", np.random.default_rng(5).normal(size=(20, 20)))
    layers = [f"{name}={tmp_path / name}.tif" for name in ("east", "noise")]
    done = run(tmp_path, square(), slope(), "--covariate", layers[0], "--covariate", layers[1])
    assert done.exit_code == 0, done.output
    said = " ".join(done.stderr.split())
    assert "east is used" in said
    assert "noise is not used" in said
    names = {entry["name"] for entry in summary(tmp_path)["inputs"]}
    assert names == {"v.gpkg", "s.csv", "east.tif", "noise.tif"}


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("elevation", 2, "NAME=FILE"),
        ("=x.tif", 2, "NAME=FILE"),
        ("elevation=not-there.tif", 2, "there is no file 'not-there.tif'"),
        (f"elevation={DEMO / 'elevation.tif'}", 1, "does not reach the blocks"),
    ],
)
def test_covariates_that_cannot_be_used(tmp_path, text, code, said):
    done = run(tmp_path, square(), samples(spread=0), "--covariate", text)
    assert (done.exit_code, said in done.stderr) == (code, True), done.stderr
    assert "Traceback" not in done.stderr


def test_paper_is_handed_to_the_sheets(tmp_path):
    sizes = {}
    for paper in ("letter", "a4"):
        assert run(tmp_path / paper, square(), samples(spread=0), "--paper", paper).exit_code == 0
        sizes[paper] = (tmp_path / paper / "out" / "a" / "crew_sheet.pdf").read_bytes()
    # ISO 216: A4 is 210 x 297 mm = 595.28 x 841.89 pt; ANSI/ASME Y14.1: Letter is 8.5 x 11 in = 612 x 792 pt
    assert b"841.88" in sizes["a4"] or b"841.89" in sizes["a4"]
    assert b"792" in sizes["letter"]


def test_the_only_column_of_text_names_the_zones_everywhere(tmp_path):
    halves(place=["Gravel bank", "Frost hollow"], area=[1.5, 2.5]).drop(columns="zone").to_file(
        tmp_path / "z.gpkg", driver="GPKG"
    )
    done = run(tmp_path, square(), slope(), "--zones-from", tmp_path / "z.gpkg")
    assert done.exit_code == 0, done.output
    assert done.stderr.count("named by the column place") == 1  # an assumption: told with the remarks, and no reason
    assert "named by" not in done.stdout
    assert "Gravel bank" in done.stdout
    for name in ("map.html", "crew_sheet.html", "crew_card.html", "report.html"):
        page = (tmp_path / "out" / "a" / name).read_text("utf-8")
        assert "Gravel bank" in page, name
        assert "Frost hollow" in page, name


def test_two_columns_of_text_name_nothing(tmp_path):
    halves(place=["a", "b"], soil=["c", "d"]).drop(columns="zone").to_file(tmp_path / "z.gpkg", driver="GPKG")
    done = run(tmp_path, square(), slope(), "--zones-from", tmp_path / "z.gpkg")
    assert done.exit_code == 0, done.output
    assert "named by" not in done.output
    assert "small vines" in done.stdout
