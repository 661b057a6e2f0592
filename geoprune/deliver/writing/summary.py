"""summary.json: decisions, figures, settings, input digests and versions (docs/summary.schema.json)."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from importlib.metadata import version
from pathlib import PurePath
from typing import Any

import numpy as np
import pandas as pd
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from geoprune.clock import now
from geoprune.deliver.edition import versions
from geoprune.deliver.writing.figures import benefit_record, model_record
from geoprune.errors import Message, Remark
from geoprune.plan import BlockPlan, EstatePlan
from geoprune.rules import caution_notes
from geoprune.text import clean

Say = Callable[[Message], str]
#: Bigger arrays are left to the GeoPackage and the GeoTIFF.
LARGEST_ARRAY = 512


def estate_summary(estate: EstatePlan, *, say: Say, made: datetime | None = None) -> dict[str, Any]:
    """Gather what was decided for all blocks into plain JSON values; `blocks`, `files` and `digests` are empty.

    Parameters
    ----------
    estate : EstatePlan
        Its blocks are not looked at.
    say : callable
        Tells a Message as a sentence.
    made : datetime, optional
        Time of making; now, if not given.

    Returns
    -------
    dict
        As `docs/summary.schema.json` describes it; NaN is None; SI units named in the keys.
    """
    return {
        "program": "geoprune",
        "summary_version": 1,
        "made": (made or now()).isoformat(timespec="seconds"),
        "versions": versions(),
        "crs": crs_name(estate.crs),
        "options": to_json(estate.options, say),
        "inputs": to_json(list(estate.sources), say),
        "cautions": [say(caution) for caution in caution_notes()],
        "remarks": remark_records(estate.remarks, say),
        "blocks": {},
        "files": [],
        "digests": {},
    }


def summary_head(command: str, made: date) -> dict[str, Any]:
    """Return what begins the summary of a command beside `prescribe`: program, version, command, day."""
    return {"program": "geoprune", "version": version("geoprune"), "command": command, "made": made.isoformat()}


def block_summary(block: BlockPlan, tables: Mapping[str, pd.DataFrame], say: Say) -> dict[str, Any]:
    """Return what is said of one block; `tables` as `writing.tables.block_tables` gives them."""
    samples = tables["samples"]
    zones = records(tables["zones"], say)
    used = samples["used"].fillna(True).astype(bool)
    buds = tables["vines"]["buds_per_vine"]
    figures = ("buds_per_vine", "vine_size_kg", "vine_size_se_kg", "loo_rmse_kg", "mean_rmse_kg")
    return {
        "settings": to_json(block.settings, say),
        "verdict": block.verdict,
        "verdict_reasons": [say(reason) for reason in block.verdict_reasons],
        **{name: to_json(getattr(block, name), say) for name in figures},
        "vines": sum(zone["vines"] or 0 for zone in zones),
        "positions": len(buds),
        "buds_total": None if buds.isna().any() else int(buds.sum()),
        "area_ha": sum(zone["area_ha"] or 0.0 for zone in zones),
        "samples_used": int(used.sum()),
        "samples_left_out": int((~used).sum()),
        "zones": zones,
        "advice": [to_json(entry, say) | {"sentences": [say(line) for line in entry.messages]} for entry in block.advice],
        "rule": to_json(block.rule, say),
        "injury": to_json(block.injury, say),
        "crop": to_json(block.crop, say),
        "notes": [say(note) for note in block.notes],
        "merit": to_json(benefit_record(block.benefit), say),
        "model": to_json(model_record(block.model), say),
        "replant_areas": records(tables["replant_areas"], say),
        "next_vines": records(tables["next_vines"], say),
        "flagged_posts": len(block.flags),
        "remarks": remark_records(block.remarks, say),
    }


def remark_records(remarks: Iterable[Remark], say: Say) -> list[dict[str, str]]:
    """Return remarks as kind, key, block and sentence."""
    return [
        {"kind": remark.kind, "key": remark.message.key, "block": clean(remark.block), "text": say(remark.message)}
        for remark in remarks
    ]


def records(table: pd.DataFrame, say: Say) -> list[dict[str, Any]]:
    """Return a table's lines without geometry and block."""
    plain = pd.DataFrame(table).drop(columns=["geometry", "block"], errors="ignore")
    return [to_json(line, say) for line in plain.to_dict("records")]


def to_json(value: Any, say: Say) -> Any:
    """Bring a value to what JSON can hold: NaN to None, messages to sentences, big arrays left out."""
    if isinstance(value, Message):
        return say(value)
    if isinstance(value, str):
        return clean(value)
    if value is None or isinstance(value, bool) or value is pd.NA or value is pd.NaT:
        return value if isinstance(value, bool) else None
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
        return clean(value.name)
    if isinstance(value, np.ndarray):
        return to_json(value.tolist(), say) if value.size <= LARGEST_ARRAY else {"left_out_shape": list(value.shape)}
    if isinstance(value, pd.Series):
        return to_json(value.to_numpy(), say)
    if isinstance(value, pd.DataFrame):
        return records(value, say) if len(value) <= LARGEST_ARRAY else {"left_out_shape": list(value.shape)}
    if isinstance(value, BaseGeometry):
        return value.geom_type
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_json(getattr(value, f.name), say) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {clean(name): to_json(item, say) for name, item in value.items()}
    if isinstance(value, Iterable):
        return [to_json(item, say) for item in value]
    return str(value)


def crs_name(crs: CRS) -> str:
    """Name a CRS by its authority's code, or by its own name."""
    authority = crs.to_authority()
    return ":".join(authority) if authority else str(crs.name)
