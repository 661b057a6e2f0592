"""Do the layers and the samples agree: rows, vines and samples of each block against each other."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoprune.errors import DataError
from geoprune.layers import COUNTED, FEWEST_SAMPLES, Vineyard
from geoprune.reading.faults import Faults
from geoprune.trellis.placing import distance_to_rows, place_problems, row_names
from geoprune.trellis.rows import RowLines, lay_rows

#: Rows this much nearer or farther than the block's row spacing are said (design choice).
SPACING_TOLERANCE = 0.2


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
    ends = {(block, row): end for block, lines in laid.items() for row, end in zip(*_rows_of(lines), strict=True)}
    if vineyard.vines is not None:
        _check_vine_numbers(vineyard.vines[vineyard.vines["block"].isin(laid)], ends, faults.at(file, "vines"))
    samples = vineyard.samples[vineyard.samples["block"].isin(laid)].reset_index(drop=True)
    known = {block: row_names(lines.rows["row"]) for block, lines in laid.items()}
    problems = place_problems(samples, _ends_of(samples, ends), file=samples_file, known=known)
    faults.problems.extend(problems)
    wrong = samples["source_place"].isin([problem.row for problem in problems]).to_numpy()
    _check_enough(vineyard, samples, laid, wrong, faults.at(samples_file, "samples"))
    _remark_twice(samples, faults)


def _lay_all(vineyard: Vineyard, faults: Faults, file: str) -> dict[str, RowLines]:
    """The rows of every block that could be read; what is wrong or doubtful with them is noted."""
    blocks = vineyard.blocks
    spacing = blocks["row_spacing_m"].to_numpy(dtype=float)
    sound = blocks.geometry.notna().to_numpy() & ~np.isnan(spacing) & blocks["vine_spacing_m"].notna().to_numpy()
    drawn = set() if vineyard.rows is None else set(vineyard.rows["block"])
    laid: dict[str, RowLines] = {}
    for name, spacing_m in zip(blocks["block"].to_numpy()[sound], spacing[sound], strict=True):
        if not name or name in laid:
            continue
        try:
            laid[name] = lay_rows(vineyard, name)
        except DataError as error:
            for problem in error.problems:
                faults.at(file, problem.layer).add(problem.what, problem.mend, row=problem.row)
            continue
        if name in drawn:
            _check_spacing(laid[name], float(spacing_m), name, faults)
        else:
            rows = len(laid[name].rows)
            faults.remark("assumed", "rows_laid_out", block=name, rows=rows, spacing_m=float(spacing_m))
    return laid


def _rows_of(lines: RowLines) -> tuple[list[str], list[int]]:
    return lines.rows["row"].tolist(), lines.rows["vines"].tolist()


def _ends_of(table: pd.DataFrame, ends: dict[tuple[str, str], int]) -> NDArray[np.float64]:
    """Vines in the row that each line of a table names; NaN where there is no such row."""
    keys = zip(table["block"], table["row"], strict=True)
    return np.array([ends.get(key, np.nan) for key in keys], dtype=float)


def _check_spacing(lines: RowLines, spacing_m: float, name: str, faults: Faults) -> None:
    """Compare the rows as drawn with the row spacing told: a wrong unit shows here."""
    drawn = np.asarray(lines.rows.geometry.values)
    if len(drawn) < 3:
        return
    middle = shapely.line_interpolate_point(drawn, 0.5, normalized=True)
    measured = float(np.median(shapely.distance(middle[1:], drawn[:-1])))
    if abs(measured / spacing_m - 1) > SPACING_TOLERANCE:
        faults.remark("warning", "row_spacing_differs", block=name, drawn_m=measured, told_m=spacing_m)


def _check_vine_numbers(vines: gpd.GeoDataFrame, ends: dict[tuple[str, str], int], faults: Faults) -> None:
    end, number = _ends_of(vines, ends), vines["vine"].to_numpy()
    found = []
    for i in np.flatnonzero(~(number <= end)):
        vine = vines.iloc[i]
        held = "" if np.isnan(end[i]) else f" ({end[i]:g} vines)"
        found.append(("", f"there is no vine {vine['vine']} in row '{vine['row']}' of block '{vine['block']}'{held}"))
    faults.add_each(found, "Correct row and vine, or the row's line and the vine spacing")


def _check_enough(
    vineyard: Vineyard, samples: gpd.GeoDataFrame, laid: dict[str, RowLines], wrong: NDArray[np.bool_], faults: Faults
) -> None:
    """Count the samples of each block that can be used; nothing is said while some have no known block."""
    if not len(vineyard.samples) or (vineyard.samples["block"] == "").any():
        return
    lost = wrong | _out_of_use(vineyard, samples, laid)
    given = samples["block"].value_counts()
    useful = samples.loc[~lost, "block"].value_counts()
    for name in laid:
        count, whole = int(useful.get(name, 0)), int(given.get(name, 0))
        if count < FEWEST_SAMPLES:
            what = f"{count} usable samples in block '{name}'" + (f" of {whole} given" if count < whole else "")
            faults.add(what, f"Weigh at least {FEWEST_SAMPLES} vines in every block")


def _out_of_use(vineyard: Vineyard, samples: gpd.GeoDataFrame, laid: dict[str, RowLines]) -> NDArray[np.bool_]:
    """Which samples cannot be used: on a vine that does not bear, or farther than half a row from any."""
    named = ((samples["row"] != "") & samples["vine"].notna()).to_numpy()
    lost = np.zeros(len(samples), dtype=bool)
    if vineyard.vines is not None:
        idle = vineyard.vines.loc[~vineyard.vines["status"].isin(COUNTED), ["block", "row", "vine"]]
        keys = pd.MultiIndex.from_frame(samples[["block", "row", "vine"]])
        lost = named & keys.isin(pd.MultiIndex.from_frame(idle.astype({"vine": float})))
    points = np.asarray(samples.geometry.values)
    located = ~named & ~shapely.is_missing(points)
    spacing = dict(zip(vineyard.blocks["block"], vineyard.blocks["row_spacing_m"], strict=True))
    for name in samples["block"][located].unique():
        here = np.flatnonzero(located & (samples["block"] == name).to_numpy())
        lost[here] = distance_to_rows(points[here], laid[name].rows) > spacing[name] / 2
    return lost


def _remark_twice(samples: gpd.GeoDataFrame, faults: Faults) -> None:
    """Say which vines were weighed twice in a season: both weights are used."""
    named = samples[(samples["row"] != "") & samples["vine"].notna()]
    for sample in named[named.duplicated(["block", "row", "vine", "season"])].itertuples():
        faults.remark("warning", "weighed_twice", block=sample.block, row=sample.row, vine=int(sample.vine))
