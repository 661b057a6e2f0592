"""Speed of kriging, side by side with general-purpose libraries and a plain loop, in one run.

    python benchmarks/kriging_speed.py [--quick] [--threads 1 2] [--out table.md]

Every case runs in a fresh process, so that peak memory is its own. Same covariance everywhere (exponential, sill 0.8, nugget
0.2, range 30 m), mean and variance; medians of five runs within the process (fewer where one takes more than
10 s). The plain loop is distances, one exp, one triangular solve, in blocks of 2^18 doubles. Tools that would need more
than 12 GB, or more than about a minute, are not run: "-".
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

SIZES = (50, 200, 1000)
TARGETS = (10_000, 100_000, 1_000_000)
TOOLS = ("geoprune", "plain loop", "pykrige", "gstools", "scikit-learn")
SILL, NUGGET, RANGE_M = 0.8, 0.2, 30.0
LIMIT_DOUBLES = {"pykrige": 5e8, "gstools": 5e7, "scikit-learn": 2e8}
LIMIT_SAMPLES = {"gstools": 200}


def data(n: int, m: int) -> tuple[Any, Any, Any]:
    import numpy as np

    rng = np.random.default_rng(n)
    return rng.uniform(0, 300, (n, 2)), rng.normal(size=n), rng.uniform(0, 300, (m, 2))


def geoprune(points: Any, values: Any, targets: Any) -> Any:
    import numpy as np

    from geoprune.geostat import Kriging

    ones = np.ones(len(values))
    return Kriging(points, values, ones[:, None], ones, SILL, NUGGET, RANGE_M).predict(targets, target="new")


def plain_loop(points: Any, values: Any, targets: Any) -> Any:
    import numpy as np
    from scipy.linalg import solve_triangular
    from scipy.spatial.distance import cdist

    lower = np.linalg.cholesky(SILL * np.exp(-cdist(points, points) / RANGE_M) + NUGGET * np.eye(len(values)))
    ones = solve_triangular(lower, np.ones(len(values)), lower=True)
    level = ones @ solve_triangular(lower, values, lower=True) / (ones @ ones)
    rest = solve_triangular(lower, values - level, lower=True)
    mean, variance = np.empty(len(targets)), np.empty(len(targets))
    step = max(1, 2**18 // len(values))
    for start in range(0, len(targets), step):
        part = slice(start, start + step)
        cross = cdist(points, targets[part])
        cross *= -1.0 / RANGE_M
        np.exp(cross, out=cross)
        cross *= SILL
        half = solve_triangular(lower, cross, lower=True, overwrite_b=True, check_finite=False)
        mean[part] = level + rest @ half
        lack = 1.0 - ones @ half
        variance[part] = SILL + NUGGET - np.einsum("nm,nm->m", half, half) + lack**2 / (ones @ ones)
    return mean, variance


def pykrige(points: Any, values: Any, targets: Any) -> Any:
    from pykrige.ok import OrdinaryKriging

    parameters = [SILL + NUGGET, 3.0 * RANGE_M, NUGGET]
    krige = OrdinaryKriging(*points.T, values, variogram_model="exponential", variogram_parameters=parameters)
    return krige.execute("points", *targets.T, backend="vectorized")


def gstools(points: Any, values: Any, targets: Any) -> Any:
    import gstools as gs

    model = gs.Exponential(dim=2, var=SILL, len_scale=RANGE_M, nugget=NUGGET)
    return gs.krige.Ordinary(model, points.T, values)(targets.T, return_var=True)


def scikit_learn(points: Any, values: Any, targets: Any) -> Any:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    kernel = ConstantKernel(SILL) * Matern(RANGE_M, nu=0.5)
    process = GaussianProcessRegressor(kernel, alpha=NUGGET, optimizer=None).fit(points, values)
    mean, error = process.predict(targets, return_std=True)
    return mean, error**2 + NUGGET


RUN: dict[str, Callable[[Any, Any, Any], Any]] = {
    "geoprune": geoprune,
    "plain loop": plain_loop,
    "pykrige": pykrige,
    "gstools": gstools,
    "scikit-learn": scikit_learn,
}


def timed(work: Callable[[], Any], *, runs: int = 5) -> float:
    """Median wall seconds of `runs` calls after a warm-up on a busy or idle machine; fewer calls when they are long."""
    spent: list[float] = []
    while len(spent) < runs and sum(spent) < 40.0:
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return sorted(spent)[len(spent) // 2]


def one_case(tool: str, n: int, m: int) -> dict[str, Any]:
    points, values, targets = data(n, m)
    RUN[tool](points, values, targets[:100])
    seconds = timed(lambda: RUN[tool](points, values, targets))
    mean, variance = RUN[tool](points, values, targets[:1000])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"seconds": seconds, "mb": peak, "mean": float(mean.sum()), "variance": float(variance.sum())}


def other_cases() -> dict[str, float]:
    """Seconds of the steps that have no counterpart elsewhere."""
    import numpy as np

    from geoprune.geostat import fit_averaged, reml_surface

    rng = np.random.default_rng(1)
    found = {}
    for n in (60, 1000):
        points = rng.uniform(0, 1, (n, 2)) * [400, 500]
        values = 1 + 0.3 * np.sin(points[:, 0] / 60) + rng.normal(0, 0.2, n)
        reml_surface(points[:20], values[:20])
        found[f"REML surface, 20 x 12 nodes, n = {n}"] = timed(lambda p=points, v=values: reml_surface(p, v))
    points = rng.uniform(0, 1, (40, 2)) * [400, 500]
    values = 1 + 0.3 * np.sin(points[:, 0] / 60) + rng.normal(0, 0.2, 40)
    fit = fit_averaged(points, values)
    fit.predict(points)
    vines = np.column_stack([(np.arange(40_002) // 200) * 2.5, (np.arange(40_002) % 200) * 2.0])
    panel = np.arange(40_002) // 3
    zone = np.arange(40_002) // 13_334
    found["fit, n = 40"] = timed(lambda: fit_averaged(points, values))
    found["leave-one-out with new parameters, n = 40"] = timed(lambda: fit.leave_one_out())
    found["13,334 panel means and errors of 40,002 vines, n = 40"] = timed(lambda: fit.group_means(vines, panel, 13_334))
    found["3 zone means and errors of 40,002 vines, n = 40"] = timed(lambda: fit.group_means(vines, zone, 3))
    found["100 joint draws of 13,334 panels, n = 40"] = timed(lambda: fit.simulate_groups(vines, panel, 13_334, 100, seed=0))
    return found


def in_process(arguments: list[str], threads: int) -> Any:
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS", "RAYON_NUM_THREADS")
    environment = os.environ | dict.fromkeys(names, str(threads))
    command = [sys.executable, __file__, *arguments]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=900, check=False)
    return json.loads(done.stdout.splitlines()[-1]) if done.returncode == 0 else None


def table(threads: int, sizes: tuple[int, ...], targets: tuple[int, ...]) -> list[str]:
    cases = [(n, m) for n in sizes for m in targets]
    lines = [
        f"Threads: {threads}. Wall seconds / peak MB.",
        "",
        "| | " + " | ".join(f"n={n} m={m // 1000}k" for n, m in cases) + " |",
        "|---" * (len(cases) + 1) + "|",
    ]
    for tool in TOOLS:
        cells = []
        for n, m in cases:
            too_large = n * m > LIMIT_DOUBLES.get(tool, 1e12) or n > LIMIT_SAMPLES.get(tool, n)
            found = None if too_large else in_process(["--case", tool, str(n), str(m)], threads)
            cells.append("-" if found is None else f"{found['seconds']:.3g} / {found['mb']:.0f}")
            print(tool, n, m, threads, cells[-1], file=sys.stderr, flush=True)
        lines.append(f"| {tool} | " + " | ".join(cells) + " |")
    return [*lines, ""]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--case", nargs=3)
    parser.add_argument("--others", action="store_true")
    parser.add_argument("--quick", action="store_true", help="leave out a million targets")
    parser.add_argument("--threads", nargs="+", type=int, default=[1, 2])
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    if options.case:
        print(json.dumps(one_case(options.case[0], int(options.case[1]), int(options.case[2]))))
        return
    if options.others:
        print(json.dumps(other_cases()))
        return
    load = os.getloadavg()[0]
    lines = [f"{os.cpu_count()} cores, load of the machine before the run {load:.1f}.", ""]
    for threads in options.threads:
        lines += table(threads, SIZES, TARGETS[:2] if options.quick else TARGETS)
    found = {threads: in_process(["--others"], threads) for threads in options.threads}
    lines += ["| seconds | " + " | ".join(f"{t} thread(s)" for t in found) + " |", "|---" * (len(found) + 1) + "|"]
    for name in found[options.threads[0]]:
        lines.append(f"| {name} | " + " | ".join(f"{found[t][name]:.3g}" for t in found) + " |")
    text = "\n".join(lines) + "\n"
    print(text)
    if options.out:
        options.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
