"""What is said first of a block: stop, zones, or one number."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from geoprune.brief.shape import WITHOUT_NUMBER, BlockBrief, RowBrief
from geoprune.errors import Message
from geoprune.plan import BlockPlan
from geoprune.plan.shape import TOO_FEW

#: The sentences that say zones drawn by others are not worth it: they save less than asked for, lose, or have one number.
NOT_WORTH = ("zones.given_little", "zones.given_loss", "zones.given_alike")
#: Share of a block's vines marked young from which that is said of the whole block (a design choice).
MANY_YOUNG = 0.1


def zones_without_number(plan: BlockPlan) -> tuple[int, ...]:
    """Return the zones that winter left without a number: a person must look there first."""
    withheld = plan.zones[plan.zones["buds_per_vine"].isna()]
    return tuple(int(zone) for zone in withheld.loc[withheld["no_number"].isin(("", "injury")), "zone"])


def headline_of(plan: BlockPlan, withheld: Sequence[int]) -> str:
    """Return what is said first (see `BlockBrief.headline`)."""
    said = {reason.key for reason in plan.verdict_reasons}
    if len(withheld) == len(plan.zones):
        return "stop"
    if plan.zones["buds_per_vine"].isna().all():
        return "young" if (plan.zones["no_number"] == "young").any() else "renew"
    if len(plan.zones) > 1:
        return "zone" if said.isdisjoint(NOT_WORTH) or withheld else "given"
    return "now" if TOO_FEW in said else "one"


def alert_message(plan: BlockPlan, headline: str, withheld: Sequence[int]) -> Message | None:
    """Return what is read before all else: the block, some of its zones, or parts of them have no number."""
    if headline == "stop":
        return Message("brief.verdict_stop")
    if withheld:
        return Message("brief.stop_zones", {"zones": _listed(withheld)})
    said = () if plan.injury is None else plan.injury.messages
    return next((message for message in said if message.key == "injury.stop_in_parts"), None)


def verdict_of(plan: BlockPlan, headline: str) -> Message:
    """Return the decision for the manager."""
    return Message(f"brief.verdict_{headline}", {"zones": len(plan.zones), "buds": plan.buds_per_vine})


def crew_verdict_of(plan: BlockPlan, headline: str) -> Message:
    """Return the decision for the crew: how many numbers there are, and how they know which one holds."""
    without = headline in WITHOUT_NUMBER
    signs = plan.runs["bands"].nunique()
    kind = headline if without else "zone" if signs > 1 else "one"
    return Message(f"brief.crew_{kind}", {"zones": signs})


def young_messages(plan: BlockPlan) -> tuple[Message, ...]:
    """Return what is said of a block whose vines, or many of them, are too young for the rules."""
    said = () if plan.rule is None else plan.rule.cautions
    messages = [message for message in said if message.key == "rules.young_vines"]
    young = int((plan.vines["status"] == "young").sum())
    if young and young >= MANY_YOUNG * len(plan.vines):
        messages.append(Message("plan.many_young", {"young": young, "vines": len(plan.vines)}))
    return tuple(messages)


def estate_alert(briefs: Iterable[BlockBrief]) -> Message | None:
    """Return what is read first of a whole vineyard: which blocks and zones have no number."""
    places: list[Message | str] = []
    for brief in briefs:
        withheld = zones_without_number(brief.plan)
        if brief.without_number:
            places.append(brief.name)
        elif withheld:
            places.append(Message("plan.stop_place", {"block": brief.name, "zones": _listed(withheld)}))
        elif brief.alert is not None:
            places.append(Message("plan.stop_parts", {"block": brief.name}))
    if not places:
        return None
    return Message("plan.stop_estate", {"places": _chained(places)})


def _chained(places: Sequence[Message | str]) -> Message | str:
    """Places in a row, as messages of two: halved again and again, since thousands one in another are read by no one."""
    if len(places) == 1:
        return places[0]
    middle = len(places) // 2
    return Message("plan.stop_places", {"first": _chained(places[:middle]), "next": _chained(places[middle:])})


def walk_messages(rows: Sequence[RowBrief], *, surveyed: bool = True) -> tuple[Message, ...]:
    """Return how the row list is walked: which way, and from which end posts, or vines where posts are not known, count."""
    if not rows:
        return ()
    first, *_ = rows
    messages = [Message("brief.walk", {"row": first.row, "way": way_message(first)})]
    ends = {row.way[0] for row in rows}
    end = Message(f"brief.compass_{ends.pop()}") if len(ends) == 1 else None
    counted = "post" if surveyed else "vine"
    messages.append(Message(f"brief.{counted}_vine_1") if end is None else Message(f"brief.{counted}_one_end", {"end": end}))
    return (*messages, Message("brief.missing_keep"))


def way_message(row: RowBrief) -> Message:
    """Return which way a row is walked, as compass points."""
    return _way(*(row.way if row.walked_up else row.way[::-1]))


def from_vine_1(row: RowBrief) -> Message:
    """Return which way a row runs from vine 1, as compass points."""
    return _way(*row.way)


def _way(start: int, end: int) -> Message:
    return Message("brief.way", {"start": Message(f"brief.compass_{start}"), "end": Message(f"brief.compass_{end}")})


def _listed(zones: Iterable[int]) -> str:
    return ", ".join(str(zone) for zone in zones)
