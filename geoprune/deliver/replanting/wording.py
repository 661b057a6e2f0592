"""A replanting proposal worded for one reader: cells of tables and sentences, for page, PDF and terminal alike."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np

from geoprune.deliver.pages.text import clean, shorten
from geoprune.errors import Message
from geoprune.replanting import ENTRIES, PriceList, Proposal
from geoprune.rules import Range, missing_share
from geoprune.words import Reader

#: Names of prices that nobody gave are listed up to so many; the rest are counted.
MOST_NAMED = 6


def replant_content(
    proposals: Sequence[Proposal], prices: PriceList, remarks: Sequence[Message], reader: Reader, *, made: date
) -> dict[str, Any]:
    """Return all that page and PDF say, as text."""
    words = reader.words("replant")
    return {
        "language": reader.language,
        "words": dict(words),
        "made": reader.date(made),
        "invented": invented_line(proposals, reader),
        "remarks": [_say(remark, reader) for remark in remarks],
        "blocks": [_block(proposal, reader) for proposal in proposals],
        "orders": [order_cells(proposal, reader) for proposal in proposals],
        "order_heads": [words[f"head_{name}"] for name in ORDER_HEADS],
        "area_heads": [words[f"head_{name}"] for name in AREA_HEADS],
        "option_heads": [words[f"head_{name}"] for name in ("order", "layer", "single", "section")],
        "vine_heads": [words[f"head_{name}"] for name in ("order", "row", "what", "vines")],
        "prices": price_cells(prices, reader),
        "notes": [words[name] for name in ("sums_note", "losses_note", "young_note", "layer_note")],
        "cautions": [words[name] for name in ("caution_sick", "caution_local")],
    }


def invented_line(proposals: Sequence[Proposal], reader: Reader) -> str:
    """Return the warning that figures are invented; "" where all were given."""
    names = list(dict.fromkeys(name for proposal in proposals for name in proposal.prices.invented))
    if not names:
        return ""
    listed = ", ".join(names[:MOST_NAMED]) + (f" (+{len(names) - MOST_NAMED})" if len(names) > MOST_NAMED else "")
    return _say(Message("replant.invented_bar", {"names": listed}), reader)


AREA_HEADS = ("order", "area", "rows", "what", "gone", "weak", "sick", "cost", "back", "payback", "pays")


def area_cells(proposal: Proposal, reader: Reader) -> list[list[str]]:
    """Return a block's areas, cell by cell."""
    words, cells = reader.words("replant"), []
    for line, choice in zip(proposal.areas.to_dict("records"), proposal.choices, strict=True):
        rows = (line["first_row"], line["last_row"])
        cells.append(
            [
                str(line["order"]),
                str(line["area"]) if line["area"] else words["scattered_area"],
                shorten("–".join(dict.fromkeys(rows)), 40),
                words[f"option_{line['option']}"],
                *(reader.number(line[name]) for name in ("missing_or_dead", "weak", "diseased")),
                money(float(choice.worth.cost[1]), proposal, reader),
                _ranged(choice.worth.npv, proposal, reader),
                _payback(choice.worth.payback_years, proposal, reader),
                reader.number(100 * choice.worth.pays),
            ]
        )
    return cells


ORDER_HEADS = (
    *("block", "variety", "rootstock", "plants", "spare", "to_order"),
    *("layers", "stakes", "guards", "posts", "wire"),
)


def order_cells(proposal: Proposal, reader: Reader) -> list[str]:
    """Return what to order for a block, cell by cell."""
    order, words = proposal.orders, reader.words("replant")
    numbers = [reader.number(order[name]) for name in ("plants", "spare", "to_order", "layers", "stakes", "guards", "posts")]
    names = [shorten(str(order[name])) or words["not_given"] for name in ("block", "variety", "rootstock")]
    return [*names, *numbers, reader.figure("wire_m", order["wire_m"])]


def option_cells(proposal: Proposal, reader: Reader) -> list[list[str]]:
    """Return what each way comes to in each area, and its range; a dash where a way is not open."""
    cells = []
    for place, choice in enumerate(proposal.choices, start=1):
        values = [choice.worths[name].npv if name in choice.worths else None for name in ("layer", "single", "section")]
        cells.append([str(place), *("–" if v is None else _ranged(v, proposal, reader) for v in values)])
    return cells


def vine_cells(proposal: Proposal, reader: Reader) -> list[list[str]]:
    """Return the vines to work on: area by area in the order given, a line for each row and kind of work."""
    words, cells = reader.words("replant"), []
    place = {choice.area.number: number for number, choice in enumerate(proposal.choices, start=1)}
    vines = proposal.vines.assign(place=proposal.vines["area"].map(place))
    for (number, _, row, work), here in vines.groupby(["place", "row_order", "row", "work"], sort=True):
        cells.append([str(number), shorten(str(row), 32), words[f"work_{work}"], spans(here["vine"].tolist())])
    return cells


def spans(numbers: Sequence[int]) -> str:
    """Return whole numbers as they are read out.

    Examples
    --------
    >>> spans([3, 4, 5, 9, 11, 12])
    '3–5, 9, 11–12'
    """
    ordered = np.array(sorted(numbers))
    parts = np.split(ordered, np.flatnonzero(np.diff(ordered) > 1) + 1)
    return ", ".join(str(part[0]) if len(part) == 1 else f"{part[0]}–{part[-1]}" for part in parts)


def price_cells(prices: PriceList, reader: Reader) -> list[list[str]]:
    """Return the figures that hold for all blocks, then those of blocks: name, meaning, value."""
    words, cells = reader.words("prices"), []
    shared = prices.of("")
    for name in ENTRIES:
        mark = " ✎" if name in shared.invented else ""
        cells.append([name, words[name], _value(shared.values[name], reader) + mark])
    for block, own in prices.blocks.items():
        cells += [[shorten(f"{block}: {name}"), words[name], _value(value, reader)] for name, value in own.items()]
    return cells


def money(value: float, proposal: Proposal, reader: Reader) -> str:
    """Return a sum of money."""
    return f"{shorten(proposal.prices.text('currency'), 8)}\u00a0{reader.number(value)}"


def _ranged(sums: np.ndarray, proposal: Proposal, reader: Reader) -> str:
    """A sum of money with its range; sums (3,) low, mean, high."""
    low, mean, high = (money(float(value), proposal, reader) for value in sums)
    return f"{mean} ({low} – {high})"


def _block(proposal: Proposal, reader: Reader) -> dict[str, Any]:
    stand, words = proposal.stand, reader.words("replant")
    gone, positions = int(stand.gone.sum()), len(stand.vines)
    counts = {"gone": gone, "weak": int(stand.weak.sum()), "sick": int(stand.sick.sum()), "positions": positions}
    facts = [Message("replant.facts", {**counts, "percent": 100 * missing_share(gone, positions)})]
    if proposal.choices:
        facts.append(_smallest(proposal))
        facts.append(_whole(proposal, reader))
    limits = [one for one in proposal.messages if one.key.split(".")[0] in ("crop", "cautions")]
    left = [one for one in proposal.messages if one.key.startswith("replant.left_")]
    spreading = [one for one in proposal.messages if one not in limits and one not in left]
    return {
        "name": shorten(stand.block),
        "kind": " · ".join(shorten(part) for part in (stand.variety, str(proposal.orders["rootstock"])) if part),
        "facts": [_say(fact, reader) for fact in (*facts, *left)],
        "limits": [_say(limit, reader) for limit in limits],
        "spreading": [_say(one, reader) for one in spreading],
        "areas": area_cells(proposal, reader),
        "options": option_cells(proposal, reader),
        "options_note": clean(words["options_note"].format(years=proposal.prices.whole("years"))),
        "vines": vine_cells(proposal, reader),
    }


def _smallest(proposal: Proposal) -> Message:
    pays = not any(message.key == "replant.left_gone" for message in proposal.messages)
    return Message("replant.smallest" if pays else "replant.smallest_usual", {"smallest": proposal.smallest})


def _whole(proposal: Proposal, reader: Reader) -> Message:
    together = sum(float(choice.worth.npv[1]) for choice in proposal.choices if choice.best != "leave")
    low, whole, high = (money(value, proposal, reader) for value in proposal.whole.npv)
    fields = {"whole": whole, "low": low, "high": high, "together": money(together, proposal, reader)}
    return Message("replant.whole_pays" if proposal.whole_pays_more else "replant.whole_not", fields)


def _payback(years: np.ndarray, proposal: Proposal, reader: Reader) -> str:
    never = reader.words("replant")["never"].format(years=proposal.prices.whole("years"))
    low, middle, high = (reader.number(value) if np.isfinite(value) else never for value in years)
    return middle if low == high else f"{middle} ({low} – {high})"


def _value(value: Any, reader: Reader) -> str:
    if isinstance(value, str):
        return shorten(value) or "–"
    if isinstance(value, Range):
        return " – ".join(_plain(one, reader) for one in (value.low, value.likely, value.high))
    if isinstance(value, tuple):
        return "; ".join(_plain(one, reader) for one in value)
    return _plain(value, reader)


def _plain(value: float, reader: Reader) -> str:
    return reader.marked(f"{value:,g}")


def _say(message: Message, reader: Reader) -> str:
    return clean(reader.say(message))
