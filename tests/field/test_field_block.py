"""What a field page is told, and that each of its words is there and used."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date
from importlib.resources import files

import numpy as np
import pandas as pd
import pytest
from field_blocks import field_block
from scipy import stats
from small_plans import HOSTILE, small_plan

from geoprune.deliver.field import expected_range, field_block_from_tables, pruning_season, render_field_page
from geoprune.deliver.field.block import LEAST_KG, MOST_COUNT, MOST_KG, ODD_AT
from geoprune.deliver.field.page import SCRIPTS, field_words
from geoprune.layers.columns import column


@pytest.mark.parametrize("mean", [0.25, 0.9, 2.0])
@pytest.mark.parametrize("cv", [0.2, 0.4, 0.7])
def test_the_expected_weights_are_those_of_a_lognormal(mean: float, cv: float) -> None:
    # scipy's lognorm with s = sqrt(ln(1 + cv^2)) and scale = mean / sqrt(1 + cv^2) has this mean and spread.
    law = stats.lognorm(s=math.sqrt(math.log1p(cv**2)), scale=mean / math.sqrt(1 + cv**2))
    assert (law.mean(), law.std()) == pytest.approx((mean, cv * mean))
    low, high = expected_range(mean, cv * mean)
    share = stats.norm.sf(ODD_AT)
    assert low == pytest.approx(max(law.ppf(share), LEAST_KG))
    assert high == pytest.approx(min(law.isf(share), MOST_KG))


def test_nothing_is_expected_where_nothing_is_known() -> None:
    assert expected_range(float("nan"), 0.3) is None
    assert expected_range(1.0, 0.0) is None


def test_the_page_refuses_what_the_commands_would_refuse() -> None:
    assert column("samples", "pruning_weight").limits == (LEAST_KG, MOST_KG)
    assert column("samples", "canes").limits[1] == MOST_COUNT


def test_a_winter_is_one_season() -> None:
    assert {pruning_season(day, 42.0) for day in (date(2026, 10, 1), date(2026, 12, 31), date(2027, 4, 1))} == {2027}
    assert pruning_season(date(2026, 8, 1), -34.0) == 2026


def test_a_block_comes_from_the_tables_of_a_plan() -> None:
    plan = small_plan(rows=9, vines=24, bend_m=4.0)
    weigh = pd.DataFrame({"row": plan.next_vines["row"], "vine": plan.next_vines["vine"]})
    weigh["spare_of"] = [np.nan] * (len(weigh) - 1) + [1]
    made = field_block_from_tables(
        plan.name,
        season=2027,
        rows=plan.rows,
        runs=plan.runs,
        vines=plan.vines,
        weigh=weigh,
        apart={"2": {"gone": [4, 5]}},
    )
    assert [row.row for row in made.rows] == list(dict.fromkeys(plan.runs["row"]))
    assert made.rows[1].apart == {"gone": (4, 5)}
    for row in made.rows:
        assert [vine for run in row.runs for vine in range(run.first_vine, run.last_vine + 1)] == list(range(1, 25))
        said = {(run.first_vine, run.last_vine, run.buds) for run in row.runs}
        runs = plan.runs[plan.runs["row"] == row.row]
        ends = np.sort(runs[["first_vine", "last_vine"]].to_numpy(), axis=1)
        assert said == {(a, b, n) for (a, b), n in zip(ends.tolist(), runs["buds_per_vine"], strict=True)}
    assert [(vine.row, vine.vine) for vine in made.weigh] == list(zip(weigh["row"], weigh["vine"], strict=True))
    assert made.weigh[-1].spare_of == 1
    vine = plan.vines.set_index(["row", "vine"]).loc[(made.weigh[0].row, made.weigh[0].vine)]
    assert made.weigh[0].expected_kg == expected_range(vine["vine_size_kg"], vine["vine_size_se_kg"])
    places = plan.vines.to_crs(4326).set_index(["row", "vine"]).geometry
    for row in made.rows:
        first, last = places[row.row, 1], places[row.row, 24]
        ends = [coordinate for end in (row.line[0], row.line[-1]) for coordinate in end]
        assert ends == pytest.approx([first.x, first.y, last.x, last.y], abs=1e-6)


def test_stopped_runs_have_no_number() -> None:
    plan = small_plan(rows=9, vines=24, bend_m=4.0)
    runs = plan.runs.assign(buds_per_vine=np.nan)
    made = field_block_from_tables(plan.name, season=2027, rows=plan.rows, runs=runs, vines=plan.vines)
    assert {run.buds for row in made.rows for run in row.runs} == {None}


def test_a_page_is_locked_and_holds_its_text_as_data() -> None:
    html = render_field_page(field_block(name=HOSTILE))
    assert len(re.findall(r"<script\b", html)) == 2
    assert "<img" not in html
    assert re.search(r"default-src 'none'; script-src 'sha256-[^ ]+'; style-src", html)
    assert not re.search(r"https?://", html)
    with pytest.raises(ValueError, match="word list"):
        render_field_page(field_block(), language="xx")
    with pytest.raises(ValueError, match="units"):
        render_field_page(field_block(), units="stones")
    with pytest.raises(ValueError, match="not JSON compliant"):
        render_field_page(replace(field_block(), expected_kg=(float("nan"), 1.0)))


def test_every_word_is_there_and_used() -> None:
    folder = files("geoprune.deliver.field") / "assets"
    script = "\n".join((folder / name).read_text("utf-8") for name in SCRIPTS)
    page = (folder / "page.html").read_text("utf-8")
    words = field_words()["en"]
    named = set(re.findall(r'"([a-z]+(?:_[a-z0-9]+)*)"', script)) | set(re.findall(r"words\.(\w+)", page + script))
    patterns = [re.escape(start) for start in re.findall(r"say\(`([a-z]+_)\$\{", script)]
    unused = [key for key in words if key not in named and not any(re.match(pattern, key) for pattern in patterns)]
    assert unused == []
    said = set(re.findall(r'say\("(\w+)"', script))
    assert said
    assert said <= set(words)
