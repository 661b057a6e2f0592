"""Invented growers: each with files, words, units and faults of their own. Nothing here is anyone's vineyard.

Weights follow a slope over the block with noise, so that every one ends in a plan. `answers` are what the grower says when
asked what nobody else can know: a piece of the question's key -> a piece of the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import LineString, Point, Polygon, affinity, box

FT = 0.3048


@dataclass(frozen=True)
class Grower:
    """A grower: how the files are written, what only they can answer, and what must come out."""

    name: str
    where: str
    write: Callable[[Path], tuple[Path, Path | None]]
    training: str
    spacing_m: tuple[float, float]
    answers: Mapping[str, str] = field(default_factory=dict)
    blocks: int = 1
    bearing_deg: float | None = None


def outline(
    epsg: int, east: float, north: float, turn_deg: float = 0.0, width: float = 60.0, length: float = 90.0
) -> Polygon:
    """A block whose long sides lie `turn_deg` clockwise from the grid's north."""
    return affinity.rotate(box(east, north, east + width, north + length), -turn_deg, origin="center")


def inside(block: Polygon, count: int, seed: int) -> list[Point]:
    rng = np.random.default_rng(seed)
    west, south, east, north = block.bounds
    points: list[Point] = []
    while len(points) < count:
        point = Point(rng.uniform(west, east), rng.uniform(south, north))
        if block.buffer(-3).contains(point):
            points.append(point)
    return points


def grams(count: int, mean: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.round(mean * (1 + 0.3 * np.sin(np.arange(count) / 4) + rng.normal(0, 0.08, count)))


def comma(values, digits: int = 1) -> list[str]:
    return [f"{value:.{digits}f}".replace(".", ",") for value in values]


def by_number(count: int, rows: int, vines: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    places = rng.choice(rows * vines, count, replace=False)
    return 1 + places // vines, 1 + places % vines


def rows_of(block: Polygon, spacing_m: float, margin_m: float = 1.5) -> list[LineString]:
    """Rows along the grid's north, drawn from the south end."""
    west, south, east, north = block.bounds
    return [LineString([(x, south + margin_m), (x, north - margin_m)]) for x in np.arange(west + 2, east - 1, spacing_m)]


# South America


def spanish_geojson(folder: Path) -> tuple[Path, Path]:
    """Mendoza: GeoJSON of blocks, both spacings in one cell, no rows, weights from a phone with decimal commas."""
    block = outline(32719, 510_000, 6_340_000, 22)
    said = {
        "Nombre": ["Cuartel 7"],
        "Cultivar": ["Malbec"],
        "Marco de plantación": ["2,5 x 1,2"],
        "Conducción": ["Espaldera"],
    }
    table = gpd.GeoDataFrame(said | {"Año plantación": [2008]}, geometry=[block], crs=32719).to_crs(4326)
    table.to_file(folder / "finca.geojson", driver="GeoJSON")
    places = gpd.GeoSeries(inside(block, 45, 1), crs=32719).to_crs(4326)
    weights = {"Latitud": comma(places.y, 6), "Longitud": comma(places.x, 6), "Peso de poda (g)": grams(45, 620, 1)}
    pd.DataFrame(weights | {"Observaciones": ""}).to_excel(folder / "pesos.xlsx", index=False, engine="xlsxwriter")
    return folder / "finca.geojson", folder / "pesos.xlsx"


def chilean_parron(folder: Path) -> tuple[Path, Path]:
    """Maule: two blocks on parrón, CSV with semicolons and kilos, row and vine numbers from the west."""
    first, second = outline(32719, 270_000, 6_060_000), outline(32719, 270_080, 6_060_000)
    said = {"cuartel": ["Bajo", "Alto"], "variedad": "Moscatel", "sistema": "Parrón", "entre hileras (m)": 3.5}
    said |= {"sobre hilera (m)": 2.5, "fórmula": "20+20"}
    gpd.GeoDataFrame(said, geometry=[first, second], crs=32719).to_file(folder / "campo.gpkg", layer="campo", driver="GPKG")
    tables = []
    for seed, name in enumerate(said["cuartel"]):
        row, vine = by_number(18, 10, 20, seed)
        tables.append(
            pd.DataFrame({"Cuartel": name, "N° hilera": row, "N° planta": vine, "kilos de poda": grams(18, 1900, seed)})
        )
    table = pd.concat(tables)
    table["kilos de poda"] = comma(table["kilos de poda"] / 1000, 2)
    table.to_csv(folder / "poda.csv", sep=";", index=False, encoding="cp1252")
    return folder / "campo.gpkg", folder / "poda.csv"


def uruguayan_lyre(folder: Path) -> tuple[Path, Path]:
    """Canelones: lyre, layers with Spanish names, gaps listed, rows drawn, samples as a layer of the same file."""
    block = outline(32721, 580_000, 6_160_000)
    lines = rows_of(block, 3.2)
    said = {"Cuadro": ["La Loma"], "Cepaje": ["Tannat"], "Conducción": ["Lira"], "Entre filas (m)": [3.2]}
    said |= {"Entre plantas (m)": [1.25], "Regla de poda": ["20+20"]}
    path = folder / "vina.gpkg"
    gpd.GeoDataFrame(said, geometry=[block], crs=32721).to_file(path, layer="Cuadros y parcelas", driver="GPKG")
    names = [f"F{n}" for n in range(1, len(lines) + 1)]
    gpd.GeoDataFrame({"Fila": names}, geometry=lines, crs=32721).to_file(path, layer="Filas", driver="GPKG")
    gaps = {"fila": ["F3", "F3", "F7"], "planta": [5, 6, 20], "estado": ["Falta", "Muerta", "enferma"]}
    places = [lines[2].interpolate(6.0), lines[2].interpolate(7.2), lines[6].interpolate(25.0)]
    gpd.GeoDataFrame(gaps, geometry=places, crs=32721).to_file(path, layer="Plantas", driver="GPKG")
    row, vine = by_number(24, len(lines), 40, 5)
    points = [lines[r - 1].interpolate((v - 0.5) * 1.25) for r, v in zip(row, vine, strict=True)]
    weighed = {"fila": [f"f{n}" for n in row], "planta": vine, "peso (gramos)": grams(24, 800, 5)}
    gpd.GeoDataFrame(weighed, geometry=points, crs=32721).to_file(path, layer="Pesos 2026", driver="GPKG")
    return path, None


def cuyo_parral(folder: Path) -> tuple[Path, Path]:
    """Mendoza: a parral on the national grid, "2,5 x 2,5" without a unit, grams with a point for thousands."""
    block = outline(5344, 2_530_000, 6_330_000, 80)
    said = {"CUARTEL": ["12"], "VARIEDAD": ["Bonarda"], "CONDUCCION": ["parral"], "MARCO": ["2,5 x 2,5"], "SUP_HA": [0.54]}
    table = gpd.GeoDataFrame(said, geometry=[block], crs=5344)
    table.to_file(folder / "finca.gpkg", layer="cuarteles", driver="GPKG")
    row, vine = by_number(30, 23, 34, 21)
    table = pd.DataFrame({"hilera": row, "planta": vine, "peso de poda (g)": grams(30, 1500, 21), "pesó": "Ana"})
    table["peso de poda (g)"] = [
        f"{weight:,.1f}".replace(",", "_").replace(".", ",").replace("_", ".") for weight in table["peso de poda (g)"]
    ]
    table.to_csv(folder / "pesos.csv", sep=";", index=False, encoding="cp1252")
    return folder / "finca.gpkg", folder / "pesos.csv"


# North America


def lake_erie_feet(folder: Path) -> tuple[Path, Path]:
    """New York: state grid in feet, pounds, rows painted B1, B2 ..., no rule told: Concord has one."""
    block = outline(32617, 620_000, 4_690_000)
    lines = rows_of(block, 9 * FT)
    said = {"Field": ["Creek Bend"], "Grape": ["Concord"], "System": ["Umbrella Kniffin"], "Row width (ft)": [9.0]}
    blocks = gpd.GeoDataFrame(said | {"Vine spacing ft": [8.0], "Year planted": [1988]}, geometry=[block], crs=32617)
    rows = gpd.GeoDataFrame({"Row no": [f"B{n}" for n in range(1, len(lines) + 1)]}, geometry=lines, crs=32617)
    blocks.to_crs(2262).to_file(folder / "farm.gpkg", layer="blocks", driver="GPKG")
    rows.to_crs(2262).to_file(folder / "farm.gpkg", layer="rows", driver="GPKG")
    row, vine = by_number(30, len(lines), 22, 7)
    table = pd.DataFrame(
        {"Row #": [f"B{n}" for n in row], "Vine #": vine, "Prunings lbs": (grams(30, 1100, 7) / 453.6).round(1)}
    )
    table.assign(Cane_count=18, Notes="").to_csv(folder / "weights.csv", index=False)
    return folder / "farm.gpkg", folder / "weights.csv"


def oregon_xy(folder: Path) -> tuple[Path, Path]:
    """Oregon: VSP without a word on canes or spurs, X and Y in degrees, rows along the short sides as the samples show."""
    block = outline(32610, 490_000, 5_020_000, 0, width=90, length=55)
    said = {"Block Name": ["Hill"], "Variety": ["Pinot noir"], "Trellis": ["VSP"], "Row spacing [ft]": [7.0]}
    table = gpd.GeoDataFrame(said | {"In-row spacing [ft]": [5.0], "Rule": ["20+20"]}, geometry=[block], crs=32610)
    table.to_crs(4326).to_file(folder / "hill.geojson", driver="GeoJSON")
    rng = np.random.default_rng(8)
    lines = rows_of(block, 7 * FT)
    kept = rng.choice(len(lines), 8, replace=False)
    points = [lines[r].interpolate(d) for r in kept for d in (6.0, 26.0, 46.0)]
    places = gpd.GeoSeries(points, crs=32610).to_crs(4326)
    said = {"X": places.x, "Y": places.y, "weight_lb": (grams(24, 700, 8) / 453.6).round(2), "Row": np.repeat(kept + 1, 3)}
    table = pd.DataFrame(said)
    table.to_csv(folder / "gps.csv", index=False)
    return folder / "hill.geojson", folder / "gps.csv"


def michigan_waypoints(folder: Path) -> tuple[Path, Path]:
    """Michigan: an outline drawn in a globe program (KML), weights spoken into a receiver's waypoint names (GPX)."""
    block = outline(32616, 560_000, 4_660_000, 5)
    table = gpd.GeoDataFrame(
        {"Name": ["Home block"], "variety": ["Niagara"], "training": ["high cordon"], "row spacing (ft)": ["9"]}
        | {"vine spacing (ft)": ["8"]},
        geometry=[block],
        crs=32616,
    ).to_crs(4326)
    table.to_file(folder / "home.kml", driver="KML")
    places = gpd.GeoSeries(inside(block, 26, 9), crs=32616).to_crs(4326)
    pounds = grams(26, 1000, 9) / 453.6
    marks = "".join(
        f'<wpt lat="{p.y:.6f}" lon="{p.x:.6f}"><name>{n:03d} {w:.1f} lb</name></wpt>'
        for n, (p, w) in enumerate(zip(places, pounds, strict=True), 1)
    )
    gate = f'<wpt lat="{places.iloc[0].y:.6f}" lon="{places.iloc[0].x:.6f}"><name>gate</name></wpt>'
    head = '<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
    (folder / "marks.gpx").write_text(f"{head}{gate}{marks}</gpx>", "utf-8")
    return folder / "home.kml", folder / "marks.gpx"


# Europe


def italian_layers(folder: Path) -> tuple[Path, Path]:
    """Tuscany: Italian layer and column names, spur cordon, kilograms in brackets, rows drawn."""
    block = outline(32632, 680_000, 4_800_000)
    lines = rows_of(block, 2.8)
    path = folder / "podere.gpkg"
    said = {"Nome": ["Vigna Nuova"], "Vitigno": ["Sangiovese"], "Forma di allevamento": ["Cordone speronato"]}
    said |= {"Sesto d'impianto (m)": ["2,8 x 0,9"], "Regola": ["20+20"], "Anno d'impianto": [2001]}
    gpd.GeoDataFrame(said, geometry=[block], crs=32632).to_file(path, layer="Appezzamenti", driver="GPKG")
    names = {"Filare": np.arange(1, len(lines) + 1)}
    gpd.GeoDataFrame(names, geometry=lines, crs=32632).to_file(path, layer="Filari", driver="GPKG")
    row, vine = by_number(30, len(lines), 60, 11)
    table = pd.DataFrame({"Filare": row, "Vite": vine, "Peso legno di potatura (kg)": comma(grams(30, 450, 11) / 1000, 3)})
    table.to_csv(folder / "potatura.csv", sep=";", index=False)
    return path, folder / "potatura.csv"


def french_lambert(folder: Path) -> tuple[Path, Path]:
    """Burgundy: a zipped Shapefile on the national grid, weights by X and Y on the same grid, double Guyot."""
    block = outline(2154, 845_000, 6_670_000, 15)
    said = {"Parcelle": ["Les Clos"], "Cepage": ["Pinot noir"], "Taille": ["Guyot double"], "Ecart (m)": [1.1]}
    table = gpd.GeoDataFrame(said | {"Intercep m": [1.0], "Regle": ["20+20"]}, geometry=[block], crs=2154)
    table.to_file(folder / "parcelles.shp", driver="ESRI Shapefile")
    import zipfile

    with zipfile.ZipFile(folder / "parcelles.zip", "w") as archive:
        for part in sorted(folder.glob("parcelles.*")):
            if part.suffix != ".zip":
                archive.write(part, part.name)
                part.unlink()
    places = inside(block, 30, 12)
    table = pd.DataFrame({"X": [p.x for p in places], "Y": [p.y for p in places], "Poids de taille (g)": grams(30, 380, 12)})
    table.round(1).to_csv(folder / "pesees.csv", sep=";", decimal=",", index=False)
    return folder / "parcelles.zip", folder / "pesees.csv"


def german_workbook(folder: Path) -> tuple[Path, Path]:
    """Palatinate: a workbook with a title, names and units on two lines, on its second sheet; spacing in centimetres."""
    block = outline(32632, 435_000, 5_460_000, 30)
    said = {"Lage": ["Steinacker"], "Rebsorte": ["Riesling"], "Erziehung": ["Guyot"], "Gassenbreite (m)": [2.0]}
    said |= {"Stockabstand (cm)": [110], "Schnittregel": ["20+20"]}
    gpd.GeoDataFrame(said, geometry=[block], crs=25832).to_file(folder / "betrieb.gpkg", layer="Weinberge", driver="GPKG")
    row, vine = by_number(28, 19, 45, 13)
    lines = [["Schnittholz 2026", "", ""], ["", "", ""], ["Zeile", "Stock", "Gewicht"], ["", "", "g"]]
    lines += [list(line) for line in zip(row.tolist(), vine.tolist(), grams(28, 520, 13).tolist(), strict=True)]
    with pd.ExcelWriter(folder / "proben.xlsx", engine="xlsxwriter") as book:
        pd.DataFrame([["Betriebsheft"], ["siehe Blatt 2"]]).to_excel(book, sheet_name="Deckblatt", index=False, header=False)
        pd.DataFrame(lines).to_excel(book, sheet_name="Proben", index=False, header=False)
    return folder / "betrieb.gpkg", folder / "proben.xlsx"


def portuguese_douro(folder: Path) -> tuple[Path, Path]:
    """Douro: FlatGeobuf of one plot, royat, kilograms with commas in a workbook whose numbers are text."""
    block = outline(32629, 610_000, 4_560_000, 60)
    said = {"Talhão": ["Cima"], "Casta": ["Touriga Nacional"], "Condução": ["Cordão Royat"], "Compasso (m)": ["2,2 x 1,0"]}
    gpd.GeoDataFrame(said, geometry=[block], crs=32629).to_file(folder / "quinta.fgb", driver="FlatGeobuf")
    row, vine = by_number(25, 16, 50, 14)
    table = pd.DataFrame({"Linha": row, "Videira": vine, "Peso da poda (kg)": comma(grams(25, 600, 14) / 1000, 2)})
    table.to_excel(folder / "pesos.xlsx", index=False, engine="xlsxwriter")
    return folder / "quinta.fgb", folder / "pesos.xlsx"


def gaucho_units_in_cells(folder: Path) -> tuple[Path, Path]:
    """Serra Gaúcha: a unit behind every number, names cut to ten letters, X and Y whose header names the grid."""
    block = outline(31982, 450_000, 6_770_000, 35)
    told = {"Parcela": ["Lote 3"], "Uva": ["Merlot"], "Sistema_co": ["Espaldeira"], "Espacament": ["2,50 x 1,20 m"]}
    table = gpd.GeoDataFrame(told | {"Regra": ["20+20"]}, geometry=[block], crs=31982)
    table.to_file(folder / "vinhedo.geojson", driver="GeoJSON")
    places = inside(block, 30, 17)
    weighed = {
        "Ponto": range(30),
        "X (EPSG:31982)": comma([p.x for p in places]),
        "Y (EPSG:31982)": comma([p.y for p in places]),
    }
    weighed["Peso de poda"] = [f"{kilos} kg" for kilos in comma(grams(30, 850, 17) / 1000, 2)]
    pd.DataFrame(weighed).to_csv(folder / "pesos.csv", sep=";", index=False)
    return folder / "vinhedo.geojson", folder / "pesos.csv"


def mosel_degrees_in_words(folder: Path) -> tuple[Path, Path]:
    """Mosel: notes above two lines of names, places as degrees, minutes and seconds."""
    block = outline(25832, 340_000, 5_530_000, 10)
    told = {"Bezeichnung": ["Sonnenuhr"], "Sorte": ["Riesling"], "Zeilenabstand m": ["2,0"], "Stockabstand m": ["1,2"]}
    table = gpd.GeoDataFrame(told | {"Erziehung": ["Guyot"], "Regel": ["20+20"]}, geometry=[block], crs=25832)
    table.to_crs(4326).to_file(folder / "berg.geojson", driver="GeoJSON")
    places = gpd.GeoSeries(inside(block, 28, 18), crs=25832).to_crs(4326)

    def spoken(value: float, letter: str) -> str:
        minutes, seconds = divmod(value % 1 * 3600, 60)
        return f"{int(value)}° {int(minutes):02d}' {seconds:05.2f}\" {letter}"

    lines = [["Schnittholz, Winter 2026", *[""] * 4], ["alle Gewichte von Hand", *[""] * 4], [""] * 5]
    lines += [["Nr", "Koordinaten", "", "Gewicht", "Bemerkung"], ["", "Breite", "Länge", "(g)", ""]]
    for number, (place, weight) in enumerate(zip(places, grams(28, 600, 18), strict=True), 1):
        lines.append([number, spoken(place.y, "N"), spoken(place.x, "E"), int(weight), ""])
    pd.DataFrame(lines).to_excel(folder / "gewichte.xlsx", index=False, header=False, engine="xlsxwriter")
    return folder / "berg.geojson", folder / "gewichte.xlsx"


def languedoc_painted_rows(folder: Path) -> tuple[Path, Path]:
    """Languedoc: rows painted R01, R02 ... and not drawn, spacing in centimetres, grams behind each weight, UTF-16."""
    block = outline(2154, 760_000, 6_270_000, 20)
    told = {
        "nom_parcelle": ["La Garrigue"],
        "cepage": ["Syrah"],
        "mode_conduite": ["Cordon de Royat"],
        "inter_rang_cm": [225],
    }
    table = gpd.GeoDataFrame(told | {"inter_cep_cm": [100], "regle": ["20+20"]}, geometry=[block], crs=2154)
    table.to_file(folder / "domaine.gpkg", layer="parcellaire", driver="GPKG")
    row, vine = by_number(30, 24, 80, 19)
    weights = [f"{weight:.0f} g" for weight in grams(30, 420, 19)]
    table = pd.DataFrame({"Rang n°": [f"R{n:02d}" for n in row], "Pied n°": vine, "Bois de taille": weights, "obs.": ""})
    table.to_csv(folder / "bois.csv", sep="\t", index=False, encoding="utf-16")
    return folder / "domaine.gpkg", folder / "bois.csv"


def alentejo_cut_names(folder: Path) -> tuple[Path, Path]:
    """Alentejo: a Shapefile in Latin-1 whose names are cut to ten letters, spacings without a unit, rows written Linha 7."""
    block = outline(3763, 60_000, -120_000, 10)
    said = {"NOME_TALHA": ["Várzea"], "CASTA": ["Aragonez"], "CONDUCAO": ["Cordão bilateral"], "ENTRELINHA": [2.8]}
    table = gpd.GeoDataFrame(said | {"ENTREPLANT": [1.1], "ANO_PLANTA": [1999]}, geometry=[block], crs=3763)
    table.to_file(folder / "talhoes.shp", driver="ESRI Shapefile", encoding="ISO-8859-1")
    import zipfile

    with zipfile.ZipFile(folder / "talhoes.zip", "w") as archive:
        for part in sorted(folder.glob("talhoes.*")):
            if part.suffix != ".zip":
                archive.write(part, part.name)
    row, vine = by_number(30, 20, 70, 31)
    weighed = {"Linha": [f"Linha {n}" for n in row], "Planta": vine, "Peso lenha (g)": grams(30, 520, 31)}
    pd.DataFrame(weighed).to_csv(folder / "lenha.csv", sep=";", index=False, encoding="latin-1")
    return folder / "talhoes.zip", folder / "lenha.csv"


def piemonte_a_sheet_a_block(folder: Path) -> tuple[Path, Path]:
    """Piemonte: a sheet of the workbook for each block, and weights under a column that is called gr and nothing else."""
    blocks = [outline(32632, east, 4_950_000) for east in (420_000, 420_100)]
    said = {"vigna": ["Bricco", "Sorì"], "vitigno": ["Nebbiolo", "Barbera"], "allevam.": ["Guyot", "Guyot"]}
    table = gpd.GeoDataFrame(said | {"tra file m": 2.6, "sulla fila m": 0.9}, geometry=blocks, crs=32632)
    table.to_file(folder / "vigne.gpkg", layer="vigne", driver="GPKG")
    with pd.ExcelWriter(folder / "pesate.xlsx", engine="xlsxwriter") as book:
        for seed, name in enumerate(said["vigna"]):
            row, vine = by_number(20, 20, 90, 40 + seed)
            weighed = pd.DataFrame({"filare": row, "pianta": vine, "gr": grams(20, 420, 40 + seed)})
            weighed.to_excel(book, sheet_name=name, index=False)
    return folder / "vigne.gpkg", folder / "pesate.xlsx"


def anjou_days_for_names(folder: Path) -> tuple[Path, Path]:
    """Anjou: the column of weights is called by its day, distances of rangs and pieds with their unit in the cells."""
    block = outline(2154, 430_000, 6_690_000, 40)
    said = {"Parcelle": ["Le Clos du Bois"], "Cépage": ["Chenin"], "Mode de taille": ["Guyot simple"]}
    table = gpd.GeoDataFrame(said | {"Distance rangs": "2 m", "Distance pieds": "1 m"}, geometry=[block], crs=2154)
    table.to_file(folder / "parcelle.geojson", driver="GeoJSON")
    row, vine = by_number(28, 25, 80, 51)
    weights = [f"{weight:.0f} g" for weight in grams(28, 450, 51)]
    weighed = pd.DataFrame({"Rang": row, "Cep": vine, "12/01/2026": weights, "15/07/2026": ""})
    weighed.to_csv(folder / "taille.csv", sep=";", index=False)
    return folder / "parcelle.geojson", folder / "taille.csv"


def maipo_exchanged_degrees(folder: Path) -> tuple[Path, Path]:
    """Maipo: DEH and DSH for the distances, latitude in the column of longitude and the other way round."""
    block = outline(32719, 340_000, 6_260_000, 15)
    said = {"Cuartel": ["C-4"], "Variedad": ["Carménère"], "Sistema": ["Espaldera cordón"], "DEH": [2.5], "DSH": [1.5]}
    gpd.GeoDataFrame(said, geometry=[block], crs=32719).to_crs(4326).to_file(folder / "cuarteles.geojson", driver="GeoJSON")
    places = gpd.GeoSeries(inside(block, 30, 71), crs=32719).to_crs(4326)
    weighed = {"Punto": range(1, 31), "Latitud": places.x.round(6), "Longitud": places.y.round(6)}
    pd.DataFrame(weighed | {"Peso poda (kg)": (grams(30, 700, 71) / 1000).round(2)}).to_csv(folder / "poda.csv", index=False)
    return folder / "cuarteles.geojson", folder / "poda.csv"


# Southern hemisphere, English


def swartland_bush_vines(folder: Path) -> tuple[Path, Path]:
    """South Africa: bush vines, no name on the only block, and a column of mass without a unit."""
    block = outline(32734, 270_000, 6_290_000, 40)
    said = {
        "Cultivar": ["Chenin blanc"],
        "Training system": ["Bush vine"],
        "Row width (m)": [2.5],
        "Vine spacing (m)": [1.5],
    }
    table = gpd.GeoDataFrame(said | {"Pruning rule": ["20+20"]}, geometry=[block], crs=32734).to_crs(4326)
    table.to_file(folder / "old_block.geojson", driver="GeoJSON")
    row, vine = by_number(26, 14, 32, 15)
    pd.DataFrame({"row": row, "vine": vine, "pruning mass": grams(26, 480, 15)}).to_csv(folder / "mass.csv", index=False)
    return folder / "old_block.geojson", folder / "mass.csv"


def marlborough_survey(folder: Path) -> tuple[Path, Path]:
    """New Zealand: a phone survey's GeoJSON of points with its own fields, two-cane VSP, blocks on the national grid."""
    block = outline(2193, 1_670_000, 5_400_000, 75)
    said = {"name": ["B12"], "variety": ["Sauvignon blanc"], "system": ["two-cane VSP"], "row_dist_m": [2.4]}
    table = gpd.GeoDataFrame(said | {"vine_dist_m": [1.8], "rule": ["20+20"]}, geometry=[block], crs=2193)
    table.to_file(folder / "blocks.gpkg", layer="blocks", driver="GPKG")
    points = inside(block, 32, 16)
    survey = {
        "objectid": range(32),
        "timestamp": "2026-07-01T10:00:00Z",
        "accuracy": 2.1,
        "prune wt (g)": grams(32, 1300, 16),
    }
    gpd.GeoDataFrame(survey, geometry=points, crs=2193).to_crs(4326).to_file(folder / "survey.geojson", driver="GeoJSON")
    return folder / "blocks.gpkg", folder / "survey.geojson"


GROWERS = (
    Grower(
        "a finca on GeoJSON",
        "Mendoza, Spanish, m",
        spanish_geojson,
        "double guyot",
        (2.5, 1.2),
        {"ask_training": "double guyot"},
        bearing_deg=21.9,
    ),
    Grower("a parral without a word on units", "Mendoza, Spanish, m", cuyo_parral, "pergola", (2.5, 2.5), bearing_deg=80.0),
    Grower("two blocks on parrón", "Maule, Spanish, m", chilean_parron, "pergola", (3.5, 2.5), blocks=2, bearing_deg=359.0),
    Grower("a lyre in one file", "Canelones, Spanish, m", uruguayan_lyre, "lyre", (3.2, 1.25)),
    Grower("rows in feet", "New York, English, ft", lake_erie_feet, "arched cane", (9 * FT, 8 * FT)),
    Grower(
        "VSP by X and Y",
        "Oregon, English, ft",
        oregon_xy,
        "flat cane",
        (7 * FT, 5 * FT),
        {"ask_training": "flat cane"},
        bearing_deg=0.0,
    ),
    Grower("weights in waypoints", "Michigan, English, ft", michigan_waypoints, "top-wire cordon", (9 * FT, 8 * FT)),
    Grower("a podere in layers", "Tuscany, Italian, m", italian_layers, "low cordon", (2.8, 0.9)),
    Grower("a clos on the national grid", "Burgundy, French, m", french_lambert, "double guyot", (1.1, 1.0)),
    Grower(
        "a workbook with a title",
        "Palatinate, German, m and cm",
        german_workbook,
        "single guyot",
        (2.0, 1.1),
        {"ask_training": "single guyot"},
    ),
    Grower(
        "a quinta in text numbers",
        "Douro, Portuguese, m",
        portuguese_douro,
        "low cordon",
        (2.2, 1.0),
    ),
    Grower(
        "bush vines without a unit",
        "Swartland, English, m",
        swartland_bush_vines,
        "head-trained",
        (2.5, 1.5),
        {"pruning_weight": "pruning_weight_g"},
    ),
    Grower("a phone survey", "Marlborough, English, m", marlborough_survey, "double guyot", (2.4, 1.8)),
    Grower(
        "units in every cell",
        "Serra Gaúcha, Portuguese, m",
        gaucho_units_in_cells,
        "low cordon",
        (2.5, 1.2),
        {"ask_training": "low cordon"},
    ),
    Grower(
        "degrees, minutes and seconds",
        "Mosel, German, m",
        mosel_degrees_in_words,
        "single guyot",
        (2.0, 1.2),
        {"ask_training": "single guyot"},
    ),
    Grower(
        "names cut to ten letters",
        "Alentejo, Portuguese, m",
        alentejo_cut_names,
        "low cordon",
        (2.8, 1.1),
        {"ask_training": "low cordon"},
    ),
    Grower(
        "a sheet a block",
        "Piemonte, Italian, m",
        piemonte_a_sheet_a_block,
        "single guyot",
        (2.6, 0.9),
        {"ask_training": "single guyot"},
        blocks=2,
    ),
    Grower("days for names", "Anjou, French, m", anjou_days_for_names, "single guyot", (2.0, 1.0), bearing_deg=37.4),
    Grower("degrees exchanged", "Maipo, Spanish, m", maipo_exchanged_degrees, "low cordon", (2.5, 1.5), bearing_deg=16.0),
    Grower("painted rows, none drawn", "Languedoc, French, cm", languedoc_painted_rows, "low cordon", (2.25, 1.0)),
)
