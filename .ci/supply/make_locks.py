"""Write the locks anew: `make locks`. Every package with its version and the SHA-256 of each of its files.

requirements.lock is what geoprune runs on (and is built with), requirements-test.lock what else tests, lint and
documentation take, requirements-data.lock open data for tests. One lock holds for all Pythons that pyproject.toml names
and all machines: where a package is for some only, a marker says so. Versions stay as they are unless `--upgrade` is given.

    python .ci/supply/make_locks.py            # needs uv, which is no dependency of geoprune
    python .ci/supply/make_locks.py --upgrade
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RUNS, TESTS, DATA = (ROOT / f"requirements{kind}.lock" for kind in ("", "-test", "-data"))
HEAD = {
    RUNS: "What geoprune runs on and is built with",
    TESTS: "What tests, lint and documentation take besides requirements.lock",
    DATA: "Open data for the tests, without its requirements (its pin of pandas conflicts with ours; only its CSV is read)",
}


def main(words: list[str]) -> None:
    """Write the three locks."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    oldest = project["project"]["requires-python"].removeprefix(">=")
    build = "\n".join(project["build-system"]["requires"])
    with tempfile.TemporaryDirectory() as folder:
        builds, both, data = (Path(folder) / name for name in ("build.in", "both.lock", "data.in"))
        builds.write_text(build)
        _write(RUNS, _compile(RUNS, oldest, words, ROOT / "pyproject.toml", builds))
        both.write_text(RUNS.read_text("utf-8") + (TESTS.read_text("utf-8") if TESTS.exists() else ""))
        every = [word for extra in project["project"]["optional-dependencies"] for word in ("--extra", extra)]
        given = [*every, "--constraint", RUNS, ROOT / "pyproject.toml", builds]
        known = {entry.split()[0] for entry in entries(RUNS.read_text("utf-8"))}
        more = [entry for entry in entries(_compile(both, oldest, words, *given)) if entry.split()[0] not in known]
        _write(TESTS, "".join(more))
        data.write_text("\n".join(entry.split()[0] for entry in entries(DATA.read_text("utf-8"))))
        _write(DATA, _compile(Path(folder) / "data.lock", oldest, words, "--no-deps", data))


def entries(lock: str) -> list[str]:
    """Return the entries of a lock, each with the lines of its hashes; comments are left out."""
    found: list[str] = []
    for line in lock.splitlines(keepends=True):
        if line.startswith(" "):
            found[-1] += line
        elif line.strip() and not line.startswith("#"):
            found.append(line)
    return found


def _compile(kept: Path, oldest: str, words: list[str], *given: str | Path) -> str:
    """Return a lock of what is given; versions in the file `kept` are kept."""
    command = ["uv", "pip", "compile", "--quiet", "--universal", "--python-version", oldest, "--generate-hashes"]
    command += ["--no-header", "--no-annotate", "--no-emit-index-url", *words, *map(str, given), "-o", str(kept)]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return kept.read_text("utf-8")


def _write(lock: Path, text: str) -> None:
    lock.write_text(f"# {HEAD[lock]}; made by .ci/supply/make_locks.py.\n" + "".join(entries(text)), "utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
