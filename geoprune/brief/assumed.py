"""What was assumed and reaches the crew: said once, so that nobody takes it for measured."""

from __future__ import annotations

from geoprune.errors import Message
from geoprune.plan import BlockPlan

#: Remarks of reading that change what row and vine numbers mean in the field -> how the crew is warned.
NUMBERS = {"reading.rows_laid_out": "brief.assumed_rows", "reading.rows_end_at_vines": "brief.assumed_ends"}


def assumed_messages(plan: BlockPlan) -> tuple[Message, ...]:
    """Return what nobody measured and the crew will meet: where rows lie, where posts stand, the wood of a vine."""
    keys = [NUMBERS[remark.message.key] for remark in plan.remarks if remark.message.key in NUMBERS]
    messages = [Message(key) for key in dict.fromkeys(keys)]
    if not plan.settings.posts_surveyed and len(plan.zones) > 1:
        messages.append(Message("brief.assumed_posts", {"vines": plan.settings.vines_per_panel}))
    if not plan.settings.wood and any(entry.recipe is not None for entry in plan.advice):
        messages.append(Message("brief.assumed_wood"))
    return tuple(messages)
