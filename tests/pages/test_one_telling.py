"""One fact is told alike by all that comes out: pages, sheets, cards, the map's data, the terminal, summary and layers."""

from __future__ import annotations

import base64
import gzip
import json
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, replace
from functools import cache
from io import StringIO
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from rich.console import Console
from small_plans import MADE, UTM, brief_partly_without_number, brief_without_number, edition, small_brief

from geoprune.brief import BlockBrief
from geoprune.cli.summary import print_summary
from geoprune.deliver.edition import Style
from geoprune.deliver.maps import render_block_map, render_estate
from geoprune.deliver.pages import crew_card_html, crew_sheet_html, report_html
from geoprune.deliver.writing import write_plan
from geoprune.jobs import Prescription
from geoprune.plan import EstatePlan, PlanOptions
from geoprune.rules import load_rules
from geoprune.words import Reader, languages

BRIEFS: dict[str, Callable[[], BlockBrief]] = {
    "zones": small_brief,
    "one": lambda: small_brief(zones=1),
    "stop": brief_without_number,
    "parts": brief_partly_without_number,
}


def page_data(page: str) -> dict[str, Any]:
    """What the page's script draws, as it unpacks it."""
    raw = gzip.decompress(base64.b64decode(re.search(r'id="plan">([^<]*)<', page)[1]))
    return json.loads(raw[4 : 4 + int.from_bytes(raw[:4], "little")])


@dataclass(frozen=True)
class Delivered:
    """Everything that comes out for one block, in English and US units."""

    brief: BlockBrief
    map: dict[str, Any]
    estate: dict[str, Any]
    sheet: str
    card: str
    report: str
    terminal: str
    summary: dict[str, Any]
    folder: Path

    def layer(self, name: str) -> gpd.GeoDataFrame:
        """A layer of the GeoPackage."""
        return gpd.read_file(self.folder / "prescription.gpkg", layer=name)


@pytest.fixture(scope="module")
def deliver(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Delivered]:
    @cache
    def made(kind: str) -> Delivered:
        brief = BRIEFS[kind]()
        folder = tmp_path_factory.mktemp(kind) / "out"
        estate = EstatePlan((brief.plan,), UTM, PlanOptions())
        write_plan(estate, folder, style=Style(made=MADE))
        console = Console(record=True, width=400, file=StringIO())
        print_summary(console, Prescription((brief,), (), folder), Reader())
        return Delivered(
            brief,
            page_data(render_block_map(edition(brief))),
            page_data(render_estate([brief], links={brief.name: "map.html"})),
            crew_sheet_html(edition(brief)),
            crew_card_html(edition(brief)),
            report_html(edition(brief)),
            console.export_text(),
            json.loads((folder / "summary.json").read_text("utf-8"))["blocks"][brief.name],
            folder,
        )

    return made


@pytest.mark.parametrize("kind", BRIEFS)
def test_every_output_gives_the_same_numbers(deliver: Callable[[str], Delivered], kind: str) -> None:
    out = deliver(kind)
    wanted = [zone.buds for zone in out.brief.zones]
    assert [zone["buds"] for zone in out.map["zones"]] == wanted
    assert [zone["buds"] for zone in out.estate["zones"]] == wanted
    assert [zone["buds_per_vine"] for zone in out.summary["zones"]] == wanted
    layer = out.layer("zones")["buds_per_vine"]
    assert [None if buds != buds else int(buds) for buds in layer] == wanted
    runs = {(run.zone, run.buds) for row in out.brief.rows for run in row.runs}
    assert runs == (set() if kind == "stop" else {(zone.zone, zone.buds) for zone in out.brief.zones})
    drawn = {(run[2], run[4]) for lines in out.map["runs"].values() for run in lines}
    assert drawn == runs
    said = [str(buds) for buds in wanted if buds is not None]
    for text in (out.sheet, out.card, out.report, out.terminal):
        assert all(re.search(rf"(?<!\d){buds}(?!\d)", text) for buds in said)
    stops = wanted.count(None)
    assert (out.terminal.count("STOP") > 0) == (stops > 0)


@pytest.mark.parametrize("kind", BRIEFS)
def test_tape_is_everywhere_or_nowhere(deliver: Callable[[str], Delivered], kind: str) -> None:
    out = deliver(kind)
    taped = kind in ("zones", "parts")
    bands = [zone.zone if taped else 0 for zone in out.brief.zones]
    assert [zone.bands for zone in out.brief.zones] == bands
    assert [zone["bands"] for zone in out.map["zones"]] == bands
    assert [zone["bands"] for zone in out.estate["zones"]] == bands
    assert {run[3] for lines in out.map["runs"].values() for run in lines} <= set(bands)
    assert bool(out.map["flags"]["row"]) is taped
    assert bool(len(out.layer("flags"))) is taped
    assert bool(out.summary["flagged_posts"]) is taped
    with closing(sqlite3.connect(out.folder / "prescription.gpkg")) as base:
        assert bool(base.execute("SELECT max(bands) FROM runs").fetchone()[0]) is taped
    assert ('class="tape"' in out.sheet) is taped
    sentence = "Look to the nearest taped post"
    for text in (out.sheet, out.card, out.terminal, json.dumps(out.map["said"]["en"]["us"]["tape"])):
        assert (sentence in text) is taped
    for name in ("flags.gpx", "flags.kml"):
        assert (sentence in (out.folder / name).read_text("utf-8")) is taped


def test_a_vine_to_renew_is_one_in_every_output(deliver: Callable[[str], Delivered]) -> None:
    out = deliver("zones")
    vines = out.layer("vines")
    renewed = vines[vines["treatment"] == "renew"]
    assert len(renewed)
    assert (renewed["buds_per_vine"] == 0).all()
    for row, vine in zip(renewed["row"], renewed["vine"], strict=True):
        apart = out.map["said"]["en"]["us"]["apart"][row]
        said = next(text for text in apart if text.startswith("Renew"))
        assert str(vine) in re.findall(r"\d+", said)
        assert said in out.sheet
    assert int(vines["buds_per_vine"].sum()) == out.summary["buds_total"] == sum(zone.buds_total for zone in out.brief.zones)
    assert int(out.layer("panels")["buds_total"].sum()) == out.summary["buds_total"]
    for text in (out.sheet, out.card):
        assert "fewer than 3 canes as thick as a pencil" in text
    assert "Take the clusters off" not in out.sheet


@pytest.mark.parametrize("kind", BRIEFS)
def test_the_verdict_is_one_sentence(deliver: Callable[[str], Delivered], kind: str) -> None:
    out = deliver(kind)
    sentence = Reader().say(out.brief.verdict)
    said = out.map["said"]["en"]["us"]
    assert sentence in (said["verdict"], said["stop"])
    assert sentence in out.terminal
    assert out.map["headline"] == out.estate["blocks"][0]["headline"] == out.brief.headline
    assert (out.summary["verdict"] == "zone") is (len(out.brief.zones) > 1)


@pytest.mark.parametrize(("planted", "kind"), [(2025, "young"), (2005, "")])
def test_a_young_block_gets_no_number_anywhere(planted: int, kind: str) -> None:
    # Smith 2023 (Ohio State University): balanced pruning is for vines over 3 years old.
    brief = small_brief(zones=1, planted=planted)
    assert brief.plan.zones["no_number"].tolist() == [kind]
    said = page_data(render_block_map(edition(brief)))["said"]["en"]["us"]
    assert said["zones"][0]["number"] == ("FRAME" if kind else str(brief.zones[0].buds))
    treated = set(brief.plan.vines.loc[brief.plan.vines["status"] == "bearing", "treatment"])
    assert ("number" in treated) is (kind == "")
    if kind:
        assert brief.headline == "young"
        assert brief.plan.buds_per_vine is None
        assert (brief.plan.vines["buds_per_vine"] == 0).all()
        for page in (crew_sheet_html(edition(brief)), crew_card_html(edition(brief)), report_html(edition(brief))):
            assert "STOP" not in page
            assert "No number" in page


@pytest.mark.parametrize("language", languages())
def test_young_blocks_are_reported_everywhere(language: str) -> None:
    from geoprune.brief import brief_block

    plan = small_brief().plan
    rule = load_rules().resolve("20+20", "Riesling", planted=2025, season=2026)
    status = plan.vines["status"].where(plan.vines["vine"] > 8, "young")
    young = brief_block(replace(plan, rule=rule, vines=plan.vines.assign(status=status)))
    assert [message.key for message in young.young] == ["rules.young_vines", "plan.many_young"]
    reader, console = Reader(language), Console(record=True, width=400, file=StringIO())
    print_summary(console, Prescription((young,), (), Path("out")), reader)
    terminal = console.export_text()
    for sentence in map(reader.say, young.young):
        assert sentence in terminal
        assert sentence in crew_sheet_html(edition(young, language=language))
        assert sentence in crew_card_html(edition(young, language=language))
    assert small_brief().young == ()
