"""Settings of a run: typed, from a file beside the vineyard, with overrides for single blocks. Each is defined once."""

from geoprune.settings.kinds import WrongValue
from geoprune.settings.reading import SETTINGS_FILE, find_settings, match_blocks, read_settings
from geoprune.settings.setting import Setting
from geoprune.settings.settings import Settings
from geoprune.settings.tables import BLOCK_COLUMNS, Buds, Crop, Files, Pages, Work, Zones, block_definitions, definitions
from geoprune.settings.writing import settings_template, settings_text

__all__ = [
    "BLOCK_COLUMNS",
    "SETTINGS_FILE",
    "Buds",
    "Crop",
    "Files",
    "Pages",
    "Setting",
    "Settings",
    "Work",
    "WrongValue",
    "Zones",
    "block_definitions",
    "definitions",
    "find_settings",
    "match_blocks",
    "read_settings",
    "settings_template",
    "settings_text",
]
