"""How often planted errors in a weighing list are found, and how often a right line is doubted.

    python benchmarks/weigh_in_rates.py --repeats 20
    python benchmarks/weigh_in_rates.py --repeats 100 --power

Invented vineyards (benchmarks/vineyards.py) of 2.6 ha with a list of `n` weights in pounds and tenths, in the order of a
walk along the rows; in each list one error of one kind is planted on a line at random (a run: eight lines). "found" is the
share of lists in which that line is listed, "cause" that in which the cause named is the planted one, "doubted" the share of
right lines that are listed with a proposal, and in how many lists. Numbers are seeded.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from vineyards import make_vineyard

from geoprune.units import KG_PER_LB
from geoprune.weighin import Entry, Finding, judge
from geoprune.weighin.expected import expect, first_sound

RUN = 8


@dataclass(frozen=True)
class Case:
    """A vineyard: practical range (m), share of the variance from vine to vine, CV, weights in the list."""

    range_m: float = 90.0
    nugget_share: float = 0.6
    cv: float = 0.4
    weights: int = 40


@lru_cache(None)
def entry_of(case: Case, seed: int) -> tuple[Entry, float]:
    """A right list and the vine spacing."""
    made = make_vineyard(
        seed=seed, range_m=case.range_m, nugget_share=case.nugget_share, samples=case.weights, cv=case.cv, design="spread"
    )
    samples, vines = made.samples, made.trellis.vines
    text = [f"{max(kg / KG_PER_LB, 0.1):.1f}" for kg in samples["vine_weight_kg"]]
    place = {(int(row), int(vine)): k for k, (row, vine) in enumerate(zip(vines["row"], vines["vine"], strict=True))}
    points = np.column_stack([vines.geometry.x, vines.geometry.y])
    row, vine = samples["row"].astype(int).to_numpy(), samples["vine"].to_numpy(dtype=float)
    return places_of(text, row, vine, place, points), made.trellis.vine_spacing_m


def places_of(text: list[str], row: np.ndarray, vine: np.ndarray, place: dict, points: np.ndarray) -> Entry:
    """An entry from texts, rows and vines, with where each stands and would stand with row and vine exchanged."""
    count = len(text)
    here = [place.get((int(r), int(v)), -1) for r, v in zip(row, vine, strict=True)]
    there = [-1 if r == v else place.get((int(v), int(r)), -1) for r, v in zip(row, vine, strict=True)]
    where = [np.array([points[k] if k >= 0 else (np.nan, np.nan) for k in ids]) for ids in (here, there)]
    stand = [np.array(["there" if k >= 0 else "nowhere" for k in ids], dtype=object) for ids in (here, there)]
    weight = np.array([float(t) for t in text]) * KG_PER_LB
    rows = row.astype(str).astype(object)
    numbers, whole = np.arange(count), np.ones(count)
    return Entry(
        numbers, np.array(text, dtype=object), "lb", weight, whole, rows, vine, where[0], stand[0], where[1], stand[1]
    )


def rewritten(entry: Entry, line: int, text: str) -> Entry:
    """The list with one weight written otherwise."""
    texts, weight = entry.text.copy(), entry.weight_kg.copy()
    texts[line], weight[line] = text, float(text) * KG_PER_LB
    return replace(entry, text=texts, weight_kg=weight)


def by_factor(factor: float, digits: int) -> Callable[[Entry, int, np.random.Generator], Entry | None]:
    """Write one weight times a factor."""
    return lambda entry, line, rng: rewritten(entry, line, f"{float(entry.text[line]) * factor:.{digits}f}")


def transposed(entry: Entry, line: int, rng: np.random.Generator) -> Entry | None:
    """Exchange the digits of a weight such as 1.8; None where they are alike."""
    one, _, other = str(entry.text[line]).partition(".")
    return None if one == other or other == "0" else rewritten(entry, line, f"{other}.{one}")


def swapped(entry: Entry, line: int, rng: np.random.Generator) -> Entry | None:
    """Exchange row and vine of a line."""
    fields = {"row": entry.row.copy(), "vine": entry.vine.copy()}
    fields["row"][line], fields["vine"][line] = f"{entry.vine[line]:g}", float(entry.row[line])
    for one, other in (("point", "other_point"), ("standing", "other_standing")):
        fields[one], fields[other] = getattr(entry, one).copy(), getattr(entry, other).copy()
        fields[one][line], fields[other][line] = getattr(entry, other)[line], getattr(entry, one)[line]
    return None if entry.row[line] == f"{entry.vine[line]:g}" else replace(entry, **fields)


def run_of(factor: float, digits: int) -> Callable[[Entry, int, np.random.Generator], Entry | None]:
    """Write `RUN` lines after each other times a factor."""

    def plant(entry: Entry, line: int, rng: np.random.Generator) -> Entry | None:
        start = min(line, len(entry.text) - RUN)
        for k in range(start, start + RUN):
            entry = by_factor(factor, digits)(entry, k, rng)
        return entry

    return plant


def dated_run_of(factor: float, digits: int) -> Callable[[Entry, int, np.random.Generator], Entry | None]:
    """The same, where the lines carry the date of a day of their own."""

    def plant(entry: Entry, line: int, rng: np.random.Generator) -> Entry | None:
        start = min(line, len(entry.text) - RUN)
        day = np.full(len(entry.text), "2027-01-11", dtype=object)
        day[start : start + RUN], day[start + RUN :] = "2027-01-12", "2027-01-13"
        written = run_of(factor, digits)(entry, line, rng)
        return None if written is None else replace(written, day=day)

    return plant


def all_of(factor: float, digits: int) -> Callable[[Entry, int, np.random.Generator], Entry | None]:
    """Write every weight times a factor."""

    def plant(entry: Entry, line: int, rng: np.random.Generator) -> Entry | None:
        for k in range(len(entry.text)):
            entry = by_factor(factor, digits)(entry, k, rng)
        return entry

    return plant


def copied(entry: Entry, line: int, rng: np.random.Generator) -> Entry | None:
    """Write a line again in the place of the next one."""
    fields = {}
    other = (line + 1) % len(entry.text)
    for name in ("text", "weight_kg", "row", "vine", "point", "standing", "other_point", "other_standing"):
        fields[name] = getattr(entry, name).copy()
        fields[name][other] = fields[name][line]
    return replace(entry, **fields)


PLANTED: dict[str, tuple[str, Callable[[Entry, int, np.random.Generator], Entry | None]]] = {
    "ounces written as pounds (x 16)": ("unit", by_factor(16.0, 0)),
    "grams written as pounds (x 454)": ("unit", by_factor(453.59237, 0)),
    "kilograms written as pounds (/ 2.2)": ("unit", by_factor(KG_PER_LB, 2)),
    "kilograms written as pounds, one decimal": ("unit", by_factor(KG_PER_LB, 1)),
    "decimal mark lost (x 10)": ("decimal", by_factor(10.0, 0)),
    "decimal mark too far left (/ 10)": ("decimal", by_factor(0.1, 2)),
    "digits exchanged (1.8, 8.1)": ("transposed", transposed),
    "row and vine exchanged": ("swapped", swapped),
    "a line written twice": ("twice", copied),
    "eight lines in kilograms": ("run", run_of(KG_PER_LB, 2)),
    "eight lines in kilograms, a day of their own": ("run", dated_run_of(KG_PER_LB, 2)),
    "eight lines in kilograms, one decimal": ("run", run_of(KG_PER_LB, 1)),
    "eight lines in ounces": ("run", run_of(16.0, 0)),
    "whole list in ounces": ("list", all_of(16.0, 0)),
    "whole list in grams": ("list", all_of(453.59237, 0)),
    "whole list in kilograms": ("list", all_of(KG_PER_LB, 2)),
}


CASES = {
    "CV 0.40, pattern to 90 m, 60 % vine to vine": Case(),
    "CV 0.25": Case(cv=0.25),
    "CV 0.50": Case(cv=0.5),
    "20 weights, no pattern": Case(weights=20, nugget_share=1.0),
}


def about(finding: Finding, lines: set[int]) -> bool:
    """Whether a finding is about a planted line."""
    return bool(lines & set(finding.positions))


def count_found(case: Case, kind: str, plant: Callable, repeats: int, *, earlier: bool = False) -> tuple[float, float, int]:
    """Share of lists with the planted error found, with its cause told, and lists tried."""
    found = cause = tried = 0
    for seed in range(repeats):
        entry, spacing = entry_of(case, seed)
        rng = np.random.default_rng(seed)
        line = int(rng.integers(len(entry.text)))
        wrong = plant(entry, line, rng)
        if wrong is None:
            continue
        tried += 1
        mean = float(np.mean(entry.weight_kg)) * float(np.exp(rng.normal(0, 0.2))) if earlier else None
        said = judge(wrong, vine_spacing_m=spacing, earlier_mean_kg=mean)
        lines = {line} if kind != "twice" else {(line + 1) % len(entry.text), line}
        about_it = [f for f in said if about(f, lines) and (kind == "list" or f.kind != "list")]
        if kind in ("list", "run"):
            about_it = [f for f in about_it if f.kind in ("list", "run", "unit")]
        found += bool(about_it)
        cause += any(f.kind == kind or (f.kind == "doubt" and f.further[0][0] == kind) for f in about_it)
    return found / tried, cause / tried, tried


def count_doubted(case: Case, repeats: int) -> tuple[float, float, float]:
    """Share of right lines with a proposal, of right lists with one, and of right lists with an odd weight pointed at."""
    lines = lists = odd = 0
    for seed in range(repeats):
        entry, spacing = entry_of(case, 10_000 + seed)
        said = judge(entry, vine_spacing_m=spacing)
        wrong = {k for f in said if f.has_proposal for k in f.positions}
        lines, lists = lines + len(wrong), lists + bool(wrong)
        odd += any(f.kind in ("odd", "doubt") for f in said)
    return lines / (repeats * case.weights), lists / repeats, odd / repeats


def lowest(entry: Entry) -> tuple[int, float]:
    """The line farthest below what the others say, and its residual in standard errors, on square roots."""
    vines = np.ones(len(entry.weight_kg))
    found = expect(entry.point, entry.weight_kg, vines, first_sound(entry.weight_kg), entry.other_point)
    assert found is not None
    away = (np.sqrt(entry.weight_kg) - found[0].middle) / found[0].spread
    return int(np.argmin(away)), float(away.min())


def power_of_size(repeats: int) -> None:
    """Print how often one weight in kilograms with one decimal is found by its size, at rates of right lists doubted."""
    print("| right lists in which a small vine is pointed at, % | " + " | ".join(CASES) + " |")
    print("|---" * (len(CASES) + 1) + "|")
    right: list[list[float]] = []
    planted: list[list[float]] = []
    for case in CASES.values():
        right.append([])
        planted.append([])
        for seed in range(repeats):
            entry, _ = entry_of(case, seed)
            line = int(np.random.default_rng([seed, 1]).integers(len(entry.text)))
            right[-1].append(lowest(entry)[1])
            at, away = lowest(by_factor(KG_PER_LB, 1)(entry, line, np.random.default_rng(0)))
            planted[-1].append(away if at == line else np.inf)
    for rate in (5, 10, 20, 50):
        found = [100 * np.mean(np.array(p) < np.percentile(r, rate)) for r, p in zip(right, planted, strict=True)]
        print(f"| {rate} | " + " | ".join(f"{share:.0f}" for share in found) + " |")


def main() -> None:
    """Print the tables of docs/weigh-in.md."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--repeats", type=int, default=200)
    arguments.add_argument("--only", default="", help="errors whose name holds this text; 'right' for right lists alone")
    arguments.add_argument("--power", action="store_true", help="what can be found by size at all, at given rates")
    given = arguments.parse_args()
    if given.power:
        power_of_size(given.repeats)
        return
    print("| planted | " + " | ".join(CASES) + " |\n|---" + "|---" * len(CASES) + "|")
    for name, (kind, plant) in PLANTED.items():
        if given.only not in name:
            continue
        said = [count_found(case, kind, plant, given.repeats)[:2] for case in CASES.values()]
        print(f"| {name} | " + " | ".join(f"{100 * f:.0f} ({100 * c:.0f})" for f, c in said) + " |", flush=True)
        if kind == "list":
            said = [count_found(case, kind, plant, given.repeats, earlier=True)[:2] for case in CASES.values()]
            line = " | ".join(f"{100 * f:.0f} ({100 * c:.0f})" for f, c in said)
            print(f"| {name}, last winter known | {line} |", flush=True)
    told_right = [count_doubted(case, given.repeats) for case in CASES.values()]
    for k, name in enumerate(
        ("right lines with a proposal, %", "right lists with a proposal, %", "right lists with an odd weight, %")
    ):
        print(f"| {name} | " + " | ".join(f"{100 * said[k]:.1f}" for said in told_right) + " |")


if __name__ == "__main__":
    main()
