"""Zones against other ways to draw as many, on simulated vineyards whose every vine is known.

    python benchmarks/zones_compare.py run RESULTS.csv [FIRST] [LAST]     append vineyards FIRST..LAST-1
    python benchmarks/zones_compare.py tell RESULTS.csv                   print the tables of docs/method-zones.md

Every way gets the same map and, for its zones, the best bud counts; so only the outlines differ. Rivals: quantile classes
of the panels' estimates; k-means on standardised position and estimate (the estimate weighs as much as the two coordinates
together); Ward clustering of the estimates constrained to the graph of neighbouring panels (scikit-learn, both). Each of
them as it comes, and "held": brought within the same practical limits (shortest run, most changes, no islands) by
relabelling as few vines as possible.

Our zones are drawn for a row of prices of a change (`--change-cost`). Against each rival, in each vineyard, stand those of
as many zones that have no more changes per row than its own, and among them the ones whose expected loss is least by the
map alone: a choice that any user could make, since the truth is not looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_matrix
from scipy.spatial.distance import cdist
from scipy.special import ndtri
from sklearn.cluster import AgglomerativeClustering, KMeans
from studies import run_or_tell
from vineyards import SMALLEST_KG, Simulated, draw_truths, make_vineyard

from geoprune.rules import BudNeed, load_rules
from geoprune.sizes import SizeDraws
from geoprune.surface import fit_surface
from geoprune.trellis import middle_points
from geoprune.zones import ZoneOptions
from geoprune.zones.benefit import measure_misfits
from geoprune.zones.drawing import Task, draw_all, refit_counts, set_task
from geoprune.zones.limits import dissolve_pieces
from geoprune.zones.loss import asymmetric_loss
from geoprune.zones.runs import sweep_rows

MOST = 4
#: The first set is compared whole; of the second, which has structure, only vineyards whose map beats the mean.
SETS = ((120, 4), (240, 5))
SECOND, MOST_NUGGET = 1000, 0.7
PRICES = (0.06, 0.125, 0.25, 0.5, 1.0, 2.0)
FIGURES = ("changes", "misfit", "expected", "weighed")
COLUMNS = [
    *("vineyard", "range_m", "nugget_share", "cv", "samples", "block", "map_is_better", "way", "zones", "price", "loss"),
    *FIGURES,
    *("one_misfit", "one_expected", "predicted_saving", "low", "high"),
    *(f"own_{figure}" for figure in FIGURES),
    *("own_price", "own_loss"),
]
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


def expected_misfits(made: Simulated, said: np.ndarray) -> np.ndarray:
    """Expected misfit in buds (K, 2) of panels told counts (P, K), by `vine_law`: plain, and a bud too many weighed more."""
    mean, sd = vine_law(made)
    z = ndtri((np.arange(41) + 0.5) / 41)
    needed = NEED(np.maximum(mean[:, None] + sd[:, None] * z, SMALLEST_KG))
    vines = made.trellis.vines
    panel = vines["panel_id"].to_numpy()[vines["counted"].to_numpy()]
    ratios = (1.0, ZoneOptions().over_weight)
    return np.array([[asymmetric_loss(counts[panel, None], needed, ratio).mean() for ratio in ratios] for counts in said.T])


def true_misfit(made: Simulated, said: np.ndarray) -> float:
    """Mean absolute misfit in buds of panels told counts (P,), over the vines as they came out."""
    vines = made.trellis.vines
    counted = vines["counted"].to_numpy()
    needed = NEED(made.size_kg[counted])
    return float(np.abs(said[vines["panel_id"].to_numpy()[counted]] - needed).mean())


@dataclass(frozen=True, eq=False)
class Way:
    """One way to draw zones: its labels (P,), the places (k,) of its counts, and the price of a change it was drawn for."""

    name: str
    zones: int
    labels: np.ndarray
    chosen: tuple[int, ...]
    price: float = np.nan

    def panel_buds(self, task: Task) -> np.ndarray:
        """Bud count of each panel (P,)."""
        return task.counts[list(self.chosen)][self.labels].astype(float)

    def changes(self, task: Task) -> float:
        """Changes of zone per row."""
        return float(task.graph.changes_per_row(self.labels).mean())

    def loss(self, task: Task) -> float:
        """Expected loss by the map, buds per vine."""
        return float(task.loss[np.arange(len(self.labels)), np.array(self.chosen)[self.labels]].sum() / task.counted.sum())


def own_ways(task: Task) -> list[Way]:
    """Our zones, for every price of a change."""
    ways = []
    for price in PRICES:
        drawn = draw_all(replace(task, options=replace(task.options, change_cost=price)), MOST)
        ways += [Way("ours", zones, found.labels, found.chosen, price) for zones, found in drawn.items() if zones > 1]
    return ways


def rivals(made: Simulated, size_kg: np.ndarray, task: Task, zones: int) -> list[Way]:
    """All rivals with so many zones, as they come and held to the limits."""
    ways = []
    for name, labels in other_ways(made, size_kg, task, zones).items():
        for full, own in ((name, labels), (f"{name}, held", hold(labels, task, zones))):
            ways.append(Way(full, zones, own, refit_counts(task, own, zones)))
    return ways


def match(rival: Way, ours: list[Way], task: Task) -> Way | None:
    """Ours with as many zones and no more changes per row, of least expected loss by the map."""
    fit = [own for own in ours if own.zones == rival.zones and own.changes(task) <= rival.changes(task) + 1e-9]
    return min(fit, key=lambda own: own.loss(task), default=None)


def compare(number: int, truth: pd.Series) -> list[dict[str, float | str]]:
    """All ways on one vineyard: one line each."""
    keys = ("range_m", "nugget_share", "cv")
    made = make_vineyard(
        seed=int(truth["seed"]), samples=int(truth["samples"]), block=truth["block"], **{k: float(truth[k]) for k in keys}
    )
    surface = fit_surface(made.trellis, made.samples, seed=number % SECOND)
    if number >= SECOND and not surface.map_is_better:
        return []
    common = {"vineyard": number, **{k: truth[k] for k in (*keys, "samples", "block")}}
    common["map_is_better"] = surface.map_is_better
    return [common | line for line in judge(made, surface.draws, surface.panels["vine_size_kg"].to_numpy())]


def judge(made: Simulated, draws: SizeDraws, size_kg: np.ndarray) -> list[dict[str, float | str]]:
    """Lines of all ways; a rival's line holds what ours came to beside it (`own_...`)."""
    task = set_task(made.trellis, draws, NEED, ZoneOptions(max_zones=MOST))
    ours = own_ways(task)
    ways = [way for zones in range(2, MOST + 1) for way in rivals(made, size_kg, task, zones)]
    one = Way("one number", 1, np.zeros(len(size_kg), dtype=np.int64), (int(task.loss.sum(axis=0).argmin()),))
    all_ways = [one, *ours, *ways]
    expected = expected_misfits(made, np.column_stack([way.panel_buds(task) for way in all_ways]))
    figures = [
        dict(zip(FIGURES, (way.changes(task), true_misfit(made, way.panel_buds(task)), plain, weighed), strict=True))
        for way, (plain, weighed) in zip(all_ways, expected.tolist(), strict=True)
    ]
    saved = predict(draws, task, one, [way for way in ours if way.price == ZoneOptions().change_cost])
    lines = []
    for way, own in zip(all_ways, figures, strict=True):
        line = {"way": way.name, "zones": way.zones, "price": way.price, "loss": way.loss(task), **own}
        line |= {"one_misfit": figures[0]["misfit"], "one_expected": figures[0]["expected"], **saved.get(id(way), {})}
        beside = match(way, ours, task) if way in ways else None
        if beside is not None:
            line |= {f"own_{key}": figure for key, figure in figures[all_ways.index(beside)].items()}
            line |= {"own_price": beside.price, "own_loss": beside.loss(task)}
        lines.append(line)
    return lines


def predict(draws: SizeDraws, task: Task, one: Way, ours: list[Way]) -> dict[int, dict[str, float]]:
    """Predicted saving of our zones against one number, with its interval, by the way's id."""
    said = np.column_stack([way.panel_buds(task) for way in (one, *ours)])
    groups = np.column_stack([way.labels for way in (one, *ours)])
    misfit = measure_misfits(draws, NEED, said, groups, task.counted, options=task.options).misfit
    saving = (misfit[:, :1] - misfit[:, 1:]).T
    return {
        id(way): {"predicted_saving": own.mean(), "low": np.quantile(own, 0.05), "high": np.quantile(own, 0.95)}
        for way, own in zip(ours, saving, strict=True)
    }


def tell(table: pd.DataFrame) -> None:
    """Print the tables: each rival beside ours with as many zones and no more changes."""
    for name, part in (("all vineyards", table), ("map better than the mean", table[table["map_is_better"]])):
        print(f"\n{name}: {part['vineyard'].nunique()} vineyards")
        print("| zones | way | vineyards | misfit | more than ours | won | over 1.25 | won | changes | ours |")
        for (zones, way), lines in part[~part["way"].isin(["ours", "one number"])].groupby(["zones", "way"]):
            both = lines.dropna(subset="own_expected")
            figures = [more(both, column) for column in ("expected", "weighed")]
            said = " | ".join(f"{mean:+.3f} ± {error:.3f} | {won:.0%}" for mean, error, won in figures)
            changes = f"{both['changes'].mean():.2f} | {both['own_changes'].mean():.2f}"
            print(f"| {zones} | {way} | {len(both)} of {len(lines)} | {both['expected'].mean():.2f} | {said} | {changes} |")
        tell_prediction(part[part["predicted_saving"].notna() & (part["zones"] <= ZoneOptions().max_zones)])


def more(lines: pd.DataFrame, column: str) -> tuple[float, float, float]:
    """Mean by which a way misses more than ours, its standard error, and the share of vineyards won (a tie is half)."""
    worse = lines[column] - lines[f"own_{column}"]
    won = np.where(worse.abs() < 1e-9, 0.5, worse > 0).mean()
    return float(worse.mean()), float(worse.std() / np.sqrt(len(worse))), float(won)


def tell_prediction(ours: pd.DataFrame) -> None:
    """Print how the true saving goes with the predicted one, two and three zones together."""
    predicted = ours["predicted_saving"]
    for name, saving in (
        ("expected", ours["one_expected"] - ours["expected"]),
        ("as came out", ours["one_misfit"] - ours["misfit"]),
    ):
        slope, start = np.polyfit(predicted, saving, 1)
        print(f"saving predicted {predicted.mean():.2f}, {name} {saving.mean():.2f} = {start:.2f} + {slope:.2f} predicted")
    came = ours["one_misfit"] - ours["misfit"]
    print(f"90 % interval holds the saving as it came out: {came.between(ours['low'], ours['high']).mean():.0%}")


def vineyards() -> pd.DataFrame:
    """Both sets; the numbers of the second begin at 1000."""
    first, second = (draw_truths(count, seed=seed) for count, seed in SETS)
    second.index += SECOND
    return pd.concat([first, second[second["nugget_share"] <= MOST_NUGGET]])


def run(first: int, last: int) -> Iterator[pd.DataFrame]:
    """Give the lines of each vineyard."""
    for number, truth in vineyards().loc[first : last - 1].iterrows():
        yield pd.DataFrame(compare(int(number), truth), columns=COLUMNS)


if __name__ == "__main__":
    run_or_tell(run, tell, 2 * SECOND)
