"""The same invented vineyard in every format, CRS and spelling gives the same plan input."""

from __future__ import annotations

import json
import time
import unicodedata
import zipfile

import geopandas as gpd
import invented_vineyard as iv
import numpy as np
import pandas as pd
import pyogrio
import pytest
from pyproj import Geod
from shapely import MultiPoint, Polygon, affinity

from geoprune import build_trellis, place_samples, read_vineyard
from geoprune.layers import Vineyard

SHORT = {"row_spacing_m": "row_sp_m", "vine_spacing_m": "vine_sp_m", "vines_per_panel": "vines_per_"}


def placed(vineyard: Vineyard) -> gpd.GeoDataFrame:
    return place_samples(vineyard.samples, build_trellis(vineyard, "A"))


def same_as_reference(vineyard: Vineyard) -> None:
    expected = iv.samples()
    table = placed(vineyard)
    assert table["row"].astype(int).tolist() == expected["row"].tolist()
    assert table["vine"].tolist() == expected["vine"].tolist()
    np.testing.assert_allclose(table["vine_weight_kg"], expected["pruning_weight_kg"], rtol=1e-12)
    assert table["used"].all()
    assert vineyard.crs.axis_info[0].unit_name == "metre"
    block = vineyard.blocks.iloc[0]
    assert (block["variety"], block["planted"], block["vines_per_panel"]) == ("Concord", 2001, 4)
    np.testing.assert_allclose(block[["row_spacing_m", "vine_spacing_m"]].astype(float), [iv.ROW_M, iv.VINE_M], rtol=1e-9)
    assert len(build_trellis(vineyard, "A").rows) == 20


# NAD83 / New York West in US survey feet; UTM in international feet; Web Mercator, which is never measured in
@pytest.mark.parametrize(
    "crs", ["EPSG:32617", "EPSG:4326", "EPSG:4269", "EPSG:2262", "+proj=utm +zone=17 +datum=WGS84 +units=ft", "EPSG:3857"]
)
def test_any_declared_crs(tmp_path, crs):
    path, _ = iv.write(tmp_path, crs=crs, samples=iv.located(32617))
    same_as_reference(read_vineyard(path))


@pytest.mark.parametrize(
    ("given", "layers"), [(None, 32617), ("EPSG:3857", 32617), ("EPSG:4326", 32617), ("EPSG:26917", 26917)]
)
def test_layers_are_for_the_map_of_the_file_or_utm(tmp_path, given, layers):
    path, weights = iv.write(tmp_path, crs=given)
    assert read_vineyard(path, samples=weights).layers_crs.to_epsg() == layers


def test_area_in_the_work_crs_against_the_ellipsoid(tmp_path):
    # lengths are true within 1e-4: areas agree within 2e-4 with pyproj's geodesic area (Karney 2013)
    path, weights = iv.write(tmp_path, crs="EPSG:2262")
    blocks = read_vineyard(path, samples=weights).blocks
    geodesic = abs(Geod(ellps="WGS84").geometry_area_perimeter(blocks.to_crs(4326).geometry.iloc[0])[0])
    assert blocks.area.iloc[0] == pytest.approx(geodesic, rel=2e-4)
    assert geodesic == pytest.approx(iv.SIDE_M**2, rel=2e-3)


def layers() -> dict[str, gpd.GeoDataFrame]:
    return {"blocks": iv.blocks().to_crs(4326), "rows": iv.rows().to_crs(4326), "samples": iv.located()}


def test_geojson_with_a_property_layer(tmp_path):
    features = []
    for name, table in layers().items():
        for feature in json.loads(table.to_json())["features"]:
            features.append({**feature, "properties": {**feature["properties"], "layer": name}})
    path = tmp_path / "v.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    same_as_reference(read_vineyard(path))
    features.append({**features[0], "properties": {"layer": None}})
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    said = read_vineyard(path)
    same_as_reference(said)
    assert [(r.kind, r.message.fields) for r in said.remarks if r.message.key == "reading.without_layer"] == [
        ("dropped", {"count": 1})
    ]


def test_a_vine_number_without_a_row_is_reported(tmp_path):
    vineyard, weights = iv.write(tmp_path, iv.lonlat(vine=7))
    said = read_vineyard(vineyard, samples=weights)
    assert "reading.vine_without_row" in {remark.message.key for remark in said.remarks}


def test_a_zip_of_geojson_files(tmp_path):
    with zipfile.ZipFile(tmp_path / "v.zip", "w") as archive:
        for name, table in layers().items():
            archive.writestr(f"farm/{name}.geojson", table.to_json())
    same_as_reference(read_vineyard(tmp_path / "v.zip"))


@pytest.mark.parametrize(
    "names", [SHORT, {name: name[:10] for name in SHORT}], ids=["short names", "names cut to ten letters"]
)
def test_zipped_shapefiles(tmp_path, names):
    folder = tmp_path / "shapes"
    folder.mkdir()
    weight = {"pruning_weight_kg": "prun_kg"}
    for name, table in layers().items():
        table.rename(columns=names | weight).to_file(folder / f"{name}.shp", engine="pyogrio")
    if names != SHORT:  # row_spacing_m and row_spacing_ft are cut alike: the unit is lost, so short names are needed
        with pytest.raises(ValueError, match="no unit is known for row_spacing"):
            read_vineyard(zipped(folder, tmp_path / "v.zip"))
    else:
        same_as_reference(read_vineyard(zipped(folder, tmp_path / "v.zip")))


def zipped(folder, target):
    with zipfile.ZipFile(target, "w") as archive:
        for file in sorted(folder.iterdir()):
            archive.write(file, file.name)
    return target


def kml_text() -> str:
    parts = []
    for name, table in layers().items():
        marks = []
        for feature in json.loads(table.to_json())["features"]:
            said = dict(feature["properties"])
            title = said.pop({"blocks": "block", "rows": "row"}.get(name, "none"), "")
            data = "".join(f'<Data name="{k}"><value>{v}</value></Data>' for k, v in said.items())
            marks.append(
                f"<Placemark><name>{title}</name><ExtendedData>{data}</ExtendedData>{shape(feature['geometry'])}</Placemark>"
            )
        parts.append(f"<Folder><name>{name}</name>{''.join(marks)}</Folder>")
    return f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{"".join(parts)}</Document></kml>'


def shape(geometry: dict) -> str:
    def said(places):
        return "<coordinates>" + " ".join(f"{x!r},{y!r},0" for x, y in places) + "</coordinates>"

    if geometry["type"] == "Polygon":
        ring = said(geometry["coordinates"][0])
        return f"<Polygon><outerBoundaryIs><LinearRing>{ring}</LinearRing></outerBoundaryIs></Polygon>"
    if geometry["type"] == "LineString":
        return f"<LineString>{said(geometry['coordinates'])}</LineString>"
    return f"<Point>{said([geometry['coordinates']])}</Point>"


def test_kml_folders_are_layers_and_placemark_names_are_names(tmp_path):
    (tmp_path / "v.kml").write_text(kml_text())
    same_as_reference(read_vineyard(tmp_path / "v.kml"))


def test_kmz(tmp_path):
    with zipfile.ZipFile(tmp_path / "v.kmz", "w") as archive:
        archive.writestr("doc.kml", kml_text())
    same_as_reference(read_vineyard(tmp_path / "v.kmz"))


def test_a_file_with_one_layer_of_polygons_is_taken_as_blocks(tmp_path):
    iv.blocks(row_bearing_deg=0.0).to_file(tmp_path / "v.gpkg", layer="my fields", driver="GPKG")
    vineyard = read_vineyard(tmp_path / "v.gpkg", samples=iv.write(tmp_path)[1])
    said = {remark.message.key: remark.message.fields for remark in vineyard.remarks}
    assert said["reading.only_layer_as_blocks"] == {"layer": "my fields"}
    assert said["reading.rows_laid_out"]["rows"] == 37


def test_names_of_layers_and_columns_in_capitals_and_with_spaces(tmp_path):
    path = tmp_path / "v.gpkg"
    table = iv.blocks().rename(columns=lambda c: c if c == "geometry" else c.upper().replace("_", " "))
    table.to_file(path, layer="Blocks", driver="GPKG")
    iv.rows().rename(columns={"row": " Row"}).to_file(path, layer="ROWS", driver="GPKG")
    iv.located(32617).to_file(path, layer="samples", driver="GPKG")
    same_as_reference(read_vineyard(path))


# Tables of samples


def csv_text(separator=",", mark=".") -> str:
    lines = [separator.join(("Row", "VINE ", " Pruning weight-kg"))]
    lines += [
        separator.join((str(s.row), str(s.vine), f"{s.pruning_weight_kg}".replace(".", mark)))
        for s in iv.samples().itertuples()
    ]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(
    "data",
    [
        csv_text().encode(),
        csv_text().encode("utf-8-sig"),
        csv_text().replace("\n", "\r\n").encode(),
        csv_text(";", ",").encode("utf-8-sig"),
        csv_text(";").encode(),
        csv_text("\t", ",").encode("utf-16"),
        b"\n" + csv_text().replace("\n", "\n,,\n").encode(),
    ],
    ids=["plain", "mark", "windows", "semicolon, comma", "semicolon, point", "tab, utf-16", "empty lines"],
)
def test_csv_however_it_was_saved(tmp_path, data):
    path, _ = iv.write(tmp_path)
    (tmp_path / "weights.csv").write_bytes(data)
    same_as_reference(read_vineyard(path, samples=tmp_path / "weights.csv"))


def test_line_numbers_are_those_of_the_file(tmp_path):
    path, weights = iv.write(tmp_path, "row,vine,pruning_weight_kg,note\n\n" + '1,1,1.0,"two\nlines"\n' * 5 + "99,1,1.0,\n")
    with pytest.raises(ValueError, match=r"line 13: unknown row '99'"):
        read_vineyard(path, samples=weights)


def test_western_text_is_read_and_said(tmp_path):
    path, weights = iv.write(tmp_path, iv.samples(note="caña gruesa").to_csv(index=False).encode("latin-1"))
    vineyard = read_vineyard(path, samples=weights)
    assert set(vineyard.samples["note"]) == {"caña gruesa"}
    assert [r.message.fields for r in vineyard.remarks if r.message.key == "reading.western_encoding"] == [
        {"file": "weights.csv"}
    ]


def test_a_comma_in_a_number_of_a_comma_separated_file_is_not_guessed(tmp_path):
    path, weights = iv.write(tmp_path, 'row,vine,pruning_weight_kg\n1,1,"1,250"\n' + "2,2,1.0\n" * 6)
    with pytest.raises(ValueError, match="line 2: pruning_weight_kg '1,250' is not a number"):
        read_vineyard(path, samples=weights)


@pytest.mark.parametrize(
    ("weights_g", "unclear"),
    [
        (["9,234", "980", "750"], ["9,234"]),  # a thousand, or one and a bit
        (["9,234", "980,5", "750"], []),  # another value has a decimal comma
        (["9.234", "980,5", "750"], ["9.234"]),  # a point beside a decimal comma may part thousands
        (["1234,567", "980", "750"], []),
    ],
)
def test_a_mark_that_may_part_thousands_is_not_guessed(tmp_path, weights_g, unclear):
    lines = [f"{n + 1};2;{weight}" for n, weight in enumerate([*weights_g, "800", "900", "700"])]
    path, weights = iv.write(tmp_path, "row;vine;pruning_weight_g\n" + "\n".join(lines) + "\n")
    if not unclear:
        first = read_vineyard(path, samples=weights).samples["pruning_weight_kg"].iloc[0]
        assert first == pytest.approx(float(weights_g[0].replace(",", ".")) / 1000)
        return
    words = f"line 2: pruning_weight_g '{unclear[0]}' may have a decimal mark or one for thousands"
    with pytest.raises(ValueError, match=words) as caught:
        read_vineyard(path, samples=weights)
    assert len(caught.value.problems) == 1


def test_names_typed_with_marks_apart_are_the_same_names(tmp_path):
    # Unicode Standard Annex 15: canonically equivalent texts have one normal form C
    whole, apart = "Peña", unicodedata.normalize("NFD", "Peña")
    assert whole != apart
    blocks, rows = iv.blocks(block=whole), iv.rows(block=apart)
    rows.loc[0, "row"] = unicodedata.normalize("NFD", "1 niño")
    table = iv.samples(12).assign(block=apart, row=["1 NIÑO", *range(2, 13)])
    path, weights = iv.write(tmp_path, table, blocks=blocks, rows=rows)
    vineyard = read_vineyard(path, samples=weights)
    assert set(vineyard.samples["block"]) == set(vineyard.rows["block"]) == {whole}
    assert vineyard.samples["row"].iloc[0] == vineyard.rows["row"].iloc[0] == "1 niño"


def test_xlsx(tmp_path):
    path, _ = iv.write(tmp_path)
    with pd.ExcelWriter(tmp_path / "w.xlsx", engine="xlsxwriter") as book:
        pd.DataFrame({"about": ["these weights are invented"]}).to_excel(book, sheet_name="Notes", index=False)
        table = iv.samples(date=pd.Timestamp("2026-02-19"), note="a")
        table.to_excel(book, sheet_name="Samples", index=False, startrow=2)
    vineyard = read_vineyard(path, samples=tmp_path / "w.xlsx")
    same_as_reference(vineyard)
    assert vineyard.samples["date"].iloc[0] == "2026-02-19"
    assert vineyard.samples["source_place"].iloc[0] == "line 4"


def test_a_workbook_with_numbers_as_text_and_decimal_commas(tmp_path):
    table = iv.samples().assign(pruning_weight_kg=lambda t: t["pruning_weight_kg"].astype(str).str.replace(".", ","))
    table.to_excel(tmp_path / "w.xlsx", engine="xlsxwriter", index=False)
    read = read_vineyard(iv.write(tmp_path)[0], samples=tmp_path / "w.xlsx").samples
    np.testing.assert_allclose(read["pruning_weight_kg"], iv.samples()["pruning_weight_kg"])


def test_samples_from_a_file_of_points(tmp_path):
    path, _ = iv.write(tmp_path)
    iv.located().to_file(tmp_path / "weighed.geojson", driver="GeoJSON")
    same_as_reference(read_vineyard(path, samples=tmp_path / "weighed.geojson"))


def test_points_saved_as_multipoints_of_one_are_points(tmp_path):
    points = iv.located(32617)
    several = points.set_geometry(gpd.GeoSeries([MultiPoint([point]) for point in points.geometry], crs=points.crs))
    same_as_reference(read_vineyard(iv.write(tmp_path, samples=several)[0]))


def test_a_table_of_very_many_columns_is_read_at_once(tmp_path):
    path, weights = iv.write(tmp_path, iv.samples().assign(**{f"c{n}": "" for n in range(5000)}))
    begun = time.process_time()
    same_as_reference(read_vineyard(path, samples=weights))
    assert time.process_time() - begun < 5


def test_places_as_lon_lat_or_easting_northing(tmp_path):
    path, weights = iv.write(tmp_path, iv.lonlat())
    same_as_reference(read_vineyard(path, samples=weights))
    feet = iv.located("EPSG:2262")
    table = pd.DataFrame(
        {"easting": feet.geometry.x, "northing": feet.geometry.y, "pruning_weight_kg": feet["pruning_weight_kg"]}
    )
    table.to_csv(weights, index=False)
    same_as_reference(read_vineyard(path, samples=weights, crs="EPSG:2262"))


@pytest.mark.parametrize(("suffix", "per_kg"), [("kg", 1.0), ("g", 1000.0), ("lb", 1 / 0.45359237), ("oz", 16 / 0.45359237)])
def test_weights_in_every_unit(tmp_path, suffix, per_kg):
    # 1 lb = 0.45359237 kg exactly (international yard and pound agreement, 1959); 16 oz to the pound
    table = iv.samples()
    table[f"pruning_weight_{suffix}"] = table.pop("pruning_weight_kg") * per_kg
    same_as_reference(read_vineyard(*iv.write(tmp_path)[:1], samples=iv.write(tmp_path, table)[1]))


def test_all_optional_columns_are_kept(tmp_path):
    said = {"vines_weighed": 1, "canes": 14, "bull_canes": 3, "cane_diameter_in": 0.4, "internode_in": 3.0}
    said |= {"season": 2026, "date": "2026-02-19", "note": " shade "}
    checks = gpd.GeoDataFrame(
        {"block": ["A"], "buds_cut": 30, "primary_dead": 4, "secondary_dead": 1, "date": "2026-02-10"},
        geometry=[iv.vine_point(3, 3)],
        crs=iv.CRS,
    )
    path, weights = iv.write(tmp_path, iv.samples(**said), bud_checks=checks)
    vineyard = read_vineyard(path, samples=weights)
    first = vineyard.samples.iloc[0]
    assert (first["canes"], first["bull_canes"], first["season"]) == (14, 3, 2026)
    assert (first["date"], first["note"], first["source_row"]) == ("2026-02-19", "shade", 2)
    assert first["cane_diameter_mm"] == pytest.approx(10.16)
    assert first["internode_mm"] == pytest.approx(76.2)
    check = vineyard.bud_checks.iloc[0]
    assert (check["buds_cut"], check["primary_dead"], check["secondary_dead"], check["date"]) == (30, 4, 1, "2026-02-10")
    back = vineyard.bud_checks.to_crs(iv.CRS).geometry.iloc[0]
    assert back.equals_exact(iv.vine_point(3, 3), 1e-6)


def test_what_was_not_told_is_missing_and_visible(tmp_path):
    path, weights = iv.write(tmp_path, blocks=iv.blocks(planted=None, vines_per_panel=None))
    vineyard = read_vineyard(path, samples=weights)
    assert vineyard.samples[["canes", "bull_canes", "cane_diameter_mm", "internode_mm", "season"]].isna().all(axis=None)
    assert vineyard.samples[["date", "note"]].eq("").all(axis=None)
    assert vineyard.blocks[["planted", "vines_per_panel", "row_bearing_deg"]].isna().all(axis=None)
    assert vineyard.bud_checks is None


# Names and remarks


def test_row_and_block_names_in_another_spelling(tmp_path):
    rows = iv.rows().assign(row=lambda t: "B" + t["row"])
    table = iv.samples(block="a").assign(row=lambda t: "b" + t["row"].astype(str))
    path, weights = iv.write(tmp_path, table, rows=rows)
    assert read_vineyard(path, samples=weights).samples["row"].iloc[0] == "B1"


def test_row_names_as_numbers_and_as_text_are_the_same(tmp_path):
    rows = iv.rows().assign(row=lambda t: t["row"].astype(float))
    path, weights = iv.write(tmp_path, iv.samples().assign(row=lambda t: t["row"].astype(str)), rows=rows)
    same_as_reference(read_vineyard(path, samples=weights))


def keys(vineyard: Vineyard) -> set[str]:
    return {remark.message.key for remark in vineyard.remarks}


def test_doubtful_things_are_said(tmp_path):
    over = iv.blocks(block="B", row_bearing_deg=0.0)
    over["geometry"] = [affinity.translate(over.geometry.iloc[0], 50)]
    both = pd.concat([iv.blocks(row_spacing_m=1.5), over], ignore_index=True)
    table = pd.concat([iv.samples(block="A"), iv.samples(1, block="A", season=2026)])
    table = pd.concat([table, iv.samples(8, block="B")])
    path, weights = iv.write(tmp_path, table, blocks=both)
    said = keys(read_vineyard(path, samples=weights))
    assert said == {
        "reading.bearing_on_grid",
        "reading.row_spacing_differs",
        "reading.blocks_overlap",
        "reading.rows_laid_out",
    }


def test_a_clean_vineyard_says_nothing(tmp_path):
    path, weights = iv.write(tmp_path)
    assert read_vineyard(path, samples=weights).remarks == ()


def test_remarks_can_be_reported_in_every_language():
    import tomllib
    from importlib.resources import files

    said = {
        name: tomllib.loads(files("geoprune.words").joinpath(name, "reading.toml").read_text("utf-8"))
        for name in ("en", "es")
    }
    assert said["en"].keys() == said["es"].keys()
    fields = [
        {key: sorted(part.split("}")[0] for part in text.split("{")[1:]) for key, text in words.items()}
        for words in said.values()
    ]
    assert fields[0] == fields[1]


def test_samples_in_a_geopackage_may_be_a_plain_table(tmp_path):
    vineyard, weights = iv.write(tmp_path)
    pyogrio.write_dataframe(iv.samples(), vineyard, layer="samples", append=True)
    inside, beside = read_vineyard(vineyard).samples, read_vineyard(vineyard, samples=weights).samples
    assert inside["vine_weight_kg"].tolist() == beside["vine_weight_kg"].tolist()
    assert inside[["row", "vine"]].to_numpy().tolist() == beside[["row", "vine"]].to_numpy().tolist()


@pytest.mark.parametrize("epsg", [4326, 32617, 32618, 2262])
def test_a_bearing_is_told_from_true_north_in_every_crs(tmp_path, epsg):
    # an outline whose long sides lie 20 degrees east of true north on the ellipsoid (Geod.fwd)
    geod, corners = Geod(ellps="GRS80"), [(-79.5, 42.4)]
    for azimuth, metres in ((20.0, 200.0), (110.0, 90.0), (200.0, 200.0)):
        lon, lat, _ = geod.fwd(*corners[-1], azimuth, metres)
        corners.append((lon, lat))
    blocks = iv.blocks(row_bearing_deg=26.0).set_geometry(gpd.GeoSeries([Polygon(corners)], crs=4326)).to_crs(epsg)
    path, weights = iv.write(tmp_path, iv.samples(20).assign(row=5 + np.arange(20) % 9, vine=5), blocks=blocks, rows=None)
    said = read_vineyard(path, samples=weights)
    line = build_trellis(said, "A").rows.to_crs(4326).geometry.iloc[15]
    azimuth, _, _ = geod.inv(*line.coords[0], *line.coords[-1])
    assert azimuth == pytest.approx(26.0, abs=0.02)


def test_a_bearing_read_off_the_grid_is_known_by_the_outlines_side(tmp_path):
    # at 79.5 W the grid of UTM zone 17 stands 1.0 degree east of true north
    west, south = 623_500.0, 4_695_000.0
    table = iv.blocks(row_bearing_deg=0.0).set_geometry(gpd.GeoSeries([iv.square(west, south)], crs=32617))
    path, weights = iv.write(tmp_path, iv.samples(20).assign(row=5 + np.arange(20) % 9, vine=5), blocks=table, rows=None)
    shown = read_vineyard(path, samples=weights)
    line = build_trellis(shown, "A").rows.to_crs(32617).geometry.iloc[15]
    assert line.coords[-1][0] == pytest.approx(line.coords[0][0], abs=0.01)
    (said,) = (r.message.fields for r in shown.remarks if r.message.key == "reading.bearing_on_grid")
    assert said["degrees"] == pytest.approx(1.0, abs=0.1)
