"""Kill a run at a hundred moments: the results must be the old ones whole or the new ones whole, and nothing may pile up.

    python benchmarks/killed_runs.py demo_blocks/estate.gpkg demo_blocks/weights.csv 100

Each run is `geoprune prescribe ... --force` into the same folder, killed (SIGKILL) after part of the time a whole run takes.
Afterwards every file is held against the digests in summary.json, and the inputs against theirs from before. Prints what was
found; ends with 1 if anything was wrong.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from geoprune.deliver.writing.folder import foreign_files, tidy, written_files


def main() -> int:
    """Kill the runs that the command line asks for."""
    vineyard, weights, count = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
    before = {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in (vineyard, weights)}
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "results"
        command = [
            sys.executable,
            "-m",
            "geoprune",
            "prescribe",
            str(vineyard),
            "--samples",
            str(weights),
            "--out",
            str(out),
        ]
        command += ["--force", "--quiet"]
        begun = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        whole, wrong, most_left = time.perf_counter() - begun, 0, 0
        for number in range(count):
            process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            time.sleep(whole * (0.3 + 0.75 * number / count))  # before that nothing is written
            process.kill()
            process.wait()
            most_left = max(most_left, len(list(out.parent.iterdir())) - 1)
            written = written_files(out)
            if written is None or foreign_files(out, written):
                wrong += 1
                print(f"killed after {0.3 + 0.75 * number / count:.2f} of a run: the results are not whole", flush=True)
        tidy(out)
        left = [path.name for path in out.parent.iterdir() if path != out]
    changed = [path.name for path, digest in before.items() if hashlib.sha256(path.read_bytes()).hexdigest() != digest]
    print(f"{count} killed runs of {whole:.1f} s: {wrong} not whole, at most {most_left} hidden, left at the end: {left}")
    print(f"inputs changed: {changed}")
    return int(bool(wrong or left or changed))


if __name__ == "__main__":
    sys.exit(main())
