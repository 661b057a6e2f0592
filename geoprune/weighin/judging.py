"""Which weights of a list are likely wrong, why, and how likely: each cause against a weight that is right as written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoprune.units import SUFFIXES
from geoprune.weighin.expected import Expected, Pattern, expect, expect_by_mean, find_pattern, first_sound, thinned
from geoprune.weighin.written import POSSIBLE_KG, PRIOR, Meaning, decimals, other_meanings

Floats = NDArray[np.float64]
#: Odds from which a slip is listed: three to one (design choice; rates in docs/weigh-in.md).
LISTED = 3.0
#: Odds from which a slip is pointed at, without a proposal (design choice).
POINTED_AT = 1 / 2
#: How often a weight in a larger unit is written with more decimals than the column's others (design choice).
FINER = 0.5
#: A weight with no cause is pointed at when a list of sound weights has one as odd in one of so many lists.
ONE_LIST_IN = 20.0
#: Lists, and runs of lines, written in another unit: one in a hundred (design choice).
WHOLE_LIST, RUN = 0.01, 0.01
#: Log odds below which a line, by itself, shuts out that it belongs to a run (design choice).
AGAINST = -3.0
#: Fewest lines of a run.
SHORTEST_RUN = 3
#: Pruning weight per metre of row, kg: 0.3 lb per foot, and a factor of 1.7 either way for two thirds of vineyards (from
#: memory: 0.2-0.4 lb per foot in the East; 0.5-1.0 kg/m, Kliewer & Dokoozlian 2005, Am. J. Enol. Vitic. 56:170-181). From
#: one winter to the next a block's mean changes by a factor of 1.25 (design choice).
WEIGHT_KG_M, VINEYARDS, WINTERS = 0.446, np.log(1.7), np.log(1.25)
#: How likely a right line names a vine that is missing or dead, or that there is not (design choices).
ON_GONE, ON_NOTHING = 0.02, 1e-4
LOG_STANDING = {"there": 0.0, "gone": float(np.log(ON_GONE)), "nowhere": float(np.log(ON_NOTHING))}


@dataclass(frozen=True)
class Entry:
    """A list of weights of one block and winter, as it was written; arrays (n,) in the order of the file.

    position : of each line in the file's table; text : the number as written, with a point; unit : of the column;
    weight_kg : as written, a line's total; vines : weighed together; row, vine : as named ("" and NaN where not);
    point (n, 2), standing (n,): "there", "gone" (missing or dead) or "nowhere"; other_point, other_standing : the same with
    row and vine exchanged ("nowhere" also where they are the same vine); day : date as written, "" where none is
    """

    position: NDArray[np.int64]
    text: NDArray[np.object_]
    unit: str
    weight_kg: Floats
    vines: Floats
    row: NDArray[np.object_]
    vine: Floats
    point: Floats
    standing: NDArray[np.object_]
    other_point: Floats
    other_standing: NDArray[np.object_]
    day: NDArray[np.object_] | None = None

    @cached_property
    def digits(self) -> NDArray[np.int64]:
        """Digits after the decimal mark of each number as written (n,)."""
        return np.array([decimals(str(text)) for text in self.text], dtype=np.int64)


@dataclass(frozen=True)
class Finding:
    """Something that is likely wrong.

    positions : lines of the file's table it concerns; kind : unit, decimal, transposed, doubled, misread, together, swapped,
    list (all in another unit), run (so many lines after each other in another unit), twice, place (no such vine), odd;
    odds : for the cause against the line as written (of "odd": one sound list in so many has a weight as odd; of "doubt",
    a slip that is not likely enough to be proposed, below `LISTED`);
    meant : what was meant, such as "kg" or "1.8"; factor : from the weight written to that meant;
    low_kg, high_kg : 90 % of what is expected there, kg a vine; further : other causes nearly as likely, (kind, meant)
    """

    positions: tuple[int, ...]
    kind: str
    odds: float
    meant: str = ""
    factor: float = 1.0
    low_kg: float = float("nan")
    high_kg: float = float("nan")
    further: tuple[tuple[str, str], ...] = field(default=())

    @property
    def has_proposal(self) -> bool:
        """Whether there is something to put in the place of what is written."""
        return self.kind not in ("place", "odd", "doubt", "twice_unlike")


def judge(entry: Entry, *, vine_spacing_m: float, earlier_mean_kg: float | None = None) -> list[Finding]:
    """Find what is likely wrong in one block's list.

    Every cause c of a line has odds P(c) p(weight meant) / p(weight written), p the law of a weight there as the other
    weights predict it (leave-one-out kriging; densities of log weight, so that a factor has no price of its own). Lines that
    are found are judged again without speaking for the others. A whole list in another unit comes first and its lines are
    not judged before that is settled.

    Parameters
    ----------
    entry : Entry
    vine_spacing_m : float
        For what a vine is expected to give, when the whole list is asked about.
    earlier_mean_kg : float, optional
        Mean vine size of an earlier winter.
    """
    a_vine = entry.weight_kg / entry.vines
    whole = _whole_list(entry, a_vine, vine_spacing_m, earlier_mean_kg)
    if whole is not None:
        return [whole, *_twice(entry), *_nowhere(entry, [])]
    sound = first_sound(a_vine) & (entry.standing == "there")
    lines: list[Finding] = []
    for _ in range(2):
        pair = expect(entry.point, a_vine, entry.vines, sound, entry.other_point)
        if pair is None:
            return [*_twice(entry), *_nowhere(entry, [])]
        expected, elsewhere = pair
        lines, alone = _single(entry, a_vine, expected, elsewhere)
        runs = sorted([*_runs(entry, a_vine, expected, alone), *_runs_by_place(entry, a_vine, sound)], key=_by_odds)[-1:]
        wrong = {k for finding in (*lines, *runs) for k in finding.positions}
        sound = (entry.standing == "there") & ~np.isin(entry.position, sorted(wrong))
    in_runs = {k for finding in runs for k in finding.positions}
    lines = [finding for finding in lines if finding.kind == "swapped" or finding.positions[0] not in in_runs]
    return [*runs, *lines, *_twice(entry), *_nowhere(entry, lines)]


def _single(entry: Entry, a_vine: Floats, expected: Expected, elsewhere: Expected) -> tuple[list[Finding], Floats]:
    """The likeliest cause of every line that is likely wrong, or that it is odd without one; and the log density (n,) of
    each weight as it is written, right or with a slip of its own."""
    written = expected.log_density(a_vine) + np.array([LOG_STANDING[word] for word in entry.standing])
    low, high = expected.interval_kg()
    chance = expected.chance(a_vine)
    groups = tuple(sorted({int(k) for k in entry.vines if k > 1}))
    alone = expected.log_density(a_vine)
    found = []
    for i in range(len(a_vine)):
        options = _options(entry, i, a_vine[i], expected, elsewhere, groups)
        scores = [float(np.exp(min(score - written[i], 50.0))) * meaning.prior for meaning, score in options]
        alone[i] += np.log1p(sum(scores))
        position, ends = (int(entry.position[i]),), (float(low[i]), float(high[i]))
        if scores and max(scores) >= LISTED:
            order = np.argsort(scores)[::-1]
            best, odds = options[order[0]][0], scores[order[0]]
            near = tuple((options[k][0].kind, options[k][0].meant) for k in order[1:3] if scores[k] > odds / 5)
            found.append(Finding(position, best.kind, odds, best.meant, best.factor, *ends, near))
        elif scores and max(scores) >= POINTED_AT and entry.standing[i] == "there":
            best = options[int(np.argmax(scores))][0]
            found.append(Finding(position, "doubt", max(scores), "", 1.0, *ends, ((best.kind, best.meant),)))
        elif chance[i] * len(a_vine) * ONE_LIST_IN < 1.0 and entry.standing[i] == "there":
            found.append(Finding(position, "odd", 1.0 / (chance[i] * len(a_vine)), "", 1.0, *ends))
    return found, alone


def _options(
    entry: Entry, i: int, a_vine: float, expected: Expected, elsewhere: Expected, groups: tuple[int, ...]
) -> list[tuple[Meaning, float]]:
    """What line `i` may mean, and the log density of each meaning."""
    own, other = (Expected(law.middle[i : i + 1], law.spread[i : i + 1]) for law in (expected, elsewhere))
    place = LOG_STANDING[entry.standing[i]]
    together = groups if entry.vines[i] == 1 else ()
    meanings = other_meanings(str(entry.text[i]), entry.unit, together=together)
    kilograms = np.array([m.factor * a_vine for m in meanings])
    possible = (kilograms >= POSSIBLE_KG[0]) & (kilograms <= POSSIBLE_KG[1])
    density = own.log_density(kilograms) + place if len(meanings) else np.empty(0)
    finer = _finer(entry, np.array([i]))
    density = density + [finer if m.kind == "unit" and m.factor > 1 else 0.0 for m in meanings]
    options = [(m, float(d)) for m, d, ok in zip(meanings, density, possible, strict=True) if ok]
    if entry.other_standing[i] != "nowhere":
        there = float(other.log_density(np.array([a_vine]))[0])
        other_place = f"{entry.vine[i]:g}/{entry.row[i]}"
        swapped = Meaning("swapped", 1.0, PRIOR["swapped"] / 100, other_place)
        options.append((swapped, there + LOG_STANDING[entry.other_standing[i]]))
    return options


def _by_odds(finding: Finding) -> float:
    return finding.odds


def _finer(entry: Entry, lines: NDArray[np.int64]) -> float:
    """Log odds that lines were weighed on another scale, from their decimals: where half of them or more have more than the
    list's other lines mostly have, against the share of the others that do."""
    digits, others = entry.digits, np.delete(entry.digits, lines)
    if not len(others):
        return 0.0
    usual = int(np.bincount(others).argmax())
    share = ((others > usual).sum() + 0.5) / (len(others) + 1)
    return max(float(np.log(FINER / share)), 0.0) if (digits[lines] > usual).mean() >= 0.5 else 0.0


def _runs_by_place(entry: Entry, a_vine: Floats, sound: NDArray[np.bool_]) -> list[Finding]:
    """The likeliest run of lines in another unit, each stretch held against what the lines outside it tell.

    A run lies in one part of the block and its lines speak for each other, so that they hide one another where each is
    judged by all others. Stretches looked at: for each unit the one that lies farthest from the rest's mean, and the days
    of the list. Odds: a run on one list in a hundred, at any stretch; or on any of the list's days.
    """
    n, best = len(a_vine), None
    plain = expect_by_mean(a_vine, sound)
    days = _days(entry)
    patterns: dict[tuple[int, int], Pattern | None] = {}  # of the lines outside a stretch, whatever unit it is taken for
    for unit, factor in _units(entry.unit).items():
        ratio = plain.log_density(a_vine * factor) - plain.log_density(a_vine)
        total, start, end = _best_stretch(ratio)
        stretches = [(start, end, RUN / (n * (n + 1) / 2))] if total > 0 else []
        stretches += [(*day, RUN / len(days)) for day in days]
        for start, end, chance in stretches:
            if not SHORTEST_RUN <= end - start <= n // 2:
                continue
            lines = np.arange(start, end)
            lines = lines[(entry.standing[lines] == "there") & np.isfinite(entry.point[lines]).all(axis=1)]
            if len(lines) < SHORTEST_RUN or ratio[lines].min() < AGAINST:
                continue
            if (start, end) not in patterns:
                outside = sound & ~np.isin(np.arange(n), lines)
                patterns[start, end] = find_pattern(entry.point, a_vine, entry.vines, outside)
            pattern = patterns[start, end]
            if pattern is None:
                continue
            lines = lines[thinned(np.ones(len(lines), dtype=bool))]
            gain = pattern.log_density(a_vine[lines] * factor, lines) - pattern.log_density(a_vine[lines], lines)
            gain += _finer(entry, lines) if factor > 1 else 0.0
            odds = chance * float(np.exp(min(gain, 50.0)))
            if odds >= LISTED and (best is None or odds > best.odds):
                whole = tuple(int(k) for k in entry.position[start:end])
                best = Finding(whole, "run", odds, unit, factor)
    return [] if best is None else [best]


def _days(entry: Entry) -> list[tuple[int, int]]:
    """The stretches of a list that are of one day, where it tells of several."""
    if entry.day is None:
        return []
    begun = [k for k in range(len(entry.day)) if k == 0 or entry.day[k] != entry.day[k - 1]]
    ends = [*begun[1:], len(entry.day)]
    found = [(start, end) for start, end in zip(begun, ends, strict=True) if entry.day[start] != ""]
    return found if len(begun) > 1 else []


def _runs(entry: Entry, a_vine: Floats, expected: Expected, alone: Floats) -> list[Finding]:
    """The likeliest run of lines in another unit: the stretch of the list whose log ratios add up highest.

    Its odds: a run is begun on one list in a hundred, at any of n (n + 1) / 2 stretches. It has to explain its lines better
    than slips on each alone (log density `alone`), so that two odd lines do not draw in the right ones between them.
    """
    n, best = len(a_vine), None
    for unit, factor in _units(entry.unit).items():
        ratio = expected.log_density(a_vine * factor) - alone
        total, start, end = _best_stretch(ratio)
        if end - start >= SHORTEST_RUN and (best is None or total > best[0]):
            best = (total, start, end, unit, factor)
    if best is None or best[2] - best[1] > n // 2:
        return []
    total, start, end, unit, factor = best
    odds = RUN / (n * (n + 1) / 2) * float(np.exp(min(total, 50.0)))
    if odds < LISTED:
        return []
    return [Finding(tuple(int(k) for k in entry.position[start:end]), "run", odds, unit, factor)]


def _best_stretch(values: Floats) -> tuple[float, int, int]:
    """Sum, start and end of the stretch with the highest sum (Kadane)."""
    best, total, begun = (-np.inf, 0, 0), 0.0, 0
    for k, value in enumerate(values):
        if total <= 0:
            total, begun = 0.0, k
        total += value
        if total > best[0]:
            best = (float(total), begun, k + 1)
    return best


def _whole_list(entry: Entry, a_vine: Floats, vine_spacing_m: float, earlier_mean_kg: float | None) -> Finding | None:
    """Whether all weights were written in another unit, from what a block's mean may be."""
    middle = float(np.exp(np.median(np.log(np.maximum(a_vine, 1e-6)))))
    known = earlier_mean_kg is not None
    belief = earlier_mean_kg if earlier_mean_kg is not None else WEIGHT_KG_M * vine_spacing_m
    spread = float(WINTERS if known else VINEYARDS)

    def score(factor: float) -> float:
        return -0.5 * ((np.log(middle * factor) - np.log(belief)) / spread) ** 2

    units = _units(entry.unit)
    best = max(units, key=lambda unit: score(units[unit]))
    odds = WHOLE_LIST / len(units) * float(np.exp(min(score(units[best]) - score(1.0), 50.0)))
    if odds < LISTED:
        return None
    return Finding(tuple(int(k) for k in entry.position), "list", odds, best, units[best])


def _units(unit: str) -> Mapping[str, float]:
    """Other units of weight, and the factor by which a number is more when it was written in them."""
    sizes = SUFFIXES["weight"]
    return {other: size / sizes[unit] for other, size in sizes.items() if other != unit}


def _twice(entry: Entry) -> list[Finding]:
    """Lines that name the same vine: with the same weight one is a copy, with another someone has to look.

    Odds of a copy: against a wrong vine number, as often typed, that happens to carry an equal weight.
    """
    table = pd.DataFrame({"row": entry.row, "vine": entry.vine, "text": entry.text, "position": entry.position})
    table = table[(table["row"] != "") & table["vine"].notna()]
    alike = table["text"].value_counts()
    found = []
    for _, same in table.groupby(["row", "vine"], sort=False):
        first, *others = zip(same["position"].tolist(), same["text"].tolist(), strict=True)
        seen = {first[1]}
        for position, text in others:
            equal = text in seen
            seen.add(text)
            odds = len(table) / float(alike[text]) if equal else 1.0
            found.append(Finding((int(position), int(first[0])), "twice" if equal else "twice_unlike", odds))
    return found


def _nowhere(entry: Entry, lines: Sequence[Finding]) -> list[Finding]:
    """Lines on a vine that there is not, and that no exchange of row and vine explains."""
    explained = {finding.positions[0] for finding in lines if finding.kind == "swapped"}
    nowhere = entry.position[entry.standing == "nowhere"]
    return [Finding((int(k),), "place", 1.0 / ON_NOTHING) for k in nowhere if int(k) not in explained]
