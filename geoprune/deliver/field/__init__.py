"""The page for the phone in the row: weighing, bud checks, the row card, counting again; and what comes back from it."""

from geoprune.deliver.field.block import FieldBlock, FieldRow, FieldRun, FieldVine, expected_range, pruning_season, season_of
from geoprune.deliver.field.briefed import estate_of, field_block_of, field_page
from geoprune.deliver.field.log import (
    Entry,
    FieldLog,
    bud_check_layer,
    bud_check_table,
    count_table,
    left_out_table,
    list_of,
    live_entries,
    merge_entries,
    merge_logs,
    read_field_log,
    tick_table,
    weights_table,
)
from geoprune.deliver.field.page import WEIGHT_UNITS, render_field_page
from geoprune.deliver.field.tables import field_block_from_tables

__all__ = [
    "WEIGHT_UNITS",
    "Entry",
    "FieldBlock",
    "FieldLog",
    "FieldRow",
    "FieldRun",
    "FieldVine",
    "bud_check_layer",
    "bud_check_table",
    "count_table",
    "estate_of",
    "expected_range",
    "field_block_from_tables",
    "field_block_of",
    "field_page",
    "left_out_table",
    "list_of",
    "live_entries",
    "merge_entries",
    "merge_logs",
    "pruning_season",
    "read_field_log",
    "render_field_page",
    "season_of",
    "tick_table",
    "weights_table",
]
