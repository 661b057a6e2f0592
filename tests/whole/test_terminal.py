"""What the terminal says: help whose examples run, exit codes, quiet, JSON, no colour, and no control character."""

import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner
from click.types import FloatParamType
from small_jobs import run, samples, square, write_job

from geoprune.cli import main
from geoprune.cli.options import Share
from geoprune.cli.summary import calmer
from geoprune.rules import load_trainings
from geoprune.settings import definitions
from geoprune.settings.kinds import Number
from geoprune.text import clean
from geoprune.words import say

DOCS = Path(__file__).parents[2] / "docs" / "command-line.md"
COMMANDS = sorted(main.commands)
PROGRAM = [sys.executable, "-c", "from geoprune.cli import main; main()"]


def invoke(*arguments, **kwargs):
    return CliRunner().invoke(main, [str(argument) for argument in arguments], **kwargs)


def examples():
    for name in COMMANDS:
        for line in invoke(name, "--help").output.splitlines():
            if line.strip().startswith("geoprune "):
                yield line.split()[1:]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A folder that looks like demo_blocks, with a vineyard small enough to run often."""
    folder = tmp_path_factory.mktemp("demo_blocks")
    vineyard, weights = write_job(folder, square(), samples(spread=0))
    vineyard.rename(folder / "estate.gpkg")
    weights.rename(folder / "weights.csv")
    (folder / "harvest.csv").write_text("block,season,yield_lb\nA,2025,9000\n")
    return folder


def test_help_shows_an_example_of_every_command():
    assert {example[0] for example in examples()} == set(COMMANDS)


def test_examples_of_the_help_run(demo, monkeypatch):
    monkeypatch.chdir(demo)
    for example in examples():
        # results of two winters, and what phones exported: tests/seasons and tests/field run these on such files
        if example[0] in ("seasons", "join") or any("from_phones" in word for word in example):
            continue
        done = invoke(*example)
        assert done.exit_code == 0, (example, done.output)


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nfrom geoprune.cli import main\n"
        "try: main(['prescribe', '--help'])\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'pandas', 'geopandas', 'scipy', 'rich', 'folium', 'pyproj', 'shapely'} & set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0


def test_version_and_wrong_usage():
    assert re.match(r"^geoprune(, version)? \d+\.\d+", invoke("--version").output.replace("main", "geoprune"))
    assert invoke("prescribe").exit_code == 2
    assert invoke("no-such-command").exit_code == 2
    assert invoke("prescribe", "not-there.gpkg", "--out", "x").exit_code == 2


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--crs", "EPSG:99999999"), "not a coordinate reference system"),
        (("--crs", "my own"), "not a coordinate reference system"),
        (("--injury-method", "cornel"), "cornell"),
        (("--lang", "xx"), "xx"),
        (("--units", "stone"), "stone"),
        (("--wood", "cane=4"), "'canes'"),
        (("--set", "zones.max_zone=2"), "'max_zones'"),
        (("--set", "buds.max_zones=2"), "zones.max_zones=2"),
        (("--set", "max_zones"), "not of the form NAME=VALUE"),
        (("--set", "max_zones=5"), "max_zones: 5 is not from 2 to 4"),
        (("--cane-length-ft", "4", "--cane-length-m", "1.2"), "once: --cane-length-m or --cane-length-ft"),
        (("--samples", "none.csv"), "there is no file 'none.csv'"),
        (("--wood", "cane_length_ft=long"), "not a number"),
        (("--target-crop-t-ha", "5"), "--crop-figures"),
        (("--target-crop-t-ha", "5", "--target-crop-tons-ac", "5"), "once"),
        (("--fewest-buds", "50", "--most-buds", "20"), "above"),
        (("--minutes-per-vine", "-1"), "minutes-per-vine"),
        (("--background", "javascript:alert(1)"), "javascript"),
        (("--background", "https://h.test:99999999/{z}/{x}/{y}"), "99999999"),
        (("--background", "https://h.test:0/{z}/{x}/{y}"), "not a tile address"),
        (("--background", "https://h.test/{z}/{x}/{y}\x1b[2J"), "hidden characters"),
        (("--smallest-zone", "٣%"), "'٣%' is not a size"),
        (("--smallest-zone", "99999999999999999999ha"), "is not a size"),
        (("--wood", "canes=nan"), "canes: 'nan' is not a whole number"),
        (("--wood", "canes=1e400"), "canes: '1e400' is not a whole number"),
        (("--wood", "canes=2.5"), "canes: '2.5' is not a whole number"),
        (("--wood", "spur_spacing_in=90"), "spur_spacing_in: 90 is not from 1.1811 to 39.3701"),
        (("--seed", "9" * 40), "not from 0 to 2.14748e+09"),
        (("--bud-step", "2.5"), "'2.5' is not a whole number"),
        (("--bud-step", "٣"), "'٣' is not a whole number"),
        (("--covariate", f"a={__file__}", "--covariate", f"a={__file__}"), "a name stands twice"),
    ],
)
def test_wrong_usage_is_code_2_and_no_traceback(demo, tmp_path, options, said):
    done = invoke("prescribe", demo / "estate.gpkg", "--out", tmp_path / "out", *options)
    assert done.exit_code == 2, done.output
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


#: Options that take a number and are no setting: command -> options; `--within` is of `sample`, too.
OWN = {
    "buds-to-cut": ("--within", "--expect", "--alike"),
    "sample": ("--stops", "--cv", "--vine-size-lb", "--vine-size-kg", "--minutes-to-weigh"),
}
HOMES = {option: command for command, options in OWN.items() for option in options}
NUMBERS = [one.option_for(key) for one in definitions() if isinstance(one.kind, Number) for key in one.keys]


def test_every_option_that_takes_a_number_is_tried():
    options = [param for command in main.commands.values() for param in command.params]
    numbers = {param.opts[0] for param in options if isinstance(getattr(param.type, "kind", None), Number | Share)}
    assert numbers == {*NUMBERS, *HOMES}
    assert {"--change-cost", "--target-crop-tons-ac", "--cane-length-ft", "--seed"} <= numbers
    assert not [param.opts for param in options if isinstance(param.type, FloatParamType) and param.opts[0] not in numbers]


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e999", "1_0", "٣", "x"])
@pytest.mark.parametrize("option", [*NUMBERS, *HOMES])
def test_what_is_no_number_is_wrong_usage_that_names_the_option(demo, tmp_path, option, value):
    command = HOMES.get(option, "prescribe")
    job = (command,) if command == "buds-to-cut" else (command, demo / "estate.gpkg", "--out", tmp_path / "out")
    done = invoke(*job, option, value)
    assert done.exit_code == 2, done.output
    assert f"Invalid value for '{option}'" in done.stderr
    assert not (tmp_path / "out").exists()


def test_shares_are_reported_as_shares_or_per_cent():
    said = [invoke("buds-to-cut", "--within", within, "--json").output for within in ("0.1", "10%")]
    assert said[0] == said[1]
    refused = invoke("buds-to-cut", "--within", "5")
    assert refused.exit_code == 2
    assert "'5' is not a share from 0.01 (1%) to 0.5 (50%). Write 0.1 or 10%" in refused.stderr


def test_quiet_says_only_the_result(tmp_path):
    done = run(tmp_path, square(), samples(spread=0), "--quiet")
    assert (done.exit_code, done.stderr) == (0, "")
    assert "index.html" in done.stdout


def test_json_is_the_summary_and_nothing_else(tmp_path):
    done = run(tmp_path, square(), samples(spread=0), "--json")
    assert done.stderr == ""
    assert json.loads(done.stdout) == json.loads((tmp_path / "out" / "summary.json").read_text("utf-8"))


def test_summary_can_be_read_aloud_in_both_languages(tmp_path):
    english = run(tmp_path / "en", square(), samples(spread=0))
    spanish = run(tmp_path / "es", square(), samples(spread=0), "--lang", "es", "--units", "metric")
    assert re.search(r"A: (One number will do: \d+ buds on every vine|Prune in \d zones)\.", english.stdout)
    assert re.search(r"A: (Basta un solo número: \d+ yemas en cada cepa|Pode en \d zonas)\.", spanish.stdout)
    assert " lb ± " in english.stdout
    assert " kg ± " in spanish.stdout
    assert "Look at each vine" in english.stdout
    assert "Planning A" in english.stderr
    assert "no winter bud injury is assumed" in english.stderr


def test_much_tape_is_reported_with_a_price_that_calms_it():
    runs = pd.DataFrame({"row": ["1", "1", "1", "2", "2", "2"]})
    zones = pd.DataFrame({"zone": [1, 2]})
    (shown,) = calmer(runs, zones, change_cost=0.25)
    said = {code: say(shown, code, "us") for code in ("en", "es")}
    assert "4 changes of number in 2 rows, 2.0 a row" in said["en"]
    assert "--change-cost 1." in said["en"]
    assert "2.0 por hilera" in said["es"]
    assert calmer(runs.iloc[1:], zones, change_cost=0.25) == ()
    assert calmer(runs, zones.assign(given_as="north"), change_cost=0.25) == ()
    assert calmer(runs.iloc[:0], zones, change_cost=0.25) == ()


def in_terminal(*arguments, cwd, **environment):
    """Run the program on a terminal of its own; return what came out."""
    leader, follower = pty.openpty()
    settings = {"TERM": "xterm-256color", "COLUMNS": "100"} | environment
    inherited = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR")}
    program = subprocess.Popen(
        [*PROGRAM, *map(str, arguments)], stdout=follower, stderr=follower, cwd=cwd, env=inherited | settings
    )
    os.close(follower)
    out = b""
    while True:
        try:
            part = os.read(leader, 65536)
        except OSError:
            break
        if not part:
            break
        out += part
    os.close(leader)
    assert program.wait() == 0, out
    return out.decode()


COLOUR = re.compile(r"\x1b\[[0-9;]*\b(3[0-7]|38|9[0-7]|4[0-7]|48)\b[0-9;]*m")


def test_no_color_is_honoured(demo, tmp_path):
    job = ("prescribe", "estate.gpkg", "--samples", "weights.csv", "--out")
    assert COLOUR.search(in_terminal(*job, tmp_path / "a", cwd=demo))
    assert not COLOUR.search(in_terminal(*job, tmp_path / "b", cwd=demo, NO_COLOR="1"))


HOSTILE = "\x1b[2J\x1b]0;owned\x07A\u202eevil\u200b\x9b31m"


def test_control_characters_of_a_file_do_not_reach_the_terminal(tmp_path):
    assert clean(HOSTILE) == "[2J]0;ownedAevil31m"
    done = run(tmp_path, square(block=HOSTILE), samples(spread=0))
    bad = run(tmp_path / "bad", square(block=HOSTILE, rule=HOSTILE), samples(spread=0))
    for text in (done.stdout, done.stderr, bad.stdout, bad.stderr):
        assert clean(text) == text
    assert bad.exit_code == 1


def test_shell_completion_names_the_commands():
    environment = os.environ | {"_GEOPRUNE_COMPLETE": "bash_complete", "COMP_WORDS": "geoprune pre", "COMP_CWORD": "1"}
    program = Path(sys.executable).parent / "geoprune"
    done = subprocess.run([program], env=environment, capture_output=True, text=True)
    assert "prescribe" in done.stdout


def test_rules_are_listed_with_their_sources():
    said = json.loads(invoke("rules", "--json").output)
    assert all(rule["source"] for rule in said)
    shown = " ".join(invoke("rules").output.split())
    for rule in said:
        assert rule["rule"].split()[0] in shown
    assert "Ohio State" in shown
    trials = json.loads(invoke("rules", "--trials", "--json").output)
    assert {"variety", "result", "source"} <= set(trials[0])
    assert [one["id"] for one in json.loads(invoke("trainings", "--json").output)] == list(load_trainings())
    (row,) = json.loads(invoke("buds-to-cut", "--within", "0.095", "--expect", "0.35", "--json").output)
    assert row["buds"] == pytest.approx(97, abs=1)  # 35 of 100 reads as 26-44 %, half-width 9.3 points


def test_docs_tell_every_command_option_and_exit_code():
    text = DOCS.read_text("utf-8")
    for name in COMMANDS:
        assert f"geoprune {name}" in text
        for param in main.commands[name].params:
            for option in param.opts:
                if option.startswith("--") and not getattr(param, "hidden", False):
                    assert f"`{option}`" in text, (name, option)
    for code in ("| 0 |", "| 1 |", "| 2 |"):
        assert code in text
