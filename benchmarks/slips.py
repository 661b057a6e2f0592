"""What slips cost, and what helps: simulated vineyards (invented, truth known), sound and with one reading in 20 times 2.2.

    python benchmarks/slips.py run RESULTS.csv FIRST LAST     append vineyards FIRST..LAST-1
    python benchmarks/slips.py tell RESULTS.csv               print the table of docs/method-zones.md

Blocks of 32 rows of 54 vines, practical range 40-200 m, nugget share 0.3-0.8, CV 0.25-0.5, 20, 40 or 80 weights.
"taken": every weight as it is; "heard less": as `geoprune prescribe` does; "again": readings more than three standard
errors from what the others say are weighed again before the plan is made, and the rest taken. Errors are of panel means,
over those of sound weights taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
import vineyards
from calibration import cover
from studies import run_or_tell
from vineyards import make_vineyard

from geoprune.surface import Prior, check_observations
from geoprune.surface.modelling import average, hear_slips_less, nodes_of
from geoprune.surface.observations import Observations
from geoprune.surface.shape import Shape, choose_scale, choose_shape
from geoprune.surface.support import Support, vine_means
from geoprune.surface.verdict import ALPHA, find_structure

vineyards.BLOCKS["study"] = (32, 54)
SEED, SLIP, ONE_IN = 31_000_000, 2.2, 20
WAYS = ("taken", "heard less", "again")


def judge(number: int) -> list[dict[str, float | str | bool]]:
    """One vineyard, sound and with slips, in every way."""
    rng = np.random.default_rng(SEED + number)
    shape = {"range_m": float(np.exp(rng.uniform(np.log(40.0), np.log(200.0)))), "nugget_share": rng.uniform(0.3, 0.8)}
    count = (20, 40, 80)[number % 3]
    made = make_vineyard(seed=SEED + number, samples=count, cv=rng.uniform(0.25, 0.5), block="study", **shape)
    true, panels = made.panel_means(), len(made.trellis.panels)
    slipped = rng.permutation(count) < round(count / ONE_IN)
    found = []
    for slips in (False, True):
        weights = made.samples["vine_weight_kg"].to_numpy() * np.where(slipped & slips, SLIP, 1.0)
        whole = check_observations(made.trellis, made.samples.assign(vine_weight_kg=weights)).observations
        chosen = choose_shape(whole, bearing_deg=0.0)
        plain = average(whole, whole.levels, Prior(), chosen)
        mean, variance = plain.leave_one_out()
        far = np.abs(chosen.forward(whole.values) - mean) > 3.0 * np.sqrt(variance)
        sound = np.where(far, made.size_kg[whole.vine_id], whole.values)
        ways: dict[str, tuple[Observations, Shape]] = {
            "taken": (whole, chosen),
            "heard less": (hear_slips_less(whole, plain, Prior(), chosen)[0], chosen),
        }
        again = replace(whole, values=sound)
        again = replace(again, known_kg=_known(again))
        ways["again"] = (again, choose_shape(again, bearing_deg=0.0))
        for way, (seen, how) in ways.items():
            fit = average(seen, seen.levels, Prior(), how)
            flat = Support(seen.vines, np.ones((len(seen.vines), 1)), seen.known_kg, how)
            told, spread = vine_means(fit, flat, seen.member, panels)
            usual = Shape(choose_scale(seen))
            tested = nodes_of(seen if way == "again" else whole, seen.levels, Prior(), usual)
            found.append(
                {
                    "number": number,
                    "samples": count,
                    "slips": slips,
                    "way": way,
                    "mse": float(np.mean(np.square(told - true)) / made.truth["variance_kg2"]),
                    "cover": cover(true, told, spread),
                    "shown": find_structure(tested, tested.design.residual, seed=number).p_value <= ALPHA,
                }
            )
    return found


def _known(seen: Observations) -> np.ndarray:
    known = np.full(len(seen.vines), np.nan)
    known[seen.vine_id] = seen.values
    return known


def run(first: int, last: int) -> Iterator[pd.DataFrame]:
    """Give the lines of each vineyard."""
    for number in range(first, last):
        yield pd.DataFrame(judge(number))


def tell(lines: pd.DataFrame) -> None:
    """Print the table."""
    print("| weights | way | vineyards | error over sound weights taken | cover % | pattern shown % |")
    print("|---|---|---|---|---|---|")
    base = lines[~lines["slips"] & (lines["way"] == "taken")].set_index("number")["mse"]
    for slips in (False, True):
        for way in WAYS:
            part = lines[(lines["slips"] == slips) & (lines["way"] == way)].set_index("number")
            ratio = np.sqrt(part["mse"].mean() / base.mean())
            error = ((part["mse"] - base) / base.mean() / 2.0 / ratio).std() / np.sqrt(len(part))
            middle = np.sqrt((part["mse"] / base).median())
            shares = f"{100 * part['cover'].mean():.1f} | {100 * part['shown'].mean():.0f}"
            name = "one in 20 a slip" if slips else "sound"
            print(f"| {name} | {way} | {len(part)} | {ratio:.3f} ± {error:.3f} ({middle:.3f}) | {shares} |")


if __name__ == "__main__":
    run_or_tell(run, tell)
