"""The crew's sheet: what the PDF says, read back by another program (poppler), against the plan's own row list."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from itertools import groupby, pairwise, product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from small_plans import HOSTILE, MADE, brief_partly_without_number, brief_without_number, edition, small_brief, small_plan

from geoprune.brief import brief_block
from geoprune.brief.places import place_words
from geoprune.brief.zones import recipe_parts
from geoprune.deliver.pages import crew_card_html, crew_card_pdf, crew_sheet_html, crew_sheet_pdf
from geoprune.deliver.pages.content import sheet_content
from geoprune.deliver.pages.text import BREAK, clean, shorten
from geoprune.errors import Message
from geoprune.plan import BlockPlan
from geoprune.rules import fit_recipe, load_trainings
from geoprune.words import Reader, languages, say, word_lists

# Paper, ISO 216 and ANSI/ASME Y14.1, in points.
SIZES = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
CARDS = {"a4": (297.64, 419.53), "letter": (396.0, 612.0)}

poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs Debian's package poppler-utils")


def run(*command: str, data: bytes, tmp_path: Path) -> str:
    file = tmp_path / "sheet.pdf"
    file.write_bytes(data)
    done = subprocess.run([part.replace("FILE", str(file)) for part in command], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


def pages_of(data: bytes, tmp_path: Path) -> list[str]:
    return run("pdftotext", "-layout", "FILE", "-", data=data, tmp_path=tmp_path).split("\f")[:-1]


def listed(pages: list[str], language: str) -> pd.DataFrame:
    """Read the row list back from the text of the pages: a row's name stands beside one of its lines."""
    end = word_lists()[language]["sheet"]["end_post"]
    line = re.compile(rf"({end}|\d+)\s*→\s*({end}|\d+)\s+(\d+)\s*–\s*(\d+)\s+(\d|–)\s+(\d+|STOP|ALTO)\s+(\d+)\s*$")
    found = []
    for number, page in enumerate(pages):
        for text in page.splitlines():
            hit = line.search(text)
            if hit:
                start, stop, first, last, bands, buds, vines = hit.groups()
                found.append((number, start, stop, int(first), int(last), bands, buds, int(vines)))
    columns = ["page", "from", "to", "first_vine", "last_vine", "bands", "buds", "vines"]
    return pd.DataFrame(found, columns=columns)


def expected(plan: BlockPlan, language: str) -> pd.DataFrame:
    """The plan's runs with end posts by name, worked out here from the panels and not by the page's code."""
    last = plan.panels.groupby("row")["panel"].max()
    end = word_lists()[language]["sheet"]["end_post"]

    def named(posts: pd.Series) -> list[str]:
        return [end if post in (0, last[row]) else str(post) for post, row in zip(posts, plan.runs["row"], strict=True)]

    runs = plan.runs
    bands = runs["bands"].astype(str) if len(plan.zones) > 1 else pd.Series("–", runs.index)
    buds = runs["buds_per_vine"].astype(int).astype(str)
    columns = {"from": named(runs["from_post"]), "to": named(runs["to_post"]), "first_vine": runs["first_vine"]}
    return pd.DataFrame({**columns, "last_vine": runs["last_vine"], "bands": bands, "buds": buds, "vines": runs["vines"]})


@poppler
@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("paper", SIZES)
def test_the_text_of_the_pdf_is_the_row_list(tmp_path: Path, language: str, paper: str) -> None:
    plan = small_plan(rows=24, vines=70)
    pages = pages_of(crew_sheet_pdf(edition(plan, language=language, paper=paper)), tmp_path)
    found, wanted = listed(pages, language), expected(plan, language)
    pd.testing.assert_frame_equal(found.drop(columns="page"), wanted.reset_index(drop=True), check_dtype=False)
    rows = re.findall(r"^ *(\d+)\s+[NESWO]{1,2}\s*→\s*[NESWO]{1,2}\b", "\n".join(pages[1:]), flags=re.MULTILINE)
    assert [int(row) for row in rows] == list(range(1, 25))


@poppler
@pytest.mark.parametrize("language", languages())
def test_the_ends_of_each_line_carry_its_tape(tmp_path: Path, language: str) -> None:
    plan = small_plan(rows=20, vines=80, zones=4, seed=4)
    found = listed(pages_of(crew_sheet_pdf(edition(plan, language=language)), tmp_path), language)
    posts = plan.flags.set_index(["row", "after_vine"])
    for row, line in zip(plan.runs["row"], found.itertuples(), strict=True):
        first, last = sorted((line.first_vine, line.last_vine))
        assert posts.loc[(row, first - 1), "high_bands"] == int(line.bands)
        assert posts.loc[(row, last), "low_bands"] == int(line.bands)
    assert posts[["low_bands", "high_bands"]].notna().sum().sum() == 2 * len(found)


@poppler
@pytest.mark.parametrize("language", languages())
def test_one_number_prints_no_row_list_but_the_vines_apart(tmp_path: Path, language: str) -> None:
    plan = small_plan(rows=24, vines=70, zones=1)
    pages = pages_of(crew_sheet_pdf(edition(plan, language=language)), tmp_path)
    assert listed(pages, language).empty
    words = word_lists()[language]
    assert words["sheet"]["apart_head"] in pages[1]
    gone = plan.vines[plan.vines["treatment"] == "gone"]
    row = gone["row"].iloc[0]
    assert re.search(rf"(^|\s){row}: ", "\n".join(pages[1:]))


@poppler
@pytest.mark.parametrize("paper", SIZES)
def test_following_the_sheet_gives_every_vine_its_zone(tmp_path: Path, paper: str) -> None:
    plan = small_plan(rows=15, vines=61, zones=4, seed=5)
    found = listed(pages_of(crew_sheet_pdf(edition(plan, paper=paper)), tmp_path), "en")
    row = plan.runs["row"].to_numpy()
    zone = {}
    for name, line in zip(row, found.itertuples(), strict=True):
        for vine in range(min(line.first_vine, line.last_vine), max(line.first_vine, line.last_vine) + 1):
            zone[name, vine] = int(line.bands)
    said = [zone[name, vine] for name, vine in zip(plan.vines["row"], plan.vines["vine"], strict=True)]
    assert said == plan.vines["zone"].tolist()


@poppler
@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("language", languages())
def test_no_row_is_split_over_two_pages(tmp_path: Path, paper: str, language: str) -> None:
    plan = small_plan(rows=60, vines=80, zones=4, seed=4)
    found = listed(pages_of(crew_sheet_pdf(edition(plan, language=language, paper=paper)), tmp_path), language)
    pages = found["page"].groupby(plan.runs["row"].to_numpy()).nunique()
    assert (pages == 1).all()
    assert found["page"].nunique() > 3


@poppler
@pytest.mark.parametrize("language", languages())
def test_every_page_names_the_block_and_its_number_and_repeats_the_heads(tmp_path: Path, language: str) -> None:
    pages = pages_of(crew_sheet_pdf(edition(small_plan(rows=40), language=language)), tmp_path)
    words = word_lists()[language]["sheet"]
    for number, page in enumerate(pages, start=1):
        assert "Creek Bench" in page
        assert f"{words['page']} {number} {words['of']} {len(pages)}" in page
        assert number == 1 or all(words[key].split()[0] in page for key in ("row", "posts", "tape", "buds", "done"))


@poppler
@pytest.mark.parametrize("paper", SIZES)
def test_paper_size_and_embedded_faces(tmp_path: Path, paper: str) -> None:
    for data, size in ((crew_sheet_pdf, SIZES), (crew_card_pdf, CARDS)):
        pdf = data(edition(small_plan(rows=6, vines=30), paper=paper, language="es"))
        said = run("pdfinfo", "FILE", data=pdf, tmp_path=tmp_path)
        width, height = (float(part) for part in re.findall(r"Page size: +([\d.]+) x ([\d.]+)", said)[0])
        assert (width, height) == pytest.approx(size[paper], abs=0.5)
        fonts = run("pdffonts", "FILE", data=pdf, tmp_path=tmp_path).splitlines()[2:]
        assert fonts
        for font in fonts:
            embedded, _, unicode = font.split()[-5:-2]
            assert (embedded, unicode) == ("yes", "yes"), font


@poppler
@pytest.mark.parametrize(
    ("zones", "paper", "language"), [(1, "a4", "en"), (2, "letter", "es"), (4, "letter", "es"), (4, "a4", "en")]
)
def test_page_one_holds_its_parts_without_overlap(tmp_path: Path, zones: int, paper: str, language: str) -> None:
    plan = small_plan("flat cane", rows=60, vines=60, seed=4, zones=zones)
    pdf = crew_sheet_pdf(edition(plan, paper=paper, language=language))
    boxes = run("pdftotext", "-bbox", "-l", "1", "FILE", "-", data=pdf, tmp_path=tmp_path)
    words = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)<', boxes)
    width, height = SIZES[paper]
    foot = max(float(word[1]) for word in words) - 3
    rest = [word for word in words if float(word[1]) < foot]
    assert max(float(word[3]) for word in rest) < foot + 3
    assert all(float(word[0]) > 0 and float(word[2]) < width and float(word[3]) < height for word in words)
    sizes = {word[4]: float(word[3]) - float(word[1]) for word in sorted(words, key=lambda w: float(w[3]) - float(w[1]))}
    for buds in plan.zones["buds_per_vine"]:
        # 40 pt is read at arm's length; the box of a word is at least as high as its face.
        assert sizes[str(buds)] >= 40


@poppler
def test_a_sheet_is_in_one_language(tmp_path: Path) -> None:
    plan = small_plan("arched cane", rows=8, vines=40)
    said = {
        language: "".join(pages_of(crew_sheet_pdf(edition(plan, language=language)), tmp_path)) for language in ("en", "es")
    }
    for language, other in (("en", "es"), ("es", "en")):
        own, foreign = (word_lists()[code] for code in (language, other))
        for key in ("tape", "buds", "vines", "done", "list_head"):
            assert own["sheet"][key].split()[-1] in said[language]
            assert foreign["sheet"][key].split()[-1] not in said[language]
    assert "3 de diciembre de 2026" in said["es"]
    assert "December 3, 2026" in said["en"]


@poppler
def test_past_the_stop_limit_the_sheet_says_ask_and_gives_no_number(tmp_path: Path) -> None:
    # Martinson 2014, Cornell: above 80 % injury no count is given.
    plan = brief_without_number(rows=20)
    for draw, paper in product((crew_sheet_pdf, crew_card_pdf), SIZES):
        pages = pages_of(draw(edition(plan, language="en", paper=paper)), tmp_path)
        assert len(pages) == 1
        assert "STOP" in pages[0]
        said = re.sub(r"\s+", " ", pages[0])
        assert "Ask the manager first" in said
        assert "Phone" in said
        assert "1440 of 1600 cut buds had a dead primary" in said
        assert "more than 80 % dead, so no number is given" in said
        assert re.search("[Ll]ocal rules and a licensed adviser come first", said)
        assert ("eye protection" in said) is (draw is crew_sheet_pdf)
        for word in ("buds per vine", "to prune", "Pruned on", "is a guide", "Count the well-formed buds"):
            assert word not in said
    for draw in (crew_sheet_html, crew_card_html):
        said = draw(edition(plan, language="es"))
        assert "ALTO" in said
        assert "Pregunte primero al encargado" in said
        assert "1440 de 1600 yemas" in said
        for word in ("para podar", "es una guía", "Cuente las yemas"):
            assert word not in said


@poppler
def test_a_zone_past_the_stop_limit_alone_says_stop(tmp_path: Path) -> None:
    found = listed(pages_of(crew_sheet_pdf(edition(brief_partly_without_number())), tmp_path), "en")
    assert set(found.loc[found["bands"] == "1", "buds"]) == {"STOP"}
    assert set(found.loc[found["bands"] != "1", "buds"]).isdisjoint({"STOP", "?"})


class Cells(HTMLParser):
    """Text of each table cell and heading cell, row by row."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[list[str]] = []
        self.inside = False

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        if tag == "tr":
            self.lines.append([])
        if tag in ("td", "th"):
            self.lines[-1].append("")
            self.inside = True

    def handle_endtag(self, tag: str) -> None:
        self.inside = self.inside and tag not in ("td", "th")

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.lines[-1][-1] += data


@pytest.mark.parametrize("language", languages())
def test_the_page_says_what_the_pdf_says(language: str) -> None:
    plan = small_plan(rows=24, vines=70)
    cells = Cells()
    cells.feed(crew_sheet_html(edition(plan, language=language)))
    said = [[cell.strip() for cell in line] for line in cells.lines if any("→" in cell for cell in line)]
    wanted = expected(plan, language)
    lines = [line[1:] if len(line) == 7 else line for line in said]
    assert [line[:5] for line in lines] == [
        [
            f"{run['from']} → {run['to']}",
            f"{run['first_vine']} – {run['last_vine']}",
            run["bands"],
            run["buds"],
            str(run["vines"]),
        ]
        for run in wanted.to_dict("records")
    ]


@poppler
@pytest.mark.parametrize("language", languages())
def test_text_from_files_is_shown_and_nothing_else(tmp_path: Path, language: str) -> None:
    plan = small_plan(rows=10, vines=40, name=HOSTILE, note=HOSTILE)
    plan = replace(plan, name=HOSTILE + '#eval("1+1") $x$ *b* @ref [c] \x00\x0b <u>', settings=plan.settings)
    pages = pages_of(crew_sheet_pdf(edition(plan, language=language)), tmp_path)
    start = shorten(plan.name, 40).replace(BREAK, "")[:20]
    assert all(start in page.replace(BREAK, "") for page in pages)
    found = listed(pages, language).drop(columns="page")
    pd.testing.assert_frame_equal(found, expected(plan, language).reset_index(drop=True), check_dtype=False)
    assert len(pages_of(crew_card_pdf(edition(plan, language=language)), tmp_path)) <= 2
    for html in (crew_sheet_html(edition(plan, language=language)), crew_card_html(edition(plan, language=language))):
        assert "<script" not in html
        assert "<img" not in html
        assert "\u202e" not in html


@poppler
@pytest.mark.parametrize("training", load_trainings())
def test_the_front_of_the_card_has_every_number(tmp_path: Path, training: str) -> None:
    for paper, language in (("letter", "en"), ("a4", "es")):
        plan = small_plan(training, rows=30, vines=60, zones=4, seed=4)
        pages = pages_of(crew_card_pdf(edition(plan, language=language, paper=paper)), tmp_path)
        assert len(pages) <= 2
        assert {str(buds) for buds in plan.zones["buds_per_vine"]} <= set(pages[0].split())


def test_a_block_of_40_000_vines_in_500_rows_weighs_little() -> None:
    assert len(crew_sheet_pdf(edition(small_plan(rows=500, vines=80, seed=4)))) < 600_000


def test_the_same_plan_gives_the_same_bytes() -> None:
    plan = small_plan(rows=6, vines=30)
    assert crew_sheet_pdf(edition(plan)) == crew_sheet_pdf(edition(plan))


def test_a_long_row_goes_on_under_its_name() -> None:
    brief = small_brief(rows=6, vines=160)
    run = brief.rows[0].runs[0]
    runs = tuple(replace(run, from_post=i, to_post=i + 1, zone=i % 3 + 1, bands=i % 3 + 1) for i in range(40))
    rows = sheet_content(replace(brief, rows=(replace(brief.rows[0], runs=runs),)), Reader(), made=MADE)["rows"]
    assert [len(group["lines"]) for group in rows] == [14, 14, 12]
    assert {group["row"] for group in rows} == {"1"}
    assert [group["way"] for group in rows][1:] == ["continued"] * 2


def test_rows_are_walked_to_and_fro() -> None:
    rows = sheet_content(small_brief(rows=12, vines=40), Reader(), made=MADE)["rows"]
    ways = [group["way"] for group in rows]
    assert all(one.split(" → ") == other.split(" → ")[::-1] for one, other in pairwise(ways))
    assert [group["row"] for group in rows] == [name for name, _ in groupby(group["row"] for group in rows)]


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(ValueError, match="letter or a4"):
        crew_sheet_pdf(edition(small_plan(rows=4, vines=20), paper="legal"))


def test_clean_text_keeps_letters_of_all_scripts() -> None:
    assert clean("Peña 漢字 עברית\u202e \u200b\x07!") == "Peña 漢字 עברית !"


def test_word_lists_hold_the_same_keys_and_blanks() -> None:
    lists = word_lists()
    for room in ("sheet", "card", "report", "brief"):
        keys = {code: lists[code][room].keys() for code in lists}
        assert all(held == keys["en"] for held in keys.values())
        for key, sentence in lists["en"][room].items():
            blanks = set(re.findall(r"{(\w+)", sentence))
            assert all(set(re.findall(r"{(\w+)", lists[code][room][key])) == blanks for code in lists), key


@poppler
def test_another_language_is_one_word_list_more_with_its_own_marks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from geoprune import words
    from geoprune.words import lists

    for code in ("en", "es"):
        shutil.copytree(lists.FOLDER / code, tmp_path / code)
    shutil.copytree(lists.FOLDER / "en", tmp_path / "fr")
    path = tmp_path / "fr" / "sheet.toml"
    path.write_text(path.read_text("utf-8").replace('tape = "Tape"', 'tape = "Ruban"'), "utf-8")
    monkeypatch.setattr(lists, "FOLDER", tmp_path)
    for cached in (lists.word_lists, lists.room_words, lists.languages):
        cached.cache_clear()
    try:
        assert words.languages() == ("en", "es", "fr")
        plan = small_plan(rows=20, vines=80)
        pages = pages_of(crew_sheet_pdf(edition(plan, language="fr")), tmp_path)
        assert "Ruban" in pages[1]
        assert f"{int(plan.zones['vines'].sum()):,}".replace(",", " ") in re.sub(r"\s", " ", pages[0])
        size = Message("map.size_sentence", {"vine_size_kg": 1.5})
        assert [words.say(size, code, "metric") for code in ("es", "fr")] == [
            "Peso de poda 1.50 kg por cepa.",
            "Pruning weight 1,50 kg per vine.",
        ]
    finally:
        for cached in (lists.word_lists, lists.room_words, lists.languages):
            cached.cache_clear()


def test_long_row_names_keep_what_tells_them_apart():
    from geoprune.deliver.pages.block_picture import end_names

    assert end_names(["East Bench 003", "East Bench 004", "East Bench 010"]) == ["003", "004", "010"]
    assert end_names(["1", "2", "31"]) == ["1", "2", "31"]


@poppler
def test_a_row_name_with_a_hyphen_and_its_way_stay_in_one_line(tmp_path: Path) -> None:
    brief = small_brief(rows=9, vines=60)
    renamed = replace(brief, rows=tuple(replace(row, row=f"N-0{row.row}") for row in brief.rows))
    rows = brief.plan.rows.assign(row="N-0" + brief.plan.rows["row"].astype(str))
    said = replace(renamed, plan=replace(brief.plan, rows=rows))
    text = "\n".join(pages_of(crew_sheet_pdf(edition(said)), tmp_path)[1:])
    ways = re.findall(r"^ *(N-0\d)\s+[NESW]{1,2} → [NESW]{1,2}\b", text, flags=re.MULTILINE)
    assert ways == [f"N-0{row}" for row in range(1, 10)]


@poppler
@pytest.mark.parametrize("paper", CARDS)
@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("training", ["top-wire cordon", "four-cane"])
def test_a_card_with_four_zones_has_its_picture(tmp_path: Path, paper: str, language: str, training: str) -> None:
    plan = small_plan(training, rows=30, vines=60, zones=4, seed=4)
    front, *_ = pages_of(crew_card_pdf(edition(plan, language=language, paper=paper)), tmp_path)
    assert word_lists()[language]["sheet"]["start"] in front


def test_one_piece_is_reported_as_one() -> None:
    parts = recipe_parts(fit_recipe(12, "flat cane", 1.8, canes=1, renewal_spurs=1))
    assert [say(part, "en", "us") for part in parts] == ["cane 1 × 10", "renewal 1 × 2"]
    assert [say(part, "es", "us") for part in parts] == ["cargador 1 × 10", "renovación 1 × 2"]


@pytest.mark.parametrize(
    ("parts", "en", "es"),
    [
        (["s", "n"], "south and north parts", "partes sur y norte"),
        (["w", "more"], "west part, and small pieces elsewhere", "parte oeste, y pedazos en otros lugares"),
        (["middle", "ne"], "middle of the block, north-east part", "centro del cuartel, parte noreste"),
        (["scattered"], "in several places", "en varios lugares"),
        (["e_end"], "east end", "extremo este"),
        (
            ["sw_inner", "more"],
            "south-west of the middle, and small pieces elsewhere",
            "al suroeste del centro, y pedazos en otros lugares",
        ),
    ],
)
def test_where_a_zone_lies_is_reported_as_people_say_it(parts: list[str], en: str, es: str) -> None:
    for language, said in (("en", en), ("es", es)):
        found = ", ".join(say(place, language, "us") for place in place_words(parts))
        assert sorted(found.split(", ")) == sorted(said.split(", "))


@pytest.mark.parametrize("language", languages())
def test_each_row_says_whether_its_post_numbers_go_up_or_down(language: str) -> None:
    brief, tape = small_brief(rows=12, vines=40), word_lists()[language]["tape"]
    said = sheet_content(brief, Reader(language), made=MADE)
    runs = brief.plan.runs.groupby("row", sort=False)[["from_post", "to_post"]].agg(
        {"from_post": "first", "to_post": "last"}
    )
    rising = (runs["from_post"] < runs["to_post"]).tolist()
    assert [group["posts"] for group in said["rows"]] == [tape["posts_up" if up else "posts_down"] for up in rising]
    assert set(rising) == {True, False}
    # the first row's ends, measured here: in which direction of the compass vine 1 stands
    start, end = (np.array(brief.plan.rows.geometry.iloc[0].coords[at][:2]) for at in (0, -1))
    sector = int(np.round(np.degrees(np.arctan2(*(start - end))) / 45.0)) % 8
    words = word_lists()[language]["brief"]
    assert words["post_one_end"].format(end=words[f"compass_{sector}"]) in said["list_notes"][1]
    page = crew_sheet_html(edition(brief, language=language))
    assert all(sentence in page for sentence in (*said["list_notes"], said["tape"][0]))
    rows = brief.plan.rows
    turned = rows.assign(geometry=[line if i % 2 else line.reverse() for i, line in enumerate(rows.geometry)])
    mixed = sheet_content(brief_block(replace(brief.plan, rows=turned)), Reader(language), made=MADE)
    assert words["post_vine_1"] in mixed["list_notes"][1]
    assert sheet_content(small_brief(zones=1), Reader(language), made=MADE)["tape"] == []


def test_rows_are_drawn_as_they_bend() -> None:
    plan = small_plan(rows=8, vines=40, bend_m=15.0)
    page = crew_sheet_html(edition(plan))
    drawn = re.findall(r'<path[^>]*class="row"[^>]*>', page)
    assert len(drawn) == 8
    for line in drawn:
        points = np.array(re.findall(r"-?[0-9.]+", re.search(r' d="([^"]+)"', line)[1]), dtype=float).reshape(-1, 2)
        way = points[-1] - points[0]
        off = points - points[0]
        assert np.abs(off[:, 0] * way[1] - off[:, 1] * way[0]).max() / np.hypot(*way) > 2.0


@pytest.mark.parametrize("language", languages())
def test_renewal_spurs_are_spoken_of_only_where_there_are_some(language: str) -> None:
    said = say(Message("cautions.renewal_counts"), language, "us")
    assert said in crew_sheet_html(edition(small_plan("flat cane", rows=8, vines=40), language=language))
    assert said not in crew_sheet_html(edition(small_plan("top-wire cordon", rows=8, vines=40), language=language))


def test_where_posts_are_not_surveyed_the_list_speaks_of_vines_and_what_was_assumed_stands_at_the_foot():
    plan = small_plan()
    said = sheet_content(brief_block(plan), Reader(), made=MADE)
    unknown = replace(plan, settings=replace(plan.settings, posts_surveyed=False))
    loose = sheet_content(brief_block(unknown), Reader(), made=MADE)
    heads = [Reader(code).words("sheet")["posts"] for code in languages()]
    for code, head in zip(languages(), heads, strict=True):
        assert head in crew_sheet_html(edition(brief_block(plan), language=code))
        assert head not in crew_sheet_html(edition(brief_block(unknown), language=code))
        assert b"%PDF" in crew_sheet_pdf(edition(brief_block(unknown), language=code))
    assert any(group["posts"] for group in said["rows"])
    assert not any(group["posts"] for group in loose["rows"])
    assert set(loose["assumed"]) - set(said["assumed"]) == {
        f"The file does not say where the posts are: {plan.settings.vines_per_panel} vines between two posts were assumed. "
        "Tape goes on the wire between the two vines named."
    }
    assert not any("post 0" in line.lower() for line in loose["list_notes"])
