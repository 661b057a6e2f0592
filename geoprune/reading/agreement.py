"""Do the layers and the samples agree: rows, vines and samples of each block against each other."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.errors import Problems
from geoprune.layers import COUNTED, FEWEST_SAMPLES, Vineyard
from geoprune.reading.faults import Faults
from geoprune.text import few
from geoprune.trellis.bearing import side_turn_deg
from geoprune.trellis.model import vines_between_posts
from geoprune.trellis.placing import distance_to_rows, misplaced, place_problems, reach_m
from geoprune.trellis.rows import RowLines, lay_rows, vine_places

#: Rows this much nearer or farther than the block's row spacing are said (design choice).
SPACING_TOLERANCE = 0.2
#: A bearing so far off the nearest long side (degrees) is doubted where so many of the rows are stubs, shorter than this
#: share of the median row; nearer is the drawing's error, farther another shape (design choices).
OFF_DEG, MANY_STUBS, STUB = (3.0, 30.0), 0.08, 0.5
#: The vines counted in row 1 may differ by one, or by this share (design choice).
COUNT_TOLERANCE = 0.05
#: Rows within this share of the row spacing of each other lie on the same ground (design choice).
SAME_GROUND = 0.2
#: A row turns at no more corners than this, small ones left out (design choice: a kilometre of row on terraces has 100).
MOST_CORNERS = 2000
#: So much of the shorter row may lie so: rows run together at a point of the block (design choice).
RUN_TOGETHER = 0.25
#: A place farther than this from the vine named with it is another one (design choice: several times a phone's error).
ANOTHER_PLACE_M = 15.0
#: Bud checks farther than this from their block may be another's (design choice).
CHECKS_FAR_M = 50.0
#: A block's median weight of prunings per vine lies within (common practice, no source).
USUAL_KG = (0.05, 4.0)


def check_agreement(vineyard: Vineyard, faults: Faults, *, file: str, samples_file: str) -> None:
    """Note what does not fit together; blocks that could not be read are passed over.

    Parameters
    ----------
    vineyard : Vineyard
        As far as it could be read.
    faults : Faults
        Where problems and remarks are noted.
    file, samples_file : str
        Names of the files, for messages.
    """
    laid = _lay_all(vineyard, faults, file)
    if not laid:
        return
    ends = _ends(laid, vineyard)
    if vineyard.vines is not None:
        check_vine_numbers(vineyard.vines[vineyard.vines["block"].isin(laid)], ends, faults.at(file, "vines"))
        _check_bearing(vineyard.vines, ends, faults.at(file, "vines"))
        _remark_another_place(vineyard.vines, laid, "vines_elsewhere", faults)
    _remark_bud_checks_far(vineyard, faults)
    samples = vineyard.samples[vineyard.samples["block"].isin(laid)].reset_index(drop=True)
    known = {block: few(lines.rows["row"]) for block, lines in laid.items()}
    problems = place_problems(samples, _ends_of(samples, ends), file=samples_file, known=known)
    faults.problems.extend(problems)
    wrong = misplaced(samples, _ends_of(samples, ends))
    _check_enough(vineyard, samples, laid, wrong, faults.at(samples_file, "samples"))
    _remark_another_place(samples, laid, "samples_elsewhere", faults)
    _remark_unusual(samples, faults)


def row_ends(vineyard: Vineyard) -> dict[tuple[str, str], int]:
    """Vines in each row, by block and row, of every block that could be read."""
    parts = vineyard.parts or (vineyard,)
    return {place: end for part in parts for place, end in _ends(_lay_all(part, Faults(), ""), part).items()}


def _ends(laid: dict[str, RowLines], vineyard: Vineyard) -> dict[tuple[str, str], int]:
    """Vines in each row of the blocks laid out; 0 in rows drawn too short for one."""
    drawn = () if vineyard.rows is None else vineyard.rows[["block", "row"]].itertuples(index=False, name=None)
    short = {(str(block), str(row)): 0 for block, row in drawn if block in laid}
    return short | {
        (block, row): end
        for block, lines in laid.items()
        for row, end in zip(lines.rows["row"].tolist(), lines.rows["vines"].tolist(), strict=True)
    }


def _lay_all(vineyard: Vineyard, faults: Faults, file: str) -> dict[str, RowLines]:
    """The rows of every block that could be read; what is wrong or doubtful with them is noted."""
    blocks = vineyard.blocks.drop_duplicates("block")
    spacing = blocks["row_spacing_m"].to_numpy(dtype=float)
    sound = blocks.geometry.notna().to_numpy() & ~np.isnan(spacing) & blocks["vine_spacing_m"].notna().to_numpy()
    drawn = set() if vineyard.rows is None else set(vineyard.rows["block"])
    laid: dict[str, RowLines] = {}
    for name, spacing_m in zip(blocks["block"].to_numpy()[sound], spacing[sound], strict=True):
        if not name:
            continue
        problems = Problems()
        lines = problems.gather(lay_rows, vineyard.alone(name), name)
        faults.problems.extend(replace(problem, file=file) for problem in problems)
        if lines is None:
            continue
        laid[name] = lines
        if name in drawn:
            _check_ground(lines, float(spacing_m), name, faults.at(file, "rows"))
            _check_spacing(lines, float(spacing_m), name, faults)
            _remark_short(lines, vineyard, name, faults)
        else:
            faults.remark("assumed", "rows_laid_out", block=name, rows=len(lines.rows), row_spacing_m=float(spacing_m))
            _remark_bearing(blocks[blocks["block"] == name].iloc[0], lines, faults)
        block = blocks[blocks["block"] == name].iloc[0]
        _remark_counts(block, lines, faults)
        if pd.isna(block.get("vines_per_panel")):
            vines = vines_between_posts(block)
            faults.remark(
                "assumed", "posts_assumed", block=name, vines=vines, panel_m=vines * float(block["vine_spacing_m"])
            )
        if lines.ends_stand:
            faults.remark("assumed", "rows_end_at_vines", block=name)
    return laid


def _remark_bearing(block: pd.Series, lines: RowLines, faults: Faults) -> None:
    """Say where rows laid out run off the outline's long sides, so that many end there as short stubs."""
    bearing = float(block["row_bearing_deg"])
    turn = side_turn_deg(block.geometry, bearing)
    length = lines.rows["length_m"].to_numpy()
    stubs = int((length < STUB * np.median(length)).sum())
    if OFF_DEG[0] < turn < OFF_DEG[1] and stubs >= MANY_STUBS * len(length):
        fields = {"degrees": turn, "stubs": stubs, "rows": len(length)}
        faults.remark("warning", "bearing_off_side", block=str(block["block"]), **fields)


def _remark_counts(block: pd.Series, lines: RowLines, faults: Faults) -> None:
    """Say where the rows, or the vines of row 1, are not as many as were counted."""
    name, rows = str(block["block"]), lines.rows
    counted = block.get("rows_counted", np.nan)
    if counted == counted and int(counted) != len(rows):
        faults.remark("warning", "rows_counted_differ", block=name, counted=int(counted), rows=len(rows))
    stated, first = block.get("vines_in_first_row", np.nan), int(rows["vines"].iloc[0])
    if stated == stated and abs(int(stated) - first) > max(1.0, COUNT_TOLERANCE * stated):
        faults.remark(
            "warning", "first_row_differs", block=name, counted=int(stated), vines=first, row=str(rows["row"].iloc[0])
        )


def _ends_of(table: pd.DataFrame, ends: dict[tuple[str, str], int]) -> NDArray[np.float64]:
    """Vines in the row that each line of a table names; NaN where there is no such row."""
    keys = zip(table["block"], table["row"], strict=True)
    return np.array([ends.get(key, np.nan) for key in keys], dtype=float)


def _check_ground(lines: RowLines, spacing_m: float, name: str, faults: Faults) -> None:
    """Note rows that lie on each other, cross, or are folded back on themselves: their vines would be counted twice."""
    near_m = SAME_GROUND * spacing_m
    names, drawn = lines.rows["row"].to_numpy(), np.asarray(lines.rows.geometry.values)
    coarse = shapely.remove_repeated_points(shapely.set_precision(drawn, near_m / 4, mode="pointwise"))
    crowded = shapely.get_num_coordinates(coarse) > 10 * MOST_CORNERS
    if not crowded.any():  # what is thinner than that is thinned in no time
        drawn = shapely.simplify(drawn, near_m / 4)
        crowded = shapely.get_num_coordinates(drawn) > MOST_CORNERS
    if crowded.any():
        found = [(f"block '{name}'", f"row '{row}' turns at more than {MOST_CORNERS} corners") for row in names[crowded]]
        faults.add_each(found, "Draw it along its vines")
        return
    length = shapely.length(drawn)
    strips = shapely.buffer(drawn, near_m, cap_style="flat")
    folded = shapely.area(strips) < (1.0 - RUN_TOGETHER / 2.0) * 2.0 * near_m * length
    found = [(f"block '{name}'", f"row '{row}' runs back over its own ground") for row in names[folded]]
    tree = shapely.STRtree(drawn)
    one, other = tree.query(drawn, predicate="dwithin", distance=near_m)
    one, other = one[one < other], other[one < other]
    shared = shapely.length(shapely.intersection(drawn[one], strips[other])) / np.minimum(length[one], length[other])
    same = shared > RUN_TOGETHER
    cross = ~same & _cross_inside(drawn[one], drawn[other], spacing_m)
    for there, what in ((same, "lie on the same ground"), (cross, "cross")):
        pairs = zip(names[one[there]], names[other[there]], strict=True)
        found += [(f"block '{name}'", f"rows '{a}' and '{b}' {what}") for a, b in pairs]
    faults.add_each(found, "Draw each row once, along its own vines")


def _cross_inside(one: NDArray[np.object_], other: NDArray[np.object_], margin_m: float) -> NDArray[np.bool_]:
    """Whether lines cross farther than a margin from their ends: lines drawn by hand may overshoot there."""
    at = shapely.intersection(one, other)
    ends = shapely.union(shapely.boundary(one), shapely.boundary(other))
    return np.asarray(shapely.crosses(one, other) & (shapely.distance(at, ends) > margin_m))


def _check_spacing(lines: RowLines, spacing_m: float, name: str, faults: Faults) -> None:
    """Compare the rows as drawn with the row spacing given: a wrong unit shows here."""
    drawn = np.asarray(lines.rows.geometry.values)
    if len(drawn) < 3:
        return
    middle = shapely.line_interpolate_point(drawn, 0.5, normalized=True)
    measured = float(np.median(shapely.distance(middle[1:], drawn[:-1])))
    if abs(measured / spacing_m - 1) > SPACING_TOLERANCE:
        faults.remark("warning", "row_spacing_differs", block=name, drawn_spacing_m=measured, stated_spacing_m=spacing_m)


def _remark_short(lines: RowLines, vineyard: Vineyard, name: str, faults: Faults) -> None:
    """Say which rows as drawn are too short for a single vine: they are no rows of the plan."""
    assert vineyard.rows is not None
    drawn = vineyard.rows.loc[vineyard.rows["block"] == name, "row"]
    short = drawn[~drawn.isin(lines.rows["row"])]
    if len(short):
        faults.remark("dropped", "rows_too_short", block=name, names=few(short))


def check_vine_numbers(vines: pd.DataFrame, ends: dict[tuple[str, str], int], faults: Faults) -> None:
    """Note lines whose row or vine there is not.

    Parameters
    ----------
    vines : DataFrame
        block, row, vine, source_place.
    ends : dict
        Vines in each row, as `row_ends` gives them.
    faults : Faults
        Where problems are noted.
    """
    end, number = _ends_of(vines, ends), vines["vine"].to_numpy()
    found = []
    for (block, row), lines in vines[np.isnan(end)].groupby(["block", "row"], sort=False):
        count = "" if len(lines) == 1 else f", named {len(lines)} times"
        found.append((lines["source_place"].iloc[0], f"there is no row '{row}' in block '{block}'{count}"))
    for i in np.flatnonzero(number > end):
        vine = vines.iloc[i]
        what = f"there is no vine {vine['vine']:g} in row '{vine['row']}' of block '{vine['block']}' ({end[i]:g} vines)"
        found.append((vine["source_place"], what))
    faults.add_each(found, "Correct row and vine, or the row's line and the vine spacing")


def _check_bearing(vines: gpd.GeoDataFrame, ends: dict[tuple[str, str], int], faults: Faults) -> None:
    """Note blocks in which no vine is left that could get a number."""
    held = pd.Series(ends, dtype=int).groupby(level=0).sum()
    idle = vines.loc[~vines["status"].isin(COUNTED), "block"].value_counts()
    found = [(f"block '{name}'", "no vine bears") for name, count in held.items() if idle.get(name, 0) >= count]
    faults.add_each(found, "Check the status of its vines, or leave the block out of the file")


def _check_enough(
    vineyard: Vineyard, samples: gpd.GeoDataFrame, laid: dict[str, RowLines], wrong: NDArray[np.bool_], faults: Faults
) -> None:
    """Count the samples of each block that can be used; nothing is said while some have no known block.

    A block without any is left out of the plan, as long as another has some.
    """
    if not len(vineyard.samples) or (vineyard.samples["block"] == "").any():
        return
    idle, far = _out_of_use(vineyard, samples, laid)
    lost = wrong | idle | far
    given = samples["block"].value_counts()
    useful = samples.loc[~lost, "block"].value_counts()
    for name in laid:
        count, whole = int(useful.get(name, 0)), int(given.get(name, 0))
        if not whole and len(given):
            faults.remark("dropped", "block_without_samples", name=name)
        elif count < FEWEST_SAMPLES:
            here = (samples["block"] == name).to_numpy()
            why = {"on vines that do not bear": idle, "too far from a row": far, "named wrongly": wrong & ~idle & ~far}
            reasons = ", ".join(f"{int(kind[here].sum())} {word}" for word, kind in why.items() if kind[here].any())
            what = f"{count} usable sample{'' if count == 1 else 's'} in block '{name}'"
            what += f" of {whole} given ({reasons})" if count < whole else ""
            faults.add(what, f"Weigh at least {FEWEST_SAMPLES} vines in every block that is to be planned")


def _out_of_use(
    vineyard: Vineyard, samples: gpd.GeoDataFrame, laid: dict[str, RowLines]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which samples stand on a vine that does not bear, and which lie too far from the row named or from any."""
    row = samples["row"].to_numpy()
    exact = (row != "") & samples["vine"].notna().to_numpy()
    idle, far = np.zeros(len(samples), dtype=bool), np.zeros(len(samples), dtype=bool)
    if vineyard.vines is not None:
        resting = vineyard.vines.loc[~vineyard.vines["status"].isin(COUNTED), ["block", "row", "vine"]]
        keys = pd.MultiIndex.from_frame(samples[["block", "row", "vine"]])
        idle = exact & keys.isin(pd.MultiIndex.from_frame(resting.astype({"vine": float})))
    points = np.asarray(samples.geometry.values)
    located = ~exact & ~shapely.is_missing(points)
    spacing = dict(zip(vineyard.blocks["block"], vineyard.blocks["row_spacing_m"], strict=True))
    for name in samples["block"][located].unique():
        here = np.flatnonzero(located & (samples["block"] == name).to_numpy())
        far[here] = distance_to_rows(points[here], row[here], laid[name].rows) > reach_m(row[here] != "", spacing[name])
    return idle, far


def _remark_bud_checks_far(vineyard: Vineyard, faults: Faults) -> None:
    """Say which blocks have bud checks that were not cut near them."""
    if vineyard.bud_checks is None:
        return
    outlines = dict(zip(vineyard.blocks["block"], vineyard.blocks.geometry, strict=True))
    for name, here in vineyard.bud_checks[vineyard.bud_checks.geometry.notna()].groupby("block"):
        away = shapely.distance(np.asarray(here.geometry.values), outlines.get(name))
        far = away > CHECKS_FAR_M
        if far.any():
            fields = {"count": int(far.sum()), "farthest_m": float(away[far].max())}
            faults.remark("warning", "bud_checks_far", block=str(name), **fields)


def _remark_another_place(placed: gpd.GeoDataFrame, laid: dict[str, RowLines], key: str, faults: Faults) -> None:
    """Say which lines name a vine by row and number and give a place far from it: row and number are believed."""
    for name, here in placed[placed.geometry.notna()].groupby("block"):
        if name not in laid:
            continue
        places = vine_places(laid[name], here["row"], here["vine"])
        away = shapely.distance(np.asarray(here.geometry.values), places)
        far = away > ANOTHER_PLACE_M
        if far.any():
            fields = {
                "count": int(far.sum()),
                "places": few(here["source_place"][far]),
                "farthest_m": float(away[far].max()),
            }
            faults.remark("warning", key, block=name, **fields)


def _remark_unusual(samples: gpd.GeoDataFrame, faults: Faults) -> None:
    """Say where a block's median weight is one that vines hardly give: a wrong unit shows here. Nothing is changed."""
    low, high = USUAL_KG
    for name, median_kg in samples.groupby("block")["vine_weight_kg"].median().items():
        if median_kg < low or median_kg > high:
            fields = {"median_g": 1000.0 * float(median_kg), "low_kg": low, "high_kg": high}
            faults.remark("warning", "unusual_weights", block=name, **fields)
