"""Simulated vineyards whose truth is known. Every number is invented; they serve studies only.

    from vineyards import make_vineyard
    vineyard = make_vineyard(seed=1, range_m=90, nugget_share=0.7, samples=40, cv=0.35)

A vineyard is laid out by geoprune's own trellis room (rows, vines, panels). The size of a vine is a level, plus a
Gaussian field with exponential correlation over the whole block (simulated exactly on the planting grid, by circulant
embedding), plus a part of its own. Ranges are *practical* ranges: the distance at which the field's correlation has
fallen to 5 % (exp(-3)), three times the range parameter of the exponential model.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree
from shapely import Polygon

from geoprune.layers import Vineyard
from geoprune.trellis import Trellis, build_trellis, place_samples

Floats = NDArray[np.float64]
UTM = CRS.from_epsg(32617)
ROW_SPACING_M, VINE_SPACING_M, VINES_PER_PANEL = 2.7, 2.4, 3
#: Rows and vines a row: 1.0, 2.6 and 5.8 ha.
BLOCKS = {"small": (30, 50), "middle": (50, 80), "large": (80, 112)}
RANGES_M = (30.0, 60.0, 90.0, 140.0, 200.0)
SHARES = (0.3, 0.5, 0.7, 0.9, 1.0)
COUNTS = (20, 30, 40, 80)
SMALLEST_KG = 0.02  # a living vine has some wood


@dataclass(frozen=True)
class Simulated:
    """One simulated vineyard of one block.

    size_kg (V,) the true size of every vine, aligned with `trellis.vines`; samples as `place_samples` gives them;
    polygon the block's outline; `truth` the parameters it was made with.
    """

    trellis: Trellis
    polygon: Polygon
    size_kg: Floats
    field_kg: Floats
    samples: gpd.GeoDataFrame
    truth: dict[str, float]

    def panel_means(self) -> Floats:
        """True mean size of the counted vines of each panel (P,), NaN where there is none."""
        counted = self.trellis.vines["counted"].to_numpy()
        owner = self.trellis.vines["panel_id"].to_numpy()[counted]
        count = np.bincount(owner, minlength=len(self.trellis.panels)).astype(float)
        count[count == 0] = np.nan
        return np.bincount(owner, self.size_kg[counted], minlength=len(self.trellis.panels)) / count

    def block_mean(self) -> float:
        """True mean size of all counted vines."""
        return float(self.size_kg[self.trellis.vines["counted"].to_numpy()].mean())


@lru_cache
def lay_out(block: str = "middle") -> tuple[Trellis, Polygon]:
    """Trellis and outline of a rectangular block of straight rows that run north."""
    rows, vines = BLOCKS[block]
    east, north = rows * ROW_SPACING_M, vines * VINE_SPACING_M
    corner = np.array([620_000.0, 4_690_000.0])
    outline = Polygon(corner + np.array([(0, 0), (east, 0), (east, north), (0, north)]))
    table = gpd.GeoDataFrame(
        {
            "block": ["A"],
            "variety": ["Concord"],
            "rule": ["20+20"],
            "training": ["top-wire cordon"],
            "row_spacing_m": [ROW_SPACING_M],
            "vine_spacing_m": [VINE_SPACING_M],
            "vines_per_panel": [float(VINES_PER_PANEL)],
            "row_bearing_deg": [0.0],
        },
        geometry=[outline],
        crs=UTM,
    )
    return build_trellis(Vineyard(table, None, None, table.iloc[:0], None, UTM), "A"), outline


def grid_field(shape: tuple[int, int], steps: tuple[float, float], range_m: float, rng: np.random.Generator) -> Floats:
    """Unit-variance exponential field on a grid (shape, steps in m), by circulant embedding.

    `range_m` is the practical range. The ring is grown until its spectrum is positive but for 1 % of the variance
    (Dietrich & Newsam 1997, SIAM J. Sci. Comput. 18:1088-1107); what is left is set to zero and the rest rescaled.
    """
    for times in (2, 3, 4, 6):
        size = [int(n * times) for n in shape]
        lag = [np.minimum(np.arange(m), m - np.arange(m)) * s for m, s in zip(size, steps, strict=True)]
        distance = np.hypot(lag[0][:, None], lag[1][None, :])
        spectrum = np.fft.fft2(np.exp(-3.0 * distance / range_m)).real
        if -spectrum[spectrum < 0].sum() <= 0.01 * spectrum.size:
            break
    spectrum = np.maximum(spectrum, 0.0)
    spectrum *= spectrum.size / spectrum.sum()
    white = rng.standard_normal(size) + 1j * rng.standard_normal(size)
    return np.fft.fft2(np.sqrt(spectrum / spectrum.size) * white).real[: shape[0], : shape[1]]


def choose_vines(trellis: Trellis, count: int, rng: np.random.Generator, *, design: str = "spread") -> NDArray[np.int64]:
    """Vines to weigh: "random"; "spread": the block cut in equal patches, one vine at random in each; "pairs": three
    quarters of them spread, the others beside one of these in its row."""
    able = np.flatnonzero(trellis.vines["counted"].to_numpy())
    if design == "random":
        return np.sort(rng.choice(able, size=count, replace=False))
    if design == "pairs":
        first = choose_vines(trellis, count - count // 4, rng)
        row = trellis.vines["row_order"].to_numpy()
        beside = np.where(np.append(row[1:] == row[:-1], False)[first], first + 1, first - 1)
        beside = np.setdiff1d(beside[np.isin(beside, able)], first)
        return np.sort(np.append(first, rng.choice(beside, size=count // 4, replace=False)))
    place = np.column_stack([trellis.vines.geometry.x, trellis.vines.geometry.y])[able]
    wide, high = np.ptp(place, axis=0)
    across = max(1, round(np.sqrt(count * wide / high)))
    strip = (np.argsort(np.argsort(place[:, 0], kind="stable"), kind="stable") * across) // len(able)
    chosen: list[int] = []
    for k, part in enumerate(np.array_split(np.arange(count), across)):
        members = np.flatnonzero(strip == k)
        members = members[np.argsort(place[members, 1], kind="stable")]
        chosen += [int(rng.choice(patch)) for patch in np.array_split(members, len(part))]
    return np.sort(able[chosen])


def sample_table(
    trellis: Trellis, vine_ids: NDArray[np.int64], size_kg: Floats, *, vines_weighed: int = 1, season: float = np.nan
) -> gpd.GeoDataFrame:
    """Samples placed on the trellis: the mean weight of `vines_weighed` neighbours in the row, from `vine_ids` on."""
    vines = trellis.vines
    last = vines.groupby("row_order")["vine"].transform("max").to_numpy()
    first = np.minimum(vine_ids, vine_ids + last[vine_ids] - vines["vine"].to_numpy()[vine_ids] - vines_weighed + 1)
    weight = np.mean([size_kg[first + k] for k in range(vines_weighed)], axis=0)
    middle = vines.iloc[first + vines_weighed // 2]
    table = gpd.GeoDataFrame(
        {
            "block": "A",
            "row": middle["row"].to_numpy(),
            "vine": middle["vine"].to_numpy().astype(float),
            "vine_weight_kg": weight,
            "vines_weighed": vines_weighed,
            "season": season,
            "note": "",
            "source_row": np.arange(len(vine_ids)) + 1,
        },
        geometry=middle.geometry.to_numpy(),
        crs=trellis.vines.crs,
    )
    return place_samples(table, trellis)


def make_vineyard(
    *,
    seed: int,
    range_m: float,
    nugget_share: float,
    samples: int,
    cv: float,
    mean_kg: float = 0.9,
    block: str = "middle",
    design: str = "spread",
    skewed: bool = False,
) -> Simulated:
    """Simulate one vineyard. `nugget_share` 1 is a block with no structure.

    `skewed`: sizes follow a lognormal law with the same mean and CV, whose logarithm has the field; otherwise sizes are
    Gaussian. None is smaller than 0.02 kg.
    """
    rng = np.random.default_rng(seed)
    trellis, outline = lay_out(block)
    rows, vines = BLOCKS[block]
    steps = (ROW_SPACING_M, VINE_SPACING_M)
    field = grid_field((rows, vines), steps, range_m, rng).ravel() * np.sqrt(1.0 - nugget_share)
    unit = field + rng.standard_normal(field.size) * np.sqrt(nugget_share)
    if skewed:
        spread = np.sqrt(np.log(1.0 + cv**2))
        size = mean_kg * np.exp(spread * unit - spread**2 / 2)
        field = mean_kg * np.exp(spread * field - spread**2 / 2 * (1.0 - nugget_share))
    else:
        size, field = mean_kg * (1.0 + cv * unit), mean_kg * (1.0 + cv * field)
    size = np.maximum(size, SMALLEST_KG)
    truth = {
        "seed": seed,
        "range_m": range_m,
        "nugget_share": nugget_share,
        "mean_kg": mean_kg,
        "cv": cv,
        "variance_kg2": (mean_kg * cv) ** 2,
    }
    chosen = choose_vines(trellis, samples, rng, design=design)
    return Simulated(trellis, outline, size, field, sample_table(trellis, chosen, size), truth)


def draw_truths(count: int, *, seed: int) -> pd.DataFrame:
    """Draw `count` sets of parameters: every share and sample count equally often, range and CV at random."""
    rng = np.random.default_rng(seed)
    table = pd.DataFrame(
        {
            "seed": seed * 1_000_000 + np.arange(count),
            "nugget_share": np.array(SHARES)[np.arange(count) % len(SHARES)],
            "samples": np.array(COUNTS)[np.arange(count) // len(SHARES) % len(COUNTS)],
            "range_m": np.exp(rng.uniform(np.log(30.0), np.log(200.0), count)),
            "cv": rng.uniform(0.25, 0.5, count),
        }
    )
    return table.assign(block=rng.choice(list(BLOCKS), count))


def main() -> None:
    """Check the simulator against its own parameters: variances and the correlation at a third of the range."""
    for share, range_m in ((0.3, 60.0), (0.7, 200.0), (1.0, 90.0)):
        lag = max(1, round(range_m / 3.0 / VINE_SPACING_M))
        together, alone, whole = 0.0, 0.0, 0.0
        for seed in range(200):
            made = make_vineyard(seed=seed, range_m=range_m, nugget_share=share, samples=20, cv=0.3)
            z = (made.field_kg - made.truth["mean_kg"]).reshape(BLOCKS["middle"])
            together, alone = together + np.mean(z[:, lag:] * z[:, :-lag]), alone + np.mean(z * z)
            whole += np.mean((made.size_kg - made.truth["mean_kg"]) ** 2) / made.truth["variance_kg2"] / 200
        said = np.exp(-3 * lag * VINE_SPACING_M / range_m)
        found = together / alone if alone else np.nan
        print(f"share {share}, {range_m:.0f} m: variance ratio {whole:.3f}, correlation {found:.3f}, should be {said:.3f}")
    nearest = cKDTree(np.column_stack([made.samples.geometry.x, made.samples.geometry.y]))
    print("median distance to the nearest sample", np.median(nearest.query(nearest.data, k=2)[0][:, 1]).round(1))


if __name__ == "__main__":
    main()
