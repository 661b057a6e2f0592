"""Logs of several phones join without losing anything, and come back as the tables the commands read."""

from __future__ import annotations

import json
from importlib.resources import files
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoprune.deliver.field import (
    Entry,
    FieldLog,
    bud_check_layer,
    bud_check_table,
    count_table,
    left_out_table,
    live_entries,
    merge_entries,
    merge_logs,
    read_field_log,
    tick_table,
    weights_table,
)
from geoprune.errors import DataError

# Few names, so that entries of one id that differ, and chains of undoing, are met often.
IDS = st.sampled_from(["a", "b", "c", "d", "e"])
VALUES = st.one_of(
    st.just({}),
    st.fixed_dictionaries({"weight": st.sampled_from([1, 2.45, 0.3]), "unit": st.sampled_from(["kg", "lb"])}),
    st.fixed_dictionaries({"left_out": st.just("missing")}),
)
ENTRIES = st.builds(
    Entry,
    id=IDS,
    seq=st.integers(1, 6),
    device=st.sampled_from(["p", "q"]),
    at=st.just("2026-12-03T09:00:00-05:00"),
    by=st.sampled_from(["", "JM", "ñ\u2028"]),
    job=st.just("weigh"),
    row=st.sampled_from(["1", "2"]),
    vine=st.integers(1, 3),
    values=VALUES,
    undoes=st.one_of(st.just(""), IDS),
)
LOGS = st.lists(ENTRIES, max_size=8)


def keys(entries: Any) -> list[str]:
    return [entry.canonical for entry in entries]


@settings(max_examples=50)
@given(LOGS, LOGS, LOGS)
def test_joining_is_that_of_sets(a: list[Entry], b: list[Entry], c: list[Entry]) -> None:
    assert merge_entries(a, b) == merge_entries(b, a)
    assert merge_entries(merge_entries(a, b), c) == merge_entries(a, merge_entries(b, c))
    assert merge_entries(a, a) == merge_entries(a) == merge_entries(merge_entries(a))


@settings(max_examples=50)
@given(LOGS, LOGS)
def test_nothing_is_lost_and_nothing_made_up(a: list[Entry], b: list[Entry]) -> None:
    assert sorted(keys(merge_entries(a, b))) == sorted({*keys(a), *keys(b)})


@settings(max_examples=50)
@given(LOGS, LOGS)
def test_what_holds_does_not_hang_on_the_order_of_joining(a: list[Entry], b: list[Entry]) -> None:
    assert live_entries(merge_entries(a, b)) == live_entries([*b, *a])
    assert set(keys(live_entries([*a, *b]))) <= set(keys([*a, *b]))


@settings(max_examples=50)
@given(LOGS)
def test_what_nobody_undoes_holds(log: list[Entry]) -> None:
    undone = {entry.undoes for entry in log}
    held = keys(live_entries(log))
    assert all(entry.canonical in held for entry in log if entry.values and entry.id not in undone)
    assert all(entry.values for entry in live_entries(log))


@given(st.integers(1, 7))
def test_a_chain_of_undoing_holds_every_other_time(links: int) -> None:
    """Taken back, put back, taken back again: the weight holds after an even number."""
    weight = Entry("e0", 1, "p", "2026-12-03T09:00", "", "weigh", "1", 2, {"weight": 1, "unit": "kg"})
    chain = [weight] + [Entry(f"e{n}", n + 1, "p", weight.at, "", "weigh", "1", 2, {}, f"e{n - 1}") for n in range(1, links)]
    assert live_entries(chain) == ((weight,) if links % 2 == 1 else ())
    assert all(a.seq < b.seq for a, b in pairwise(merge_entries(chain)))


@pytest.mark.browser
def test_the_page_joins_and_holds_as_python_does(browser: Any) -> None:
    """The same random logs through the page's script: one order, one meaning."""
    given_logs: list[list[Entry]] = []

    @settings(max_examples=80, database=None, derandomize=True)
    @given(LOGS)
    def collect(log: list[Entry]) -> None:
        given_logs.append(log)

    collect()
    source = (files("geoprune.deliver.field") / "assets" / "log.js").read_text("utf-8")
    context = browser.new_context()
    page = context.new_page()
    said = page.evaluate(
        f"(logs) => {{ {source}; return logs.map((log) => {{ const read = log.map(readEntry);"
        " return [read.includes(null), mergeEntries(read).map(canonical), liveEntries(read).map(canonical)]; }); }",
        [[vars(entry) for entry in log] for log in given_logs],
    )
    context.close()
    for log, (unread, merged, live) in zip(given_logs, said, strict=True):
        assert not unread
        assert merged == keys(merge_entries(log))
        assert live == keys(live_entries(log))


def entry(n: int, job: str, row: str, vine: int | None, values: dict[str, Any], **also: Any) -> dict[str, Any]:
    said = {"id": f"e{n}", "seq": n, "device": "p", "at": f"2026-12-0{n}T09:00:00-05:00", "by": "JM", "job": job, "row": row}
    return {**said, "vine": vine, "values": values, "undoes": "", **also}


def written(folder: Any, entries: list[Any], **changed: Any) -> Any:
    path = folder / "list.json"
    head = {"format": "geoprune-field", "version": 1, "estate": "", "block": "A", "season": 2027}
    path.write_text(json.dumps({**head, "entries": entries, **changed}), encoding="utf-8")
    return path


def test_a_list_comes_back_as_tables(tmp_path: Any) -> None:
    log = read_field_log(
        written(
            tmp_path,
            [
                entry(1, "weigh", "3", 7, {"weight": 2.4, "unit": "lb", "canes": 31, "bull_canes": 2, "note": "old\ttrunk"}),
                entry(2, "weigh", "3", 9, {"weight": 500, "unit": "g"}),
                entry(3, "weigh", "4", 1, {"left_out": "missing"}),
                entry(4, "buds", "3", 7, {"buds_cut": 20, "primary_dead": 4, "lon": -79.5, "lat": 42.3}),
                entry(5, "prune", "3", None, {"done": True, "hours": 1.25}),
                entry(6, "check", "3", 7, {"buds_left": 44, "worker": "PR"}),
                entry(7, "check", "3", 9, {"buds_left": 99}),
                entry(8, "check", "3", 9, {}, undoes="e7"),
            ],
        )
    )
    weights = weights_table(log, unit="lb")
    first = ["A", "3", 7, 1, 2.4, 31, 2, "old trunk", "2026-12-01", 2027]
    assert weights.iloc[0].tolist() == first
    # 1 lb = 453.59237 g exactly (international yard and pound agreement, 1959): 500 g are 1.102311 lb.
    assert weights["pruning_weight_lb"].tolist() == [2.4, 1.102311]
    assert weights_table(log)["pruning_weight_kg"].tolist() == [1.088622, 0.5]
    assert left_out_table(log).iloc[0].tolist() == ["A", "4", 1, "missing", "2026-12-03"]
    assert tick_table(log).iloc[0].tolist() == ["A", "3", 1.25, "JM", "yes", "2026-12-05"]
    assert count_table(log).iloc[:, 1:].to_numpy().tolist() == [["3", 7, 44, "PR", "", "2026-12-06"]]
    assert bud_check_table(log)["worker"].tolist() == ["JM"]
    layer = bud_check_layer(log)
    assert (layer.geometry.x[0], layer.geometry.y[0], layer.crs.to_epsg()) == (-79.5, 42.3, 4326)


def test_lists_of_one_block_join_and_others_do_not(tmp_path: Any) -> None:
    one = read_field_log(written(tmp_path, [entry(1, "weigh", "1", 2, {"weight": 1, "unit": "kg"})]))
    two = read_field_log(written(tmp_path, [entry(1, "weigh", "1", 2, {"weight": 1.1, "unit": "kg"}, id="f1", device="q")]))
    assert weights_table(merge_logs([one, two, one]))["pruning_weight_kg"].tolist() == [1.0, 1.1]
    with pytest.raises(DataError, match="lists of one block"):
        merge_logs([one, FieldLog("B", 2027)])
    with pytest.raises(DataError, match="no list was given"):
        merge_logs([])


@pytest.mark.parametrize(
    ("entries", "changed", "said"),
    [
        ([], {"format": "other"}, "not a list of a field page"),
        ([], {"version": 2}, "version 2"),
        ([], {"season": "2027"}, "season is missing or not right"),
        ([7], {}, "entry 1: it is no entry"),
        ([entry(1, "dance", "1", 2, {})], {}, "job 'dance' is not known"),
        ([entry(1, "weigh", "1", 2.5, {})], {}, "vine is no whole number"),
        ([{k: v for k, v in entry(1, "weigh", "1", 2, {}).items() if k != "vine"}], {}, "vine is no whole number"),
        ([entry(1, "weigh", "1", 2, {"weight": 10**400, "unit": "kg"})], {}, "is not right"),
        ([entry(1, "weigh", "1", 2, {"weight": "x", "unit": "kg"})], {}, "weight 'x' is not right"),
        ([entry(1, "weigh", "1", 2, {"weight": 2})], {}, "the weight has no unit"),
        ([entry(1, "check", "1", 2, {"buds_left": -3})], {}, "buds_left '-3' is not right"),
        ([entry(1, "prune", "1", None, {"done": "yes"})], {}, "done 'yes' is not right"),
    ],
)
def test_a_wrong_list_is_reported(tmp_path: Any, entries: list[Any], changed: dict[str, Any], said: str) -> None:
    with pytest.raises(DataError, match=said):
        read_field_log(written(tmp_path, entries, **changed))


def test_all_problems_of_a_list_are_reported_at_once(tmp_path: Any) -> None:
    wrong = [entry(1, "dance", "1", 2, {}), entry(2, "weigh", "1", 2, {"weight": 2}), {"id": 4}]
    with pytest.raises(DataError) as raised:
        read_field_log(written(tmp_path, wrong))
    assert {problem.row for problem in raised.value.problems} == {"entry 1", "entry 2", "entry 3"}
    for text in ("", "{", "[" * 100_000):
        (tmp_path / "list.json").write_text(text)
        with pytest.raises(DataError, match=r"no JSON|not a list"):
            read_field_log(tmp_path / "list.json")
    with pytest.raises(DataError, match="cannot be read"):
        read_field_log(tmp_path / "none.json")
