"""A block that winter bud injury allows no number has no tape, no hours and no figure that could pass for one."""

import geopandas as gpd
import pandas as pd
import pytest
from small_jobs import checks, run, samples, square, summary


@pytest.fixture(scope="module")
def stopped(tmp_path_factory):
    """Folder and output of a run: vines that rise from west to east, 95 of 100 buds dead."""
    folder, table = tmp_path_factory.mktemp("stopped"), samples(60)
    table["pruning_weight_lb"] = (1.0 + 0.15 * table["row"] + 0.1 * (table["vine"] % 3)).round(2)
    done = run(folder, square(), table, bud_checks=checks(95))
    assert done.exit_code == 0, done.output
    assert len(summary(folder)["blocks"]["A"]["zones"]) > 1
    return folder, done.stdout


def layer(folder, name):
    return gpd.read_file(folder / "out" / "prescription.gpkg", layer=name)


def test_no_tape_and_no_hours(stopped):
    folder, said = stopped
    block = summary(folder)["blocks"]["A"]
    assert block["flagged_posts"] == 0
    assert len(layer(folder, "flags")) == 0
    assert "<wpt" not in (folder / "out" / "flags.gpx").read_text("utf-8")
    assert "<Placemark" not in (folder / "out" / "flags.kml").read_text("utf-8")
    pages = "".join(page.read_text("utf-8") for page in (folder / "out" / block["folder"]).glob("report.html"))
    for text in (said, pages, str(block["notes"]), str(block["advice"])):
        assert text
        assert " tape" not in text
        assert "minutes per vine" not in text


def test_the_report_says_nothing_of_how_far_numbers_are_off(stopped):
    folder, _ = stopped
    page = (folder / "out" / summary(folder)["blocks"]["A"]["folder"] / "report.html").read_text("utf-8")
    assert "buds off" not in page
    assert 'id="benefit"' not in page
    assert 'id="loo"' in page


def test_no_file_has_a_rule_s_buds_or_a_diagnosis(stopped):
    folder, _ = stopped
    out, block = folder / "out", summary(folder)["blocks"]["A"]
    empty = ["buds_per_vine", "buds_total", "buds_by_rule", "buds_low", "buds_high", "diagnosis"]
    sheets = [
        layer(folder, "zones"),
        pd.read_csv(out / "prescription.csv"),
        pd.read_excel(out / "prescription.xlsx", engine="calamine"),
    ]
    tables = [pd.DataFrame(block["zones"]), *sheets]
    for table in tables:
        said = [name for name in empty if name in table]
        assert len(said) >= 3, list(table)
        assert table[said].isna().all(axis=None)
        assert table["vine_size_kg"].notna().any()
    for entry in block["advice"]:
        assert entry["diagnosis"] is None
        assert entry["evidence"] == entry["remedies"] == []
        assert any("95 %" in line for line in entry["sentences"])
    line = (out / block["folder"] / "report.html").read_text("utf-8").split("<tbody>")[1].split("</tr>")[0]
    assert line.count("<td>–</td>") == 3  # buds, by the rule, recipe
