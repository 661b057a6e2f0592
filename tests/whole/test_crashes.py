"""Results whole or not at all, whatever kills a run; what killed runs leave is cleared; one run at a time."""

import errno
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from geoprune import owned
from geoprune.deliver.writing import folder
from geoprune.deliver.writing.folder import check_target, exchange, failure_text, replace_folder, tidy
from geoprune.errors import OutputError
from geoprune.owned import is_left_over, owned_folder

#: Replaces a folder again and again, each time with three files that hold the same number.
REPLACE = """
import itertools, json, sys
from pathlib import Path
from geoprune.deliver.writing.folder import replace_folder, tidy, digest
out = Path(sys.argv[1])
tidy(out)
for number in itertools.count(int(sys.argv[2])):
    def fill(made):
        for name in "abc":
            (made / name).write_text(str(number))
        digests = {name: digest(made / name) for name in "abc"}
        (made / "summary.json").write_text(json.dumps({"program": "geoprune", "digests": digests}))
    replace_folder(out, fill, force=True)
    print(number, flush=True)
"""


def fill(number):
    def filled(made):
        (made / "a").write_text(str(number))
        digests = {"a": folder.digest(made / "a")}
        (made / "summary.json").write_text(json.dumps({"program": "geoprune", "digests": digests}))

    return filled


def killed_at(out: Path, seconds: float, start: int) -> None:
    process = subprocess.Popen([sys.executable, "-c", REPLACE, str(out), str(start)], stdout=subprocess.PIPE)
    process.stdout.readline()
    time.sleep(seconds)
    process.send_signal(signal.SIGKILL)
    process.communicate()


def is_whole(out: Path) -> bool:
    return len({(out / name).read_text() for name in "abc"}) == 1 and (out / "summary.json").exists()


@pytest.mark.parametrize("seconds", [0.0, 0.0007, 0.0031, 0.0113])
def test_killed_at_any_moment_results_are_whole(tmp_path, seconds):
    """benchmarks/killed_runs.py does it at a hundred moments."""
    out = tmp_path / "out"
    killed_at(out, seconds, 0)
    assert is_whole(out)
    assert len(list(tmp_path.iterdir())) <= 2
    assert not tidy(out)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    assert is_whole(out)


def test_folders_are_exchanged_in_one_step(tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    if not exchange(tmp_path / "a", tmp_path / "b"):
        pytest.skip("this file system cannot exchange folders")
    assert (tmp_path / "a" / "b").exists()
    assert (tmp_path / "b" / "a").exists()
    with pytest.raises(OSError, match="No such file"):
        exchange(tmp_path / "a", tmp_path / "nowhere")


def test_killed_between_two_renames_the_old_results_come_back(tmp_path, monkeypatch):
    monkeypatch.setattr(folder, "exchange", lambda one, other: False)  # as where the system cannot
    out = replace_folder(tmp_path / "out", fill(1))
    steps = []

    def rename(one, other, real=os.rename):
        steps.append(one)
        if len(steps) == 2:
            raise SystemExit  # the moment of the kill: nothing of ours runs after it
        real(one, other)

    monkeypatch.setattr(os, "rename", rename)
    monkeypatch.setattr(folder.shutil, "rmtree", lambda *args, **options: None)
    with pytest.raises(SystemExit):
        replace_folder(out, fill(2), force=True)
    monkeypatch.undo()
    if out.exists():  # what a kill would have left
        os.rename(out, tmp_path / ".out-abcd1234.old")
    assert not out.exists()
    assert tidy(out)
    assert (out / "a").read_text() == "1"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_whatever_is_written_next_to_the_same_place_clears_what_killed_runs_left(tmp_path):
    """Every command writes through `replace_folder`: it need not be the one that was killed."""
    for name in (".out-abcdefgh.part", ".out-ijklmnop.part"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "a").touch()
    replace_folder(tmp_path / "out", fill(1))
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_results_that_stepped_aside_in_a_killed_run_are_not_written_over_by_another_command(tmp_path):
    out = replace_folder(tmp_path / "out", fill(1))
    os.rename(out, tmp_path / ".out-abcd1234.old")  # killed between two renames
    with pytest.raises(OutputError, match="exists already"):
        replace_folder(out, fill(2))
    assert (out / "a").read_text() == "1"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_second_run_into_the_same_folder_is_refused(tmp_path):
    out = tmp_path / "out"
    with owned_folder(tmp_path, *folder.names_of(out, ".part")):
        with pytest.raises(OutputError, match="another run is writing it"):
            replace_folder(out, fill(2))
        replace_folder(tmp_path / "out-2", fill(3))
        assert not tidy(out)
        assert len(list(tmp_path.glob(".out-*.part"))) == 1
    check_target(out, force=False)


def test_folders_of_living_runs_and_of_people_stay(tmp_path):
    out = tmp_path / "out"
    for name in (".out-abc.part", ".out-2-abcdefgh.part", ".other-abcdefgh.part", "out-abcdefgh.part"):
        (tmp_path / name).mkdir()
    with owned_folder(tmp_path, ".out-", ".part") as mine:
        assert not is_left_over(mine)
        tidy(out)
        assert mine.exists()
    tidy(out)
    assert len(list(tmp_path.iterdir())) == 4


#: Makes folders of its own, again and again, and clears those of dead runs: its own must stay.
MAKE_AND_CLEAR = """
import sys
from pathlib import Path
from geoprune.owned import clear_left_over, owned_folder
for number in range(100):
    with owned_folder(Path(sys.argv[1]), "geoprune-", ".in") as mine:
        clear_left_over(Path(sys.argv[1]), "geoprune-", ".in")
        (mine / "a").write_text("a")
"""


def test_runs_beside_each_other_never_clear_what_the_other_has_just_made(tmp_path):
    command = [sys.executable, "-c", MAKE_AND_CLEAR, str(tmp_path)]
    runs = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for _ in range(3)]
    assert [run.communicate(timeout=100)[1] for run in runs] == ["", "", ""]


@pytest.mark.parametrize("cause", ["system", "disk"])
def test_where_there_are_no_locks_an_hour_without_change_tells_dead_runs(tmp_path, monkeypatch, cause):
    if cause == "system":
        monkeypatch.setattr(owned, "fcntl", None)
    else:

        def refuse(number, how):
            raise OSError(errno.ENOLCK, "No locks available")

        monkeypatch.setattr(owned.fcntl, "flock", refuse)
    out = replace_folder(tmp_path / "out", fill(1))
    left = tmp_path / ".out-abcdefgh.part"
    left.mkdir()
    (left / "a").touch()
    with pytest.raises(OutputError, match="another run is writing it"):
        check_target(out, force=True)
    assert not tidy(out)
    assert left.exists()
    past = time.time() - 2 * owned.LIVING_S
    os.utime(left / "a", (past, past))
    os.utime(left, (past, past))
    check_target(out, force=True)
    tidy(out)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize(
    ("free", "files", "said"),
    [
        (0, 100, "cannot be written: No space left on device ({out})"),
        (10**9, 0, "cannot be written: no more files can be made ({out})"),
    ],
)
def test_which_disk_is_full_is_reported(tmp_path, monkeypatch, free, files, said):
    real = os.statvfs(tmp_path)

    class Disk:
        f_frsize, f_files = 1, 1000
        f_bavail, f_favail = free, files

    monkeypatch.setattr(os, "statvfs", lambda place: Disk if Path(place) == tmp_path else real)
    failure = OSError(errno.ENOSPC, "No space left on device")
    assert failure_text(tmp_path / "x", failure).endswith(said.format(out=tmp_path))
    temporary = tmp_path / "tmp"
    monkeypatch.setattr(tempfile, "gettempdir", lambda: str(temporary))
    monkeypatch.setattr(os, "statvfs", lambda place: Disk if Path(place) == temporary else real)
    assert failure_text(Path("/srv/x"), failure).endswith(said.format(out=temporary))


def test_a_folder_that_is_gone_while_it_is_filled(tmp_path):
    where = tmp_path / "where"

    def gone(made):
        folder.shutil.rmtree(where)
        (made / "a").write_text("x")

    with pytest.raises(OutputError, match="cannot be written: No such file or directory"):
        replace_folder(where / "out", gone)
    assert list(tmp_path.iterdir()) == []


def test_a_working_directory_that_was_deleted(tmp_path):
    gone = tmp_path / "gone"
    gone.mkdir()
    program = [sys.executable, "-m", "geoprune", "prescribe", "v.gpkg", "--samples", "w.csv", "--out", "out"]
    code = "import os,sys,shutil; os.chdir(sys.argv[1]); shutil.rmtree(sys.argv[1]); os.execv(sys.executable, sys.argv[2:])"
    done = subprocess.run([sys.executable, "-c", code, str(gone), *program], capture_output=True, text=True, check=False)
    assert done.returncode in (1, 2)
    assert "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) <= 4


@pytest.mark.parametrize(("language", "said"), [("en", "the folder you are in is gone"), ("es", "ya no existe")])
def test_a_working_folder_that_is_gone_is_told(tmp_path, language, said):
    code = "import os, sys; os.mkdir('x'); os.chdir('x'); os.rmdir('../x'); from geoprune.cli import run; sys.exit(run())"
    words = ("--lang", language, "sample", "v.gpkg", "--out", "o")
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    command = [sys.executable, "-c", code, *words]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, env=environment)
    assert (done.returncode, said in done.stderr) == (1, True), done.stderr
