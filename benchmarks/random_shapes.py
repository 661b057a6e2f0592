"""Ground of zones over thousands of random vineyards: nothing may fail. Prints what does, and how long it took.

    python benchmarks/random_shapes.py 5000        # seeds 0 to 4999; about half an hour on one core
    python benchmarks/random_shapes.py 100 7000    # seeds 7000 to 7099

The vineyards (tests/random_vineyards.py) are straight, laid out, curved, fans, terraces, in two parts, with holes, slivers;
in three places (north, south, a grid of feet), at all bearings, spacings 0.8 to 4 m. The checks are those of
tests/zones/test_random_shapes.py: areas add up to 1e-9, no gap or overlap, every vine and every place with its nearest vine.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent / "tests"
sys.path[:0] = [str(HERE), str(HERE / "zones")]


def main() -> None:
    """Run the seeds that the command line names."""
    from test_random_shapes import faults_of

    count, first = (int(word) for word in (*sys.argv[1:], "5000", "0")[:2]) if len(sys.argv) != 2 else (int(sys.argv[1]), 0)
    begun, failed = time.perf_counter(), 0
    for seed in range(first, first + count):
        try:
            faults = faults_of(seed)
        except Exception as error:  # an exception is what is looked for
            faults = [f"seed {seed}: {error!r}"]
        failed += bool(faults)
        for fault in faults:
            print(fault, flush=True)
        if (seed + 1 - first) % 250 == 0:
            print(f"{seed + 1 - first} of {count}: {failed} failed, {time.perf_counter() - begun:.0f} s", flush=True)
    print(f"{count} vineyards, {failed} failed, {time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()
