"""Accidents of a run: results are the old ones whole or the new ones whole, inputs untouched, and nothing piles up.

    python benchmarks/killed_runs.py 100                                        # a small invented vineyard
    python benchmarks/killed_runs.py 100 demo_blocks/estate.gpkg demo_blocks/weights.csv

First as many runs of `geoprune prescribe ... --force` into one folder are killed (SIGKILL) at random moments, each begun in
a copy of a process that has loaded the libraries, so that most moments lie where something is computed or written; then one
at each of its renames (strace), also where the system cannot exchange two folders; then come a full disk, no more files, a
full folder for temporary files, a folder that vanishes, a working directory that is gone, and two runs into one folder.
After each, every file is held against the digests in summary.json and the inputs against theirs from before. Needs Linux,
strace and unshare. Prints a line for each; ends with 1 if anything was wrong.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from geoprune.cli import main as geoprune
from geoprune.deliver.writing.folder import foreign_files, written_files
from geoprune.jobs.prescribe import prescribe as _loads  # noqa: F401

ROOT = Path(__file__).resolve().parent.parent
#: A file system of our own on `$ROOM`, small; `$DISK` says how.
SMALL_DISK = 'mount -t tmpfs -o "$DISK" none "$ROOM" && '


class Bench:
    """A vineyard, a folder of results, and what was wrong so far."""

    def __init__(self, folder: Path, vineyard: Path, weights: Path) -> None:
        self.folder, self.inputs, self.wrong = folder, (vineyard, weights), 0
        self.room, self.out = folder / "room", folder / "room" / "results"
        self.before = self.digests()
        self.mark = f"GEOPRUNE_BENCH={os.getpid()}"
        self.environment = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(folder / "tmp"), "ROOM": str(self.room)}
        self.environment["XDG_CACHE_HOME"] = str(folder / "cache")
        self.environment.update([self.mark.split("=")])
        for name in ("room", "tmp", "elsewhere"):
            (folder / name).mkdir()
        self.words = [sys.executable, "-m", "geoprune", "prescribe", str(vineyard), "--samples", str(weights)]
        self.words += ["--out", str(self.out), "--force", "--quiet"]

    def digests(self) -> dict[str, str]:
        """Digests of the inputs and of what lies beside them."""
        beside = {path for given in self.inputs for path in given.parent.glob(f"{given.name}*")}
        return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(beside)}

    def run(self, *before: str, words: list[str] | None = None, **settings: str) -> subprocess.CompletedProcess[str]:
        """Run to its end."""
        environment = self.environment | settings
        command = [*before, *(words or self.words)]
        return subprocess.run(
            command, capture_output=True, text=True, check=False, env=environment, cwd=self.folder / "elsewhere"
        )

    def start(self) -> subprocess.Popen[str]:
        """Start a run."""
        return subprocess.Popen(self.words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=self.environment)

    def fork(self) -> int:
        """Start a run in a copy of this process, which has loaded the libraries; return its number."""
        child = os.fork()
        if child:
            return child
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        os.environ.update(self.environment)
        tempfile.tempdir = self.environment["TMPDIR"]
        try:
            geoprune(self.words[3:], prog_name="geoprune")
        finally:
            os._exit(0)

    def whole(self) -> bool:
        """Whether the results are there, every file as its summary says."""
        written = written_files(self.out)
        return written is not None and not foreign_files(self.out, written)

    def beside(self) -> list[str]:
        """What lies beside the results."""
        return [path.name for path in self.room.iterdir() if path != self.out]

    def left(self) -> list[str]:
        """Hidden folders beside the results, and folders for temporary files."""
        return [*self.beside(), *(path.name for path in (self.folder / "tmp").iterdir())]

    def processes(self) -> int:
        """How many processes of ours live."""
        found = 0
        for place in Path("/proc").glob("[0-9]*"):
            try:
                found += int(place.name) != os.getpid() and self.mark.encode() in (place / "environ").read_bytes()
            except OSError:
                continue
        return found

    def tell(self, what: str, fine: bool, told: str = "") -> None:
        """Print what was found."""
        fine = fine and self.digests() == self.before
        self.wrong += not fine
        last = [line for line in told.splitlines() if line.strip()][-1:]
        print(f"{'well ' if fine else 'WRONG'} {what}" + "".join(f": {line[:200]}" for line in last), flush=True)


def kills(bench: Bench, count: int) -> None:
    """Kill runs at random moments."""
    first = bench.run()
    begun = time.perf_counter()
    os.waitpid(bench.fork(), 0)
    seconds, moments = time.perf_counter() - begun, random.Random(13)
    bench.tell(f"a whole run of {seconds:.1f} s, libraries loaded", first.returncode == 0 and bench.whole(), first.stderr)
    broken, most_left, alive, ended = [], 0, 0, 0
    for number in range(1, count + 1):
        moment = moments.uniform(0.1, 1.05)
        process = bench.fork()
        time.sleep(seconds * moment)
        ended += os.waitpid(process, os.WNOHANG)[0] != 0 or kill(process)
        most_left = max(most_left, len(bench.left()))
        broken += [] if bench.whole() else [round(moment, 3)]
        deadline = time.perf_counter() + 10
        while bench.processes() and time.perf_counter() < deadline:
            time.sleep(0.05)
        alive += bool(bench.processes())
        if number % 20 == 0:
            print(f"{number} of {count}: not whole {broken}, {alive} left processes, {ended} had ended", flush=True)
    told = f"{len(broken)} not whole {broken}, at most {most_left} left folders, {alive} left processes, {ended} had ended"
    bench.tell(f"{count} kills at random moments: {told}", not broken and not alive and most_left <= 3)
    after = bench.run()
    bench.tell(
        f"the next run clears what they left: {bench.left()}", after.returncode == 0 and bench.whole() and not bench.left()
    )


def kill(process: int) -> bool:
    """Kill a process; return False: it had not ended by itself."""
    os.kill(process, signal.SIGKILL)
    os.waitpid(process, 0)
    return False


def kills_at_renames(bench: Bench) -> None:
    """Kill a run at each of its renames, with folders that can be exchanged and without."""
    without = ("-e", "inject=renameat2:error=ENOSYS")
    for told, also in (("exchanged in one step", ()), ("in two renames", without)):
        for call in ("renameat2", "rename"):
            for number in range(1, 9):
                if call == "renameat2" and also:
                    break
                kill = (*also, "-e", f"inject={call}:signal=KILL:when={number}")
                done = bench.run("strace", "-f", "-qq", "-o", "/dev/null", "-e", "trace=rename,renameat2", *kill)
                if done.returncode == 0:
                    break
                gone = not bench.whole()
                after = bench.run(words=[*bench.words[:-2], "--quiet"])  # without --force: what is there stays
                back = bench.whole() and not bench.beside()  # refused before it needs a folder for temporary files
                bench.tell(
                    f"killed at {call} {number} ({told}), results {'aside, then back' if gone else 'whole'}",
                    back,
                    after.stderr,
                )
                bench.run()


def disks(bench: Bench) -> None:
    """No room, no files, no room for temporary files, no right to write."""
    fill = 'cat /dev/zero > "$ROOM/full" 2>/dev/null; '
    digest = f'"{sys.executable}" -c "import sys; sys.path.insert(0, \'{ROOT}\'); from pathlib import Path; '
    digest += "from geoprune.deliver.writing.folder import *; out = Path(sys.argv[1]); "
    digest += 'w = written_files(out); sys.exit(w is None or foreign_files(out, w) != [])" "$ROOM/results"'
    again = '"$@"; first=$?; "$@"; code=$?; ' + digest + ' || exit 70; ls -A "$ROOM" >&2; exit $((first * 10 + code))'
    cases = {
        "a disk that fills up while results are replaced": ("size=8m", '"$@" || exit 60; ' + fill + again, 11),
        "a disk too small for the results": (
            "size=1m",
            '"$@"; code=$?; [ -z "$(ls -A "$ROOM")" ] || exit 71; exit $code',
            1,
        ),
        "a disk with no more files": ("nr_inodes=20", '"$@"; code=$?; [ -z "$(ls -A "$ROOM")" ] || exit 71; exit $code', 1),
        # what is full is left for another by Python, where the system has one: no fault then
        "a full folder for temporary files": (
            "size=64k",
            'TMPDIR="$ROOM"; export TMPDIR; ' + fill + '"$@"; [ $? -lt 2 ]',
            0,
        ),
        "no more files in the folder for temporary files": (
            "nr_inodes=2",
            'TMPDIR="$ROOM"; export TMPDIR; touch "$ROOM/x"; "$@"; [ $? -lt 2 ]',
            0,
        ),
        "a disk that may only be read": ("ro", '"$@"', 1),
    }
    for what, (disk, script, code) in cases.items():
        words = list(bench.words)
        if "temporary" in what:
            words[words.index("--out") + 1] = str(bench.folder / "beside")
        before = ("unshare", "--map-root-user", "--mount", "sh", "-c", SMALL_DISK + script, "sh")
        done = bench.run(*before, words=words, DISK=disk)
        clear = "Traceback" not in done.stderr + done.stdout
        bench.tell(f"{what} (exit {done.returncode})", done.returncode == code and clear and bench.whole(), done.stderr)
        shutil.rmtree(bench.folder / "beside", ignore_errors=True)


def folders_gone(bench: Bench, seconds: float) -> None:
    """A folder of results that vanishes, a working directory that is gone."""
    for part in (0.3, 0.6, 0.8, 0.9):
        process = bench.start()
        time.sleep(seconds * part)
        shutil.rmtree(bench.room, ignore_errors=True)
        _, told = process.communicate()
        fine = "Traceback" not in told and (bench.whole() if process.returncode == 0 else bool(told))
        bench.tell(f"the folder vanished after {part:.0%} of a run (exit {process.returncode})", fine, told)
        bench.room.mkdir(exist_ok=True)
    bench.run()
    shell = 'mkdir "$ROOM/gone" && cd "$ROOM/gone" && rmdir "$ROOM/gone" && exec "$@"'
    done = bench.run("sh", "-c", shell, "sh")
    bench.tell(
        f"the working directory is gone (exit {done.returncode})",
        "Traceback" not in done.stderr and bench.whole(),
        done.stderr,
    )
    words = list(bench.words)
    words[words.index("--out") + 1] = "results"
    done = bench.run("sh", "-c", shell, "sh", words=words)
    bench.tell(
        f"and the results asked for in it (exit {done.returncode})",
        done.returncode == 1 and "Traceback" not in done.stderr,
        done.stderr,
    )


def two_runs(bench: Bench, seconds: float) -> None:
    """A second run into a folder that a run is writing."""
    process = bench.start()
    time.sleep(seconds * 0.7)
    second = bench.run()
    _, told = process.communicate()
    codes = sorted((process.returncode, second.returncode))
    bench.tell(
        f"two runs into one folder (exit {codes})", codes in ([0, 0], [0, 1]) and bench.whole(), second.stderr or told
    )
    both = [bench.start() for _ in range(2)]
    told = "".join(run.communicate()[1] for run in both)
    codes = sorted(run.returncode for run in both)
    bench.tell(f"two runs started at once (exit {codes})", 0 in codes and bench.whole() and "Traceback" not in told, told)


def small_vineyard(folder: Path) -> tuple[Path, Path]:
    """One block, written as a user has it."""
    sys.path.insert(0, str(ROOT / "tests"))
    import invented_vineyard as iv

    folder.mkdir()
    return iv.write(folder)


def main() -> int:
    """Run what the command line asks for."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        given = (
            (Path(sys.argv[2]).absolute(), Path(sys.argv[3]).absolute())
            if len(sys.argv) > 3
            else small_vineyard(folder / "in")
        )
        bench = Bench(folder, *given)
        kills(bench, count)
        begun = time.perf_counter()
        bench.run()
        seconds = time.perf_counter() - begun
        two_runs(bench, seconds)
        kills_at_renames(bench)
        disks(bench)
        folders_gone(bench, seconds)
        print(f"{bench.wrong} wrong")
        return int(bench.wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
