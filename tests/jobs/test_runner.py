"""A job mapped over blocks: the same on threads and in processes, and a block that fails stops no other."""

from __future__ import annotations

import threading
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context

import pytest

from geoprune import processes
from geoprune.errors import DataError, Problem, ProcessLostError
from geoprune.jobs import map_blocks
from geoprune.words import languages, say


def square(number: int) -> int:
    if number == 3:
        raise ZeroDivisionError("no\nnumber")
    if number == 4:
        raise DataError([Problem("w.csv", "samples", "line 2", "too few", "Weigh more")])
    return number * number


def outcomes(**how):
    done = map_blocks(square, range(6), name=str, **how)
    return sorted(done, key=lambda outcome: outcome.position)


@pytest.mark.parametrize("kind", ["default", "threads", "processes"])
def test_every_executor_gives_the_same_and_failures_stop_nothing(kind):
    if kind == "default":
        done = outcomes()
    elif kind == "threads":
        with ThreadPoolExecutor(2) as pool:
            done = outcomes(executor=pool, at_once=1)
    else:
        with ProcessPoolExecutor(2, mp_context=get_context("fork")) as pool:
            done = outcomes(executor=pool)
    assert [outcome.block for outcome in done] == list("012345")
    assert [outcome.result for outcome in done] == [0, 1, 4, None, None, 25]
    failed = {outcome.block: outcome.failure.message for outcome in done if outcome.failure}
    assert {block: message.key for block, message in failed.items()} == {"3": "jobs.block_failed", "4": "jobs.block_refused"}
    for language in languages():
        assert "ZeroDivisionError: no number" in say(failed["3"], language, "us")
        assert "w.csv, layer samples, line 2: too few" in say(failed["4"], language, "us")


def test_progress_is_reported_when_a_block_is_begun_and_no_more_run_at_once_than_asked():
    said, running, most = [], [], []
    lock = threading.Lock()

    def work(number):
        with lock:
            running.append(number)
            most.append(len(running))
        with lock:
            running.remove(number)
        return number

    with ThreadPoolExecutor(8) as pool:
        done = list(
            map_blocks(work, range(20), name=str, executor=pool, at_once=2, progress=lambda *begun: said.append(begun))
        )
    assert said == [(str(number), number, 20) for number in range(20)]
    assert max(most) <= 2
    assert len(done) == 20


@pytest.mark.parametrize("error", [KeyboardInterrupt(), SystemExit(143), OSError(28, "No space left on device")])
def test_what_ends_a_program_ends_the_map(error):
    def fail(number):
        raise error

    with pytest.raises(type(error)):
        list(map_blocks(fail, range(3), name=str))


def test_no_block_is_no_work():
    assert list(map_blocks(square, [], name=str)) == []


def test_a_process_that_is_ended_from_outside_is_told_in_a_sentence(monkeypatch):
    monkeypatch.setattr(processes, "begin_early", lambda: None)
    with pytest.raises(ProcessLostError, match="want of memory"), processes.block_processes(1):
        raise BrokenProcessPool  # what its executor raises then
