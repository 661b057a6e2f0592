"""summary.json: all decisions, figures, settings, input digests and versions. Schema: docs/summary.schema.json."""

from __future__ import annotations

import dataclasses
import math
import platform
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import PurePath
from typing import Any

import numpy as np
import pandas as pd
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from geoprune.errors import Message, Remark
from geoprune.plan import BlockPlan, Plan
from geoprune.writing.folder import block_folders
from geoprune.writing.tables import join_layer

Say = Callable[[Message], str]
LIBRARIES = ("geoprune", "numpy", "scipy", "pandas", "geopandas", "shapely", "pyproj", "pyogrio", "rasterio")
#: Bigger arrays are left to the GeoPackage and the GeoTIFF.
LARGEST_ARRAY = 512


def plain_words(message: Message) -> str:
    """Tell a message without a word list: its key and its values."""
    values = ", ".join(f"{name} = {value}" for name, value in message.fields.items())
    return f"{message.key} ({values})" if values else message.key


def build_summary(plan: Plan, *, say: Say = plain_words, made: datetime | None = None) -> dict[str, Any]:
    """Gather everything that was decided into plain JSON values.

    Parameters
    ----------
    plan : Plan
        The plans of all blocks.
    say : callable
        Tells a Message as a sentence (`words.load(language).say`).
    made : datetime, optional
        Time of making; now, if not given.

    Returns
    -------
    dict
        As `docs/summary.schema.json` describes it; NaN is None; SI units named in the keys.
    """
    folders = block_folders(block.name for block in plan.blocks)
    return {
        "program": "geoprune",
        "summary_version": 1,
        "made": (made or datetime.now(UTC)).isoformat(timespec="seconds"),
        "versions": versions(),
        "crs": crs_name(plan.crs),
        "options": to_json(plan.options, say),
        "inputs": to_json(list(plan.sources), say),
        "remarks": tell_remarks(plan.remarks, say),
        "blocks": {block.name: block_summary(block, plan, folders[block.name], say) for block in plan.blocks},
        "files": [],
    }


def block_summary(block: BlockPlan, plan: Plan, folder: str, say: Say) -> dict[str, Any]:
    """Return what is told of one block."""
    alone = dataclasses.replace(plan, blocks=(block,))
    zones = records(join_layer(alone, "zones"), say)
    counted = block.vines[block.vines["buds_per_vine"] > 0]
    used = (
        block.samples["used"].astype(bool)
        if "used" in block.samples
        else pd.Series(True, block.samples.index)
    )
    return {
        "folder": folder,
        "settings": to_json(block.settings, say),
        "verdict": block.verdict,
        "verdict_reasons": [say(message) for message in block.verdict_reasons],
        "buds_per_vine": int(block.buds_per_vine),
        "vines": sum(zone["vines"] or 0 for zone in zones),
        "positions": len(block.vines),
        "buds_total": int(counted["buds_per_vine"].sum()),
        "area_ha": to_json(sum(zone["area_ha"] or 0.0 for zone in zones), say),
        "vine_size_kg": to_json(block.vine_size_kg, say),
        "vine_size_se_kg": to_json(block.vine_size_se_kg, say),
        "loo_rmse_kg": to_json(block.loo_rmse_kg, say),
        "mean_rmse_kg": to_json(block.mean_rmse_kg, say),
        "samples_used": int(used.sum()),
        "samples_left_out": int((~used).sum()),
        "zones": zones,
        "advice": [to_json(advice, say) for advice in block.advice],
        "merit": to_json(block.merit, say),
        "model": to_json(block.model, say),
        "replant_areas": records(join_layer(alone, "replant_areas"), say),
        "next_vines": records(join_layer(alone, "next_vines"), say),
        "flagged_posts": len(block.flags),
        "remarks": tell_remarks(block.remarks, say),
    }


def tell_remarks(remarks: Iterable[Remark], say: Say) -> list[dict[str, str]]:
    """Return remarks as kind, key, block and sentence."""
    return [{"kind": r.kind, "key": r.message.key, "block": r.block, "text": say(r.message)} for r in remarks]


def records(table: pd.DataFrame, say: Say) -> list[dict[str, Any]]:
    """Return a table's lines without geometry and block."""
    plain = pd.DataFrame(table).drop(columns=["geometry", "block"], errors="ignore")
    return [to_json(line, say) for line in plain.to_dict("records")]


def to_json(value: Any, say: Say) -> Any:
    """Bring a value to what JSON can hold: NaN and missing to None, messages to sentences, big arrays left out."""
    if isinstance(value, Message):
        return say(value)
    if value is None or isinstance(value, str | bool) or value is pd.NA or value is pd.NaT:
        return value if isinstance(value, str | bool) else None
    if isinstance(value, np.generic):
        return to_json(value.item(), say)
    if isinstance(value, int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return structure_to_json(value, say)


def structure_to_json(value: Any, say: Say) -> Any:
    """Bring a composed value to JSON."""
    if isinstance(value, CRS):
        return crs_name(value)
    if isinstance(value, PurePath):
        return value.name
    if isinstance(value, np.ndarray):
        return (
            to_json(value.tolist(), say)
            if value.size <= LARGEST_ARRAY
            else {"left_out_shape": list(value.shape)}
        )
    if isinstance(value, pd.Series):
        return to_json(value.to_numpy(), say)
    if isinstance(value, pd.DataFrame):
        return records(value, say) if len(value) <= LARGEST_ARRAY else {"left_out_shape": list(value.shape)}
    if isinstance(value, BaseGeometry):
        return value.geom_type
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_json(getattr(value, f.name), say) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(name): to_json(item, say) for name, item in value.items()}
    if isinstance(value, Iterable):
        return [to_json(item, say) for item in value]
    return str(value)


def crs_name(crs: CRS) -> str:
    """Name a CRS by its authority's code, or by its own name."""
    authority = crs.to_authority()
    return ":".join(authority) if authority else str(crs.name)


def versions() -> dict[str, str]:
    """Return the versions of Python and of the libraries that make the numbers."""
    found = {"python": platform.python_version()}
    for library in LIBRARIES:
        try:
            found[library] = version(library)
        except PackageNotFoundError:
            found[library] = "not installed"
    return found
