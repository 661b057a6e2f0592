"""`geoprune check` as people meet it: on a terminal, piped, in Spanish, and with files that are at fault."""

from __future__ import annotations

import csv
import json
import sys
import tomllib

import geopandas as gpd
import growers
import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geoprune.cli import main
from geoprune.errors import OutputError
from geoprune.jobs.check import check_files
from geoprune.jobs.settings_entries import merged, with_entries

command = sys.modules["geoprune.cli.check"]


def run(*arguments, **more):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], **more)


def sheet_of(folder):
    (sheet,) = (folder / "out").glob("*/crew_sheet.html")
    return sheet.read_text("utf-8")


def test_piped_it_asks_nothing_and_says_what_stays_open_in_spanish(tmp_path):
    vineyard, samples = growers.spanish_geojson(tmp_path)
    found = run("check", vineyard, "--samples", samples, "--lang", "es", "--units", "metric")
    assert found.exit_code == 1
    assert "columna 'Peso de poda (g)'" in found.output
    assert "Conducción 'Espaldera': ¿cuál de estas es?" in found.output
    assert "No se usa: plantas pesadas, Observaciones" in found.output
    assert "Todavía no alcanza" in found.output
    said = tomllib.loads((tmp_path / "geoprune.toml").read_text("utf-8"))
    assert said["columns"]["samples"]["pruning_weight_g"] == "Peso de poda (g)"
    assert said["files"] == {"decimal_mark": ","}
    assert not said["values"]["training"]


def test_on_a_terminal_it_asks_and_the_next_command_plans(tmp_path, monkeypatch):
    vineyard, samples = growers.spanish_geojson(tmp_path)
    monkeypatch.setattr(command, "is_terminal", lambda: True)
    answers = {"Espaldera": "4"}
    asked = []

    def prompt(text, **more):
        question = asked.pop()
        return next((number for word, number in answers.items() if word in question), "")

    echo = command.click.echo
    monkeypatch.setattr(command.click, "prompt", prompt)
    monkeypatch.setattr(command.click, "echo", lambda text, **more: (echo(text), text.startswith(" ") or asked.append(text)))
    found = run("check", vineyard, "--samples", samples)
    assert found.exit_code == 0, found.output
    assert "Everything is there. Next: geoprune prescribe finca.geojson --samples pesos.xlsx" in found.output
    monkeypatch.undo()
    planned = run("prescribe", vineyard, "--samples", samples, "--out", tmp_path / "out", "--quiet")
    assert planned.exit_code == 0, planned.output
    assert "Espaldera (double Guyot)" in sheet_of(tmp_path)


def test_rows_called_by_letters_and_spacings_that_no_column_tells_are_walked_to_a_plan(tmp_path):
    block = growers.outline(32618, 330_000, 4_710_000)
    told = {"Name": ["Lake block"], "Description": ["Concord, 9 x 8 ft"]}
    gpd.GeoDataFrame(told, geometry=[block], crs=32618).to_crs(4326).to_file(tmp_path / "lake.kml", driver="KML")
    row, vine = growers.by_number(26, 20, 30, 61)
    weights = (growers.grams(26, 1000, 61) / 28.35).round()
    table = pd.DataFrame({"Row": [chr(64 + n) for n in row], "Vine": vine, "Prunings (oz)": weights})
    table.to_csv(tmp_path / "weights.csv", index=False)
    first = run("check", tmp_path / "lake.kml", "--samples", tmp_path / "weights.csv", "--yes")
    assert "Not used: blocks, description" in first.output
    assert "is A row 1, B row 2" in first.output
    assert "[values.row_spacing_m] otherwise = 2.5 (or row_spacing_ft)" in first.output
    path = tmp_path / "geoprune.toml"
    text = path.read_text("utf-8").replace("#? M = ", "M = ").replace("#? row = ", "row = ")
    lines = [line for line in text.splitlines() if not line.startswith("#?") or "row 1" in line]
    text = "\n".join(line.removeprefix("#? ") for line in lines)
    text += "\n[values.row_spacing_ft]\notherwise = 9\n[values.vine_spacing_ft]\notherwise = 8\n"
    said = tomllib.loads(text)
    said["values"] = {**said["values"], "training": {"otherwise": "arched cane"}, "variety": {"otherwise": "Concord"}}
    checked = check_files(tmp_path / "lake.kml", tmp_path / "weights.csv", settings=said)
    assert checked.ready, (checked.open, checked.problems)
    assert checked.vineyard.blocks["row_spacing_m"].tolist() == pytest.approx([9 * 0.3048])
    assert set(checked.vineyard.samples["row"]) <= {str(number) for number in range(1, 21)}


def test_own_trainings_and_samples_named_in_the_settings_are_found(tmp_path):
    vineyard, samples = growers.lake_erie_feet(tmp_path)
    own = '[[training]]\nid = "Umbrella Kniffin, low"\nkind = "cane"\ncanes = [3, 4]\nbuds_per_cane = [4, 14]\n'
    own += 'source = "ours"\n'
    (tmp_path / "ours.toml").write_text(own, "utf-8")
    (tmp_path / "geoprune.toml").write_text(
        f'[files]\nsamples = "{samples.name}"\ntrainings = "ours.toml"\n[values.training]\n'
        '"Umbrella Kniffin" = "Umbrella Kniffin, low"\n',
        "utf-8",
    )
    found = run("check", vineyard, "--yes")
    assert found.exit_code == 0, found.output
    planned = run("prescribe", vineyard, "--out", tmp_path / "out", "--quiet")
    assert planned.exit_code == 0, planned.output
    assert "Umbrella Kniffin (Umbrella Kniffin, low)" in sheet_of(tmp_path)


def test_nothing_is_written_on_a_dry_run_or_for_a_file_that_needs_nothing(tmp_path):
    vineyard, samples = growers.italian_layers(tmp_path)
    assert run("check", vineyard, "--samples", samples, "--dry-run").exit_code == 0
    assert not (tmp_path / "geoprune.toml").exists()


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("v.geojson", "no json at all", "the file is not what its ending .geojson says"),
        ("v.geojson", "{}", "cannot be read"),
        ("v.docx", "x", "files ending in '.docx' are not read"),
    ],
)
def test_a_file_that_cannot_be_read_is_reported(tmp_path, name, text, words):
    (tmp_path / name).write_text(text, "utf-8")
    found = run("check", tmp_path / name)
    assert found.exit_code == 1
    assert words in found.output
    assert not (tmp_path / "geoprune.toml").exists()


def test_a_settings_file_that_is_no_toml_is_reported(tmp_path):
    vineyard, samples = growers.italian_layers(tmp_path)
    (tmp_path / "geoprune.toml").write_text("[files\n", "utf-8")
    found = run("check", vineyard, "--samples", samples)
    assert found.exit_code == 1
    assert "the file is not valid TOML" in found.output
    assert (tmp_path / "geoprune.toml").read_text("utf-8") == "[files\n"


# The settings file as text


def test_what_stands_in_a_settings_file_stays():
    text = "# my farm\n[zones] # how many\nmax_zones = 3\n\n[columns.samples]\nrow = 'fila'\n# end\n"
    found = with_entries(
        text, {"columns": {"samples": {"vine": "cepa", "row": "hilera"}}, "block": {'A "1".b': {"rule": "x"}}}
    )
    assert found.startswith("# my farm\n[zones] # how many\nmax_zones = 3\n")
    assert tomllib.loads(found) == {
        "zones": {"max_zones": 3},
        "columns": {"samples": {"vine": "cepa", "row": "hilera"}},
        "block": {'A "1".b': {"rule": "x"}},
    }
    assert "# end" in found


def test_notes_of_an_earlier_time_are_dropped():
    notes = [("which?", [({"values": {"rule": {"otherwise": "20+20"}}}, "the first")])]
    once = with_entries("", {}, notes)
    assert once == '[values.rule]\n#?? which?\n#? otherwise = "20+20"  # the first\n'
    assert with_entries(once, {}, notes) == once
    assert "#?" not in with_entries(once, {"values": {"rule": {"otherwise": "x"}}})


def test_a_file_whose_tables_stand_on_one_line_is_left_alone():
    with pytest.raises(OutputError, match="write them by hand"):
        with_entries("columns = { samples = { row = 'x' } }\n", {"columns": {"samples": {"row": "y"}}})


words = st.text(min_size=1, max_size=12).filter(lambda text: text == "".join(c for c in text if c.isprintable()))
tables = st.dictionaries(words, st.dictionaries(words, st.one_of(words, st.integers(-99, 99), st.booleans()), min_size=1))


@settings(deadline=None)
@given(tables, tables)
def test_any_entries_are_read_back_as_they_were_put_in(old, new):
    found = with_entries(with_entries("", old), new)
    assert tomllib.loads(found) == merged(old, new)


headers = st.text(st.characters(blacklist_categories=("Cs",)), max_size=14)
cells = st.one_of(
    st.text(max_size=8), st.integers(-5, 5000), st.floats(allow_nan=True), st.none(), st.sampled_from(["2,5 x 1,2", "VSP"])
)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.dictionaries(headers, cells, max_size=6),
    st.lists(headers, max_size=5),
    st.lists(st.lists(cells, max_size=6), max_size=6),
)
def test_whatever_stands_in_the_files_is_reported_and_leaves_a_sound_settings_file(tmp_path, of_block, names, lines):
    shape = {"type": "Polygon", "coordinates": [[[-68.9, -33.0], [-68.9, -32.999], [-68.899, -32.999], [-68.9, -33.0]]]}
    said = {name: None if value != value else value for name, value in of_block.items()}
    feature = {"type": "Feature", "properties": said, "geometry": shape}
    vineyard, samples = tmp_path / "v.geojson", tmp_path / "s.csv"
    vineyard.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), "utf-8")
    with samples.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([names, *lines])
    (tmp_path / "geoprune.toml").unlink(missing_ok=True)
    found = run("check", vineyard, "--samples", samples, "--lang", "es")
    assert found.exit_code in (0, 1), found.exception
    assert found.exception is None or isinstance(found.exception, SystemExit)
    if (tmp_path / "geoprune.toml").exists():
        tomllib.loads((tmp_path / "geoprune.toml").read_text("utf-8"))
        again = run("check", vineyard, "--samples", samples)
        assert "there is no column" not in again.output
