"""A block's field page from its brief."""

from __future__ import annotations

from datetime import date
from pathlib import PurePath

from geoprune.brief import BlockBrief
from geoprune.deliver.edition import Edition
from geoprune.deliver.field.block import FieldBlock, season_of
from geoprune.deliver.field.page import render_field_page
from geoprune.deliver.field.tables import field_block_from_tables
from geoprune.layers import Source
from geoprune.plan import vines_apart
from geoprune.signs import READ_SIGNS, SIGNS_DISAGREE


def field_page(edition: Edition) -> str:
    """Return the block's page for the phone in the row."""
    origin = edition.provenance
    block = field_block_of(edition.brief, made=edition.style.made, estate=origin.estate or estate_of(origin.sources))
    return render_field_page(block, language=edition.reader.language, units=edition.reader.units)


def field_block_of(brief: BlockBrief, *, made: date, estate: str = "") -> FieldBlock:
    """Return what a field page shows of a block: the numbers row by row, vines treated apart, vines to weigh next.

    Parameters
    ----------
    brief : BlockBrief
    made : date
        Tells the season.
    estate : str
        Tells blocks of one name on different estates apart.
    """
    plan = brief.plan
    why = dict(zip(plan.zones["zone"], plan.zones["no_number"], strict=True))
    signs = tuple(sign for sign in brief.tape if sign in (READ_SIGNS, SIGNS_DISAGREE))
    return field_block_from_tables(
        plan.name,
        season=season_of(plan.vines, made),
        rows=plan.rows,
        runs=plan.runs.assign(no_number=plan.runs["zone"].map(why)),
        vines=plan.vines,
        weigh=plan.next_vines,
        apart=vines_apart(plan.vines),
        variety=plan.settings.variety,
        estate=estate,
        signs=(*([] if brief.alert is None else [brief.alert]), *signs, *brief.frame, *brief.renew),
    )


def estate_of(sources: tuple[Source, ...]) -> str:
    """Return what an estate is called on the phone: the name of its vineyard file, the first that was read."""
    return PurePath(sources[0].name).stem if sources else ""
