"""Zones against other ways to draw as many, on simulated vineyards whose every vine is known.

    python benchmarks/zones_compare.py run RESULTS.csv [FIRST] [LAST]     append vineyards FIRST..LAST-1
    python benchmarks/zones_compare.py tell RESULTS.csv                   print the tables of docs/method-zones.md

Every way gets the same map and, for its zones, the same best bud counts; so only the outlines differ. Ways:
quantile classes of the panels' estimates; k-means on standardised position and estimate (the estimate weighs as much as
the two coordinates together); Ward clustering of the estimates constrained to the graph of neighbouring panels
(scikit-learn, both). Each of them as it comes, and "held": brought within the same practical limits (shortest run, most
changes, no islands) by relabelling as few vines as possible.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_matrix
from scipy.spatial.distance import cdist
from scipy.special import ndtri
from sklearn.cluster import AgglomerativeClustering, KMeans
from vineyards import SMALLEST_KG, Simulated, draw_truths, make_vineyard

from geoprune.rules import BudNeed, load_rules
from geoprune.surface import Surface, fit_surface
from geoprune.trellis import middle_points
from geoprune.zones import ZoneOptions
from geoprune.zones.drawing import Task, draw_all, refit_counts, set_task
from geoprune.zones.limits import dissolve_pieces
from geoprune.zones.loss import asymmetric_loss
from geoprune.zones.merit import measure_misfits
from geoprune.zones.runs import sweep_rows

COUNT, SEED, MOST = 120, 4, 3
NEED = BudNeed(load_rules().resolve("20+20"))


def other_ways(made: Simulated, size_kg: np.ndarray, task: Task, zones: int) -> dict[str, np.ndarray]:
    """Labels (P,) from 0 of each rival way."""
    panels = made.trellis.panels
    place = middle_points(panels)
    place = (place - place.mean(axis=0)) / place.std(axis=0).mean()
    scaled = (size_kg - size_kg.mean()) / max(size_kg.std(), 1e-12)
    features = np.column_stack([place, scaled * np.sqrt(2)])
    one, other = np.vstack([task.graph.along, task.graph.across]).T
    beside = coo_matrix((np.ones(len(one)), (one, other)), shape=(len(panels), len(panels)))
    ward = AgglomerativeClustering(n_clusters=zones, connectivity=beside + beside.T, linkage="ward")
    return {
        "quantiles": np.searchsorted(np.quantile(size_kg, np.arange(1, zones) / zones), size_kg),
        "k-means": KMeans(zones, n_init=10, random_state=0).fit_predict(features),
        "ward": ward.fit_predict(scaled[:, None]),
    }


def hold(labels: np.ndarray, task: Task, zones: int) -> np.ndarray:
    """Bring labels within the practical limits, with as few vines relabelled as possible."""
    options, free = task.options, np.zeros((zones, zones))
    moved = task.counted[:, None] * (labels[:, None] != np.arange(zones)).astype(float)
    swept = sweep_rows(
        moved, labels, task.graph, free, free, shortest_run=options.shortest_run, most_changes=options.most_changes
    )
    return dissolve_pieces(moved, swept, task.graph, free, free, smallest=options.smallest_piece)


def vine_law(made: Simulated) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation (kg) of every counted vine, given the weights and the law it was simulated with.

    Judging by this law instead of by the one block that came out takes the luck of that block out of the comparison.
    """
    truth, vines = made.truth, made.trellis.vines
    place = shapely.get_coordinates(vines.geometry.to_numpy())
    sample = made.samples["vine_id"].to_numpy()
    field, own = (truth["variance_kg2"] * part for part in (1 - truth["nugget_share"], truth["nugget_share"]))
    counted = np.flatnonzero(vines["counted"].to_numpy())

    def covariance(one: np.ndarray) -> np.ndarray:
        return field * np.exp(-3 * cdist(place[one], place[sample]) / truth["range_m"])

    cross = covariance(counted)
    weights = np.linalg.solve(covariance(sample) + own * np.eye(len(sample)), cross.T)
    mean = truth["mean_kg"] + (made.size_kg[sample] - truth["mean_kg"]) @ weights
    return mean, np.sqrt(np.maximum(field - np.einsum("mn,nm->m", cross, weights), 0.0) + own)


def expected_misfits(made: Simulated, told: np.ndarray) -> np.ndarray:
    """Expected misfit in buds (K, 2) of panels told counts (P, K), by `vine_law`: plain, and a bud too many weighed more."""
    mean, sd = vine_law(made)
    z = ndtri((np.arange(41) + 0.5) / 41)
    needed = NEED(np.maximum(mean[:, None] + sd[:, None] * z, SMALLEST_KG))
    vines = made.trellis.vines
    panel = vines["panel_id"].to_numpy()[vines["counted"].to_numpy()]
    ratios = (1.0, ZoneOptions().over_weight)
    return np.array([[asymmetric_loss(counts[panel, None], needed, ratio).mean() for ratio in ratios] for counts in told.T])


def true_misfit(made: Simulated, told: np.ndarray) -> float:
    """Mean absolute misfit in buds of panels told counts (P,), over the vines as they came out."""
    vines = made.trellis.vines
    counted = vines["counted"].to_numpy()
    needed = NEED(made.size_kg[counted])
    return float(np.abs(told[vines["panel_id"].to_numpy()[counted]] - needed).mean())


def compare(number: int, truth: pd.Series) -> list[dict[str, float | str]]:
    """All ways on one vineyard: one line each."""
    keys = ("range_m", "nugget_share", "cv")
    made = make_vineyard(
        seed=int(truth["seed"]), samples=int(truth["samples"]), block=truth["block"], **{k: float(truth[k]) for k in keys}
    )
    surface = fit_surface(made.trellis, made.samples, seed=number)
    task = set_task(made.trellis, surface.draws, NEED, ZoneOptions(max_zones=MOST))
    drawn = draw_all(task, MOST)
    ways: list[tuple[str, int, np.ndarray, np.ndarray]] = [
        ("ours", zones, found.labels, task.told(found)) for zones, found in drawn.items()
    ]
    for zones in (z for z in drawn if z > 1):
        for way, labels in other_ways(made, surface.panels["vine_size_kg"].to_numpy(), task, zones).items():
            for name, own in ((way, labels), (f"{way}, held", hold(labels, task, zones))):
                chosen = refit_counts(task, own, zones)
                ways.append((name, zones, own, task.counts[list(chosen)][own].astype(float)))
    return _lines(number, truth, made, surface, task, ways)


def _lines(
    number: int, truth: pd.Series, made: Simulated, surface: Surface, task: Task, ways: list
) -> list[dict[str, float | str]]:
    told = np.column_stack([way[3] for way in ways])
    groups = np.column_stack([way[2] for way in ways])
    misfits = measure_misfits(surface.draws, NEED, told, groups, task.counted, options=task.options)
    saving = (misfits.misfit[:, :1] - misfits.misfit).T
    one = true_misfit(made, told[:, 0])
    expected = expected_misfits(made, told)
    return [
        {
            "vineyard": number,
            **{k: truth[k] for k in ("range_m", "nugget_share", "samples", "cv", "block")},
            "map_is_better": surface.map_is_better,
            "way": way,
            "zones": zones,
            "changes": float(task.graph.changes_per_row(labels).mean()),
            "most_changes": int(task.graph.changes_per_row(labels).max()),
            "one_misfit": one,
            "misfit": true_misfit(made, counts),
            "one_expected": float(expected[0, 0]),
            "expected": float(hoped[0]),
            "weighed": float(hoped[1]),
            "predicted_saving": float(saved.mean()),
            "low": float(np.quantile(saved, 0.05)),
            "high": float(np.quantile(saved, 0.95)),
        }
        for (way, zones, labels, counts), saved, hoped in zip(ways, saving, expected, strict=True)
    ]


def tell(table: pd.DataFrame) -> None:
    """Print the tables: only vineyards in which all ways draw that many zones are compared."""
    for name, part in (("all vineyards", table), ("map better than the mean", table[table["map_is_better"]])):
        for zones, own in part[part["zones"] > 1].groupby("zones"):
            print(f"\n{name}, {zones} zones: {own['vineyard'].nunique()} vineyards")
            ours = own[own["way"] == "ours"].set_index("vineyard")
            print("| way | misfit, buds | more than ours | the same, a bud too many weighed 1.25 | changes a row | most |")
            for way, lines in own.groupby("way"):
                lines = lines.set_index("vineyard")
                figures = [lines["expected"].mean(), *more(lines, ours, "expected"), *more(lines, ours, "weighed")]
                told = "{:.2f} | {:+.3f} ± {:.3f} | {:+.3f} ± {:.3f}".format(*figures)
                print(f"| {way} | {told} | {lines['changes'].mean():.2f} | {lines['most_changes'].mean():.1f} |")
        tell_prediction(part[(part["way"] == "ours") & (part["zones"] > 1)])


def more(lines: pd.DataFrame, ours: pd.DataFrame, column: str) -> tuple[float, float]:
    """Mean by which a way misses more than ours, and its 95 % margin."""
    worse = lines[column] - ours[column]
    return float(worse.mean()), float(1.96 * worse.std() / np.sqrt(len(worse)))


def tell_prediction(ours: pd.DataFrame) -> None:
    """Print how the true saving goes with the predicted one, both numbers of zones together."""
    predicted = ours["predicted_saving"]
    for name, saving in (
        ("expected", ours["one_expected"] - ours["expected"]),
        ("as came out", ours["one_misfit"] - ours["misfit"]),
    ):
        slope, start = np.polyfit(predicted, saving, 1)
        print(f"saving predicted {predicted.mean():.2f}, {name} {saving.mean():.2f} = {start:.2f} + {slope:.2f} predicted")
    print(f"90 % interval holds the saving as it came out: {saving.between(ours['low'], ours['high']).mean():.0%}")


def main() -> None:
    """Run or tell, as the command line asks."""
    what, path = sys.argv[1], Path(sys.argv[2])
    if what == "tell":
        tell(pd.read_csv(path))
        return
    first, last = (int(word) for word in (sys.argv[3:] or (0, COUNT)))
    for number, truth in draw_truths(COUNT, seed=SEED).iloc[first:last].iterrows():
        lines = pd.DataFrame(compare(int(number), truth))
        lines.to_csv(path, mode="a", header=not path.exists(), index=False)


if __name__ == "__main__":
    main()
