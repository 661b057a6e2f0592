"""A replanting proposal for every block, from the results of a winter or from a vineyard file alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from geoprune.errors import DataError, Message, Problem
from geoprune.layers import Vineyard
from geoprune.reading import Winter, read_vineyard, read_winter
from geoprune.replanting import PriceList, Proposal, Stand, propose, read_prices
from geoprune.trellis import build_trellis

#: What results do with a vine that is too weak to bear.
RENEW = "renew"


@dataclass(frozen=True, eq=False)
class Replanting:
    """Proposals of all blocks, the prices as given, and what is to be said of all."""

    proposals: tuple[Proposal, ...]
    prices: PriceList
    remarks: tuple[Message, ...]


def plan_replanting(source: Path, *, prices: Path | None = None, earlier: Sequence[Path] = (), seed: int = 0) -> Replanting:
    """Propose what to replant.

    Parameters
    ----------
    source : Path
        A folder that `geoprune prescribe` wrote, or a vineyard file with its layer of vines.
    prices : Path, optional
        TOML, see `replanting.read_prices`.
    earlier : sequence of Path
        Results of earlier winters: only vines that are to be renewed in every one of them count as weak.
    seed : int

    Raises
    ------
    DataError
        If files or folders cannot be used, or the prices name a block that there is not.
    """
    listed = PriceList() if prices is None else read_prices(prices)
    if Path(source).is_dir():
        stands, remarks = _from_results(read_winter(source), [read_winter(folder) for folder in earlier])
    elif earlier:
        mend = "Give the results of this winter in place of the vineyard file"
        raise DataError([Problem(Path(source).name, "", "earlier", "earlier winters stand beside a vineyard file", mend)])
    else:
        stands, remarks = from_vineyard(read_vineyard(source, need_samples=False))
    listed.check_blocks([stand.block for stand in stands], "" if prices is None else prices.name)
    proposals = tuple(propose(stand, listed.of(stand.block), seed=seed) for stand in stands)
    return Replanting(proposals, listed, remarks)


def from_vineyard(vineyard: Vineyard) -> tuple[list[Stand], tuple[Message, ...]]:
    """Lay out the blocks of a vineyard; weak vines are not known there."""
    stands = []
    for entry in vineyard.blocks.to_dict("records"):
        trellis = build_trellis(vineyard, entry["block"])
        names = ["row", "row_order", "vine", "status", "geometry"]
        vines = trellis.vines[names].assign(weak=False)
        panel = round(len(trellis.vines) / max(len(trellis.panels), 1))
        variety, rootstock = (str(entry[name]) if _is_text(entry.get(name)) else "" for name in ("variety", "rootstock"))
        spacings = trellis.row_spacing_m, trellis.vine_spacing_m
        stands.append(Stand(entry["block"], variety, rootstock, *spacings, max(panel, 1), vines))
    return stands, (Message("replant.weak_unknown"),)


def _from_results(winter: Winter, earlier: list[Winter]) -> tuple[list[Stand], tuple[Message, ...]]:
    stands = [_stand(winter, block) for block in winter.blocks]
    if not earlier:
        return stands, (Message("replant.weak_from"),)
    lasting = [replace(stand, vines=stand.vines.assign(weak=_lasting(stand, earlier))) for stand in stands]
    return lasting, (Message("replant.weak_lasting", {"winters": len(earlier) + 1}),)


def _stand(winter: Winter, block: str) -> Stand:
    given, vines = winter.settings(block), winter.of("vines", block)
    order = dict(zip(winter.of("rows", block)["row"], winter.of("rows", block)["order"], strict=True))
    table = gpd.GeoDataFrame(
        {
            "row": vines["row"],
            "row_order": vines["row"].map(order).astype("int64"),
            "vine": vines["vine"],
            "status": vines["status"],
            "weak": (vines["treatment"] == RENEW).to_numpy(),
        },
        geometry=vines.geometry,
        crs=vines.crs,
    )
    table = table.sort_values(["row_order", "vine"], ignore_index=True)
    spacings = float(given["row_spacing_m"]), float(given["vine_spacing_m"])
    return Stand(block, str(given.get("variety") or ""), "", *spacings, int(given.get("vines_per_panel") or 1), table)


def _lasting(stand: Stand, earlier: list[Winter]) -> np.ndarray:
    """Weak now and in every earlier winter (V,); a vine that an earlier winter does not list was not weak then."""
    weak = stand.vines["weak"].to_numpy(dtype=bool)
    here = pd.MultiIndex.from_frame(stand.vines[["row", "vine"]])
    for winter in earlier:
        then = winter.of("vines", stand.block)
        then = then[then["treatment"] == RENEW]
        weak = weak & here.isin(pd.MultiIndex.from_frame(then[["row", "vine"]]))
    return weak


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value)
