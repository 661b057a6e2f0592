"""How the program ends when it is not left alone: signals, closed pipes, a full disk, a terminal without our letters."""

import json
import os
import signal
import subprocess
import sys
import time
import tomllib

import pytest
from small_jobs import samples, square, write_job

PROGRAM = [sys.executable, "-m", "geoprune"]
FULL = "/dev/full"


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("job")
    vineyard, weights = write_job(folder, square(), samples(spread=0))
    return [*PROGRAM, "prescribe", str(vineyard), "--samples", str(weights)]


#: Writes a folder and waits in the midst of it, as the program does with its signals.
SLOW = """
import sys, time
from geoprune.__main__ import heed_signals
heed_signals()
from pathlib import Path
from geoprune.deliver.writing.folder import replace_folder

def fill(folder):
    (folder / "begun.txt").write_text("x")
    time.sleep(float(sys.argv[2]))

replace_folder(Path(sys.argv[1]), fill)
"""


def heed_all():
    """Take signals as a run in a terminal does, also where the tests run in the background or were begun to outlive it."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


def begin(*command):
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    return subprocess.Popen(command, **pipes, start_new_session=True, preexec_fn=heed_all)


def wait_for(found, process, seconds=120.0):
    end = time.monotonic() + seconds
    while not found():
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < end
        time.sleep(0.001)


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_signal_while_writing_leaves_nothing(tmp_path, name):
    number = getattr(signal, name)
    process = begin(sys.executable, "-c", SLOW, str(tmp_path / "deep" / "out"), "60")
    wait_for(lambda: list(tmp_path.glob("deep/.out-*.part/*")), process)
    process.send_signal(number)
    assert process.communicate(timeout=60) == ("", "")
    assert process.returncode == 128 + number
    assert list(tmp_path.iterdir()) == []


def test_a_run_that_was_told_to_outlive_its_terminal_goes_on(tmp_path):
    command = 'trap "" HUP; exec "$0" -c "$1" "$2" 0.5'
    process = begin("sh", "-c", command, sys.executable, SLOW, str(tmp_path / "out"))
    wait_for(lambda: list(tmp_path.glob(".out-*.part/*")), process)
    process.send_signal(signal.SIGHUP)
    process.communicate(timeout=60)
    assert process.returncode == 0
    assert (tmp_path / "out" / "begun.txt").exists()


def test_a_signal_while_replacing_keeps_the_old_results(job, tmp_path):
    command = [*job, "--out", str(tmp_path / "out"), "--quiet"]
    begin(*command).communicate()
    before = (tmp_path / "out" / "summary.json").read_bytes()
    process = begin(*command, "--force")
    wait_for(lambda: list(tmp_path.glob(".out-*.part/prescription.xlsx")), process)
    process.send_signal(signal.SIGTERM)
    assert process.communicate(timeout=60) == ("", "")
    assert process.returncode == 143
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    assert (tmp_path / "out" / "summary.json").read_bytes() == before


def begun_by(process):
    with open(f"/proc/{process.pid}/task/{process.pid}/children") as listed:
        return listed.read().split()


@pytest.mark.skipif(not os.path.exists("/proc/self/task"), reason="no list of processes on this system")
@pytest.mark.parametrize("name", ["SIGINT", "SIGHUP"])
def test_processes_that_still_load_leave_the_terminal_to_the_run(job, tmp_path, name):
    process = begin(*job, "--out", str(tmp_path / "out"), "--cores", "2", "--quiet")
    wait_for(lambda: len(begun_by(process)) >= 2, process)
    begun = begun_by(process)
    time.sleep(0.3)
    os.killpg(process.pid, getattr(signal, name))
    assert process.communicate(timeout=60) == ("", "")
    assert process.returncode == 128 + getattr(signal, name)
    assert list(tmp_path.iterdir()) == []
    assert not any(os.path.exists(f"/proc/{number}/exe") for number in begun)


#: Replaces a folder with another thread running, and is told to stop in the midst of making, exchanging, renaming and
#: removing; it renames where the system cannot exchange folders.
DISTURBED = """
import os, signal, sys, tempfile, threading, time
from geoprune.__main__ import heed_signals
heed_signals()
from pathlib import Path
from geoprune.deliver.writing import folder

threading.Thread(target=time.sleep, args=(60,), daemon=True).start()

def disturb(owner, name):
    real = getattr(owner, name)

    def told_to_stop(*arguments, **options):
        done = real(*arguments, **options)
        os.kill(os.getpid(), getattr(signal, sys.argv[2]))
        time.sleep(0.05)
        return done

    setattr(owner, name, told_to_stop)

def fill(made):
    (made / "summary.json").write_text('{"program": "geoprune", "digests": {}}')
    (made / "deep").mkdir()

if sys.argv[3] == "os":
    folder.exchange = lambda one, other: False
owner = {"os": os, "tempfile": tempfile, "shutil": folder.shutil, "folder": folder}
disturb(owner[sys.argv[3]], sys.argv[4])
folder.replace_folder(Path(sys.argv[1]), fill, force=True)
"""


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize("step", ["tempfile mkdtemp", "folder exchange", "os rename", "shutil rmtree"])
def test_a_signal_in_the_midst_of_replacing_leaves_one_whole_folder(tmp_path, name, step):
    out = tmp_path / "out"
    out.mkdir()
    (out / "summary.json").write_text('{"program": "geoprune", "digests": {"a.txt": "0"}}')
    process = begin(sys.executable, "-c", DISTURBED, str(out), name, *step.split())
    assert process.communicate(timeout=60) == ("", "")
    assert process.returncode == 128 + getattr(signal, name)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    assert (out / "deep").exists() == (step != "tempfile mkdtemp")


STOPPED = """
import sys

class Stop:
    def find_spec(self, name, *rest):
        if name == "click":
            raise KeyboardInterrupt

sys.meta_path.insert(0, Stop())
from geoprune.__main__ import main
main()
"""


def test_an_interrupt_while_the_program_is_loaded_is_quiet():
    done = subprocess.run([sys.executable, "-c", STOPPED], capture_output=True, text=True)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


@pytest.mark.parametrize("command", ["rules", "rules --json", "trainings", "buds-to-cut"])
def test_a_reader_that_has_seen_enough_is_no_fault(command):
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run([*PROGRAM, *command.split()], stdout=writing, stderr=subprocess.PIPE, text=True)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def test_results_are_whole_when_nobody_reads_progress(job, tmp_path):
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run([*job, "--out", str(tmp_path / "out")], stdout=writing, stderr=writing)
    os.close(writing)
    assert done.returncode == 0
    assert (tmp_path / "out" / "summary.json").exists()


@pytest.mark.skipif(not os.path.exists(FULL), reason="no /dev/full on this system")
@pytest.mark.parametrize("command", ["rules", "rules --json", "buds-to-cut", "trainings --json", "--help"])
def test_an_output_that_cannot_be_written_is_reported(command):
    with open(FULL, "w") as full:
        done = subprocess.run([*PROGRAM, *command.split()], stdout=full, stderr=subprocess.PIPE, text=True)
    assert done.returncode == 1
    assert done.stderr == "The output cannot be written: No space left on device.\n"


def test_a_terminal_without_our_letters(job, tmp_path):
    environment = os.environ | {"PYTHONIOENCODING": "ascii"}
    command = [*job, "--out", str(tmp_path / "out"), "--lang", "es"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True)
    assert (done.returncode, "Traceback" in done.stderr) == (0, False)
    said = subprocess.run([*command, "--json", "--force"], env=environment, capture_output=True)
    assert json.loads(said.stdout.decode("utf-8"))["blocks"]["A"]["buds_per_vine"]


def test_names_of_files_that_are_no_text(job, tmp_path):
    # On Linux a name is bytes; what is no UTF-8 reaches a program as half characters
    odd = os.fsencode(tmp_path) + b"/w\xff\x1b[31m.csv"
    with open(job[-1], "rb") as source, open(odd, "wb") as target:
        target.write(source.read())
    out = tmp_path / "out"
    command = [*map(os.fsencode, job[:-1]), odd, b"--out", os.fsencode(out)]
    done = subprocess.run(command, capture_output=True)
    assert done.returncode == 0, done.stderr
    assert b"\x1b" not in done.stderr + done.stdout
    names = [entry["name"] for entry in json.loads((out / "summary.json").read_text("utf-8"))["inputs"]]
    assert names == ["v.gpkg", "w[31m.csv"]
    assert tomllib.loads((out / "settings.toml").read_text("utf-8"))


def test_text_for_the_pages_that_is_no_text_is_refused(job, tmp_path):
    credit = [b"--credit", b"(c)\xff\x1b[31m", b"--background", b"https://h.test/{z}/{x}/{y}.png"]
    command = [*map(os.fsencode, job), b"--out", os.fsencode(tmp_path / "out"), *credit]
    done = subprocess.run(command, capture_output=True)
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"'--credit'" in done.stderr
    assert b"hidden characters" in done.stderr
    assert b"Traceback" not in done.stderr
    assert b"\x1b" not in done.stderr
    assert list(tmp_path.iterdir()) == []
