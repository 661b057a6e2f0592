"""What every map and sheet says: cautions, which wood to keep, what counts as a bud. Texts stand in the word lists."""

from __future__ import annotations

from geoprune.errors import Message

#: Short cautions for every page, most important first.
CAUTION_KEYS = ("guide", "local_rules", "safety", "wounds", "weather")
#: What counts as a bud, and what does not.
BUD_KEYS = ("count_these", "not_these", "renewal_counts")
#: Which wood is kept, and which is not (common practice; thickness: Hellman, eXtension Grapes).
WOOD_KEYS = ("keep_wood", "not_bull_wood")


def caution_notes() -> tuple[Message, ...]:
    """The cautions that go with every number: see each vine, local rules and adviser, safety, wounds, weather."""
    return tuple(Message(f"cautions.{key}") for key in CAUTION_KEYS)


def bud_notes() -> tuple[Message, ...]:
    """What counts as a bud on last year's wood, and what does not."""
    return tuple(Message(f"cautions.{key}") for key in BUD_KEYS)


def wood_notes() -> tuple[Message, ...]:
    """Which wood to keep: for the sheet, beside the drawn vines."""
    return tuple(Message(f"cautions.{key}") for key in WOOD_KEYS)
