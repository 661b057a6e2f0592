"""A settings file: what is right is taken in SI, and every fault is told with the nearest right name."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from geoprune.errors import DataError
from geoprune.settings import (
    Buds,
    Settings,
    Zones,
    block_definitions,
    definitions,
    find_settings,
    match_blocks,
    read_settings,
    settings_template,
    settings_text,
)
from geoprune.settings.kinds import Number
from geoprune.words import languages, room_words


@pytest.fixture
def write(tmp_path):
    def written(text: str | bytes) -> Path:
        path = tmp_path / "geoprune.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return written


def faults(path) -> str:
    with pytest.raises(DataError) as caught:
        read_settings(path)
    return str(caught.value)


def test_an_empty_file_gives_the_defaults(write):
    path = write("# nothing\n")
    assert read_settings(path) == Settings(source=path)


def test_quantities_are_taken_in_the_unit_of_their_name(write):
    # Exact by definition (international yard and pound, 1959): 1 ft = 0.3048 m, 1 in = 2.54 cm; an acre is 4840 square
    # yards, 0.40468564224 ha; a short ton is 2000 lb of 0.45359237 kg, so a ton an acre is 2.2417023 t/ha
    said = read_settings(
        write(
            "[zones]\nsmallest_zone_ac = 0.5\n[buds]\ncane_length_ft = 4\nspur_spacing_in = 5\nnode_spacing_cm = 7\n"
            "[crop]\ntarget_crop_tons_ac = 6\n"
        )
    )
    assert said.zones.smallest_zone_ha == pytest.approx(0.5 * 0.40468564224)
    assert said.wood == pytest.approx({"cane_length_m": 1.2192, "spur_spacing_m": 0.127, "node_spacing_m": 0.07})
    assert said.crop.target_crop_t_ha == pytest.approx(6 * 2.2417023, rel=1e-7)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[zone]\nmax_zones = 2", ("[zone]: there is no such table", "Did you mean 'zones'?")),
        ("max_zones = 2", ("Write it below [zones]",)),
        ("[zones]\nmax_zone = 2", ("[zones] max_zone: there is no such setting", "Did you mean 'max_zones'?")),
        ("[buds]\nmax_zones = 2", ("It belongs in [zones]",)),
        ("[buds]\ncane_length = 2", ("Write it with its unit: cane_length_m or cane_length_ft",)),
        ("[buds]\ncane_length_ft = 4\ncane_length_m = 1", ("stands in two units (cane_length_ft, cane_length_m)",)),
        ("[buds]\ncane_length_ft = 40", ("40 is not from 0.656168 to 16.4042",)),
        ("[zones]\nmax_zones = 2.5", ("2.5 is not a whole number",)),
        ('[zones]\nmax_zones = "2"', ("'2' is not a whole number",)),
        ("[zones]\nmax_zones = true", ("True is not a whole number",)),
        ("[zones]\nchange_cost = nan", ("nan is not from 0 to 100",)),
        ("[zones]\nchange_cost = 0x" + "f" * 2000, ("is not from 0 to 100",)),
        ("[zones]\nchange_cost = 2,5", ("not valid TOML", "a point, not a comma")),
        ("zones = 3", ("[zones]: 3 is no table",)),
        ('[pages]\nlanguage = "fr"', ("'fr' is not known", "en, es")),
        ("[pages]\nlanguage = en", ("not valid TOML", "text stands in quotes")),
        ('[pages]\npaper = "leter"', ("Did you mean 'letter'?",)),
        ('[buds]\ninjury_method = "cornel"', ("'cornel'", "cornell")),
        ('[files]\nsamples = "none.csv"', ("there is no file 'none.csv'",)),
        ('[files]\nsamples = "."', ("'.' is a folder",)),
        ("[files]\nearlier = [1]", ("1 is not the name of a file",)),
        ('[files]\ncovariates = "a.tif"', ("elevation = ",)),
        ('[files]\ncrs = "EPSG:99999999"', ("not a coordinate reference system",)),
        ("[files]\nheader_row = 0", ("0 is not the number of a line",)),
        ('[files]\ndecimal_mark = ";"', ("is not known",)),
        ('[pages]\ncredit = "a\\nb"', ("line breaks or hidden characters",)),
        ('[columns.sample]\nrow = "Hilera"', ("[columns.sample]", "Did you mean 'samples'?")),
        ("[columns.samples]\nrow = 3", ("[columns.samples] row: 3 is no name",)),
        ('[columns]\nrow = "Hilera"', ("Write it below [columns.samples]",)),
        ('[layers]\nblock = "Parcelas"', ("Did you mean 'blocks'?",)),
        ("[values.training]\nRoyat = [1]", ("[1] is no name",)),
        ("[block.A]\nmax_zones = 2", ('[block."A"] max_zones', "It belongs in [zones]")),
        ('[block.A]\nfirst_row_side = "left"', ("'left' is not known", "N, E, S, W")),
        ("block = 3", ("Name of the block",)),
        ("[zones\n", ("not valid TOML",)),
        (b"[zones]\n# \xff\n", ("not written in UTF-8",)),
    ],
)
def test_every_fault_is_reported_with_its_place_and_how_to_mend_it(write, text, said):
    shown = faults(write(text))
    assert shown.startswith("geoprune.toml")
    for words in said:
        assert words in shown


def test_all_faults_are_reported_at_once(write):
    said = faults(write("[zones]\nmax_zones = 9\nbud_stp = 5\n[pags]\n[block.A]\nchange_cost = -1\n"))
    assert len(said.splitlines()) == 4


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 50_000 + "]" * 50_000,
        "a." * 100_000 + "a = 1",
        "".join(f"[a{i}{'.a' * 49}]\n" for i in range(2000)),
        "a = " + "9" * 100_000,
        "a = {" * 20_000,
        "[zones]\n" + "".join(f"k{i} = 1\n" for i in range(20_000)),
        'a = "' + "x" * 900_000 + '"',
        "x" * 1_000_001,
        "[block]\n" + "".join(f'"{i}" = 1\n' for i in range(20_000)),
    ],
    ids=["brackets", "points", "deep tables", "digits", "braces", "keys", "text", "large", "blocks"],
)
def test_a_file_made_to_break_the_reader_is_refused(write, text):
    assert faults(write(text)).startswith("geoprune.toml")


def test_what_is_no_plain_file_is_refused():
    assert "no ordinary file" in faults("/dev/zero")


def test_the_file_is_found_beside_the_vineyard(tmp_path, write):
    assert find_settings(tmp_path / "estate.gpkg") is None
    path = write("")
    assert find_settings(tmp_path / "estate.gpkg") == find_settings(tmp_path) == path


def test_a_block_has_its_own_over_the_rest(write):
    said = read_settings(write('[zones]\nchange_cost = 0.5\n[block."Peña Alta"]\nchange_cost = 2\ncane_length_ft = 4\n'))
    assert said.for_block("Peña Alta").zones.change_cost == 2.0
    assert said.for_block("Peña Alta").wood == pytest.approx({"cane_length_m": 1.2192})
    assert said.for_block("B").zones.change_cost == said.zones.change_cost == 0.5
    assert said.over_blocks({"change_cost": 1.0}).for_block("Peña Alta").zones.change_cost == 1.0


def test_blocks_are_matched_with_those_of_the_vineyard(write):
    said = read_settings(write('[block."peña  alta"]\nchange_cost = 2\n[block.Ridg]\nchange_cost = 2\n'))
    with pytest.raises(DataError) as caught:
        match_blocks(said, ["Peña Alta", "Ridge"], vineyard="estate.gpkg")
    assert str(caught.value).count("\n") == 0
    assert "geoprune.toml, [block.\"Ridg\"]: estate.gpkg has no block 'Ridg'. Did you mean 'Ridge'?" in str(caught.value)
    named = match_blocks(said, ["Peña Alta", "Ridg"], vineyard="estate.gpkg")
    assert list(named.blocks) == ["Peña Alta", "Ridg"]


def test_values_are_checked_where_a_table_is_made():
    with pytest.raises(DataError, match="max_zones: 9 is not from 2 to 4"):
        Zones(max_zones=9)
    with pytest.raises(DataError, match=r"(?s)fewest_buds.*\n.*last_pruning"):
        Buds(fewest_buds=-1, last_pruning="saw")


def test_what_does_not_go_together_is_reported_for_each_block(write):
    said = read_settings(write("[buds]\nmost_buds = 60\n[block.A]\nfewest_buds = 70\n[block.B]\ntarget_crop_t_ha = 9\n"))
    rows = [(problem.row, problem.what.split(",")[0]) for problem in said.problems()]
    assert rows == [('[block."A"]: [buds]', "fewest_buds"), ('[block."B"]: [crop]', rows[1][1])]
    assert all(problem.file == "geoprune.toml" for problem in said.problems())


EVERYTHING = """
[files]
samples = "w.csv"
header_row = [2, 3]
decimal_mark = ","
covariates = { "height of ground" = "h.tif" }
earlier = ["a.json", "b.json"]
crop_figures = "c.toml"
[layers]
blocks = "Parcelas"
[columns.samples]
pruning_weight_g = "Peso \\"neto\\" (g)"
[values.training]
"Royat / Cordón" = "low cordon"
otherwise = "flat cane"
[zones]
change_cost = 0.1
smallest_zone_ac = 0.3
[buds]
spur_spacing_in = 4.7
[pages]
units = "metric"
credit = "© \\\\ \\"x\\""
[block."Peña \\"Alta\\""]
canes = 2
row_bearing_deg = 12.5
training = "flat cane"
target_crop_tons_ac = 5.3
"""


def test_settings_written_and_read_again_are_the_same(tmp_path, write):
    for name in ("w.csv", "h.tif", "a.json", "b.json", "c.toml"):
        (tmp_path / name).write_text("")
    first = read_settings(write(EVERYTHING))
    out = tmp_path / "results" / "deeper"
    out.mkdir(parents=True)
    (out / "settings.toml").write_text(settings_text(first, folder=out), encoding="utf-8")
    again = read_settings(out / "settings.toml")
    assert again.files.samples.resolve() == (tmp_path / "w.csv").resolve()
    assert settings_text(again, folder=out) == settings_text(first, folder=out)
    said = {key: value for key, value in first.as_data().items() if key != "files"}
    assert {key: value for key, value in again.as_data().items() if key != "files"} == said
    assert again.blocks['Peña "Alta"']["target_crop_t_ha"] == first.blocks['Peña "Alta"']["target_crop_t_ha"]


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("language", languages())
def test_the_file_to_fill_in_changes_nothing_and_holds_every_setting(write, language, units):
    text = settings_template(language, units, blocks=["Ridge", 'Peña "Alta"'])
    assert read_settings(path := write(text)) == Settings(source=path)
    freed = tomllib.loads(
        "\n".join(line.removeprefix("# ") for line in text.splitlines() if " = " in line or "[" in line[:4])
    )
    for one in definitions():
        assert one.key_for(units) in freed[one.table], one.name
    for one in block_definitions():
        assert set(one.keys) & set(freed["block"]["Ridge"]), one.name
    assert set(freed["block"]) == {"Ridge", 'Peña "Alta"'}


def test_the_file_to_fill_in_tells_todays_defaults(write):
    text = settings_template("en", "metric")
    kept = [
        line.removeprefix("# ")
        for line in text.split("# [layers]")[0].splitlines()
        if line.startswith("[") or any(line.startswith(f"# {one.name} = ") and one.default() for one in definitions())
    ]
    path = write("\n".join(kept))
    assert read_settings(path) == Settings(source=path)
    assert "max_zones = 3" in kept


def test_a_name_stands_in_one_table_alone():
    own = [one for one in block_definitions() if one.table == "block"]
    keys = [key for one in (*definitions(), *own) for key in one.keys]
    assert len(set(keys)) == len(keys)


@pytest.mark.parametrize("language", languages())
def test_every_setting_has_its_meaning_and_reason(language):
    words = room_words(language, "settings")
    for one in (*definitions(), *block_definitions()):
        assert words[one.name].endswith(".")
        assert words[f"{one.name}_why"].endswith(".")


def test_the_documentation_tells_every_setting_with_its_default_and_reason():
    page = (Path(__file__).parents[2] / "docs" / "settings.md").read_text("utf-8")
    words = room_words("en", "settings")
    lines = [line for line in page.splitlines() if line.startswith("| `")]
    for one in (*definitions(), *(one for one in block_definitions() if one.table == "block")):
        (line,) = [line for line in lines if line.startswith(f"| `{next(iter(one.keys))}`")]
        assert all(f"`{key}`" in line for key in one.keys)
        assert words[one.name] in line
        assert words[f"{one.name}_why"] in line
        assert ("\\*" in line.split("|")[1]) == (one.block and one.table != "block"), one.name
        default = one.default()
        if default not in (None, (), {}):
            shown = f"{default:g}" if isinstance(one.kind, Number) else default
            assert f"| {shown} |" in line, one.name
