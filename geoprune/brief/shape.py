"""The shape of a brief: what is said of a block, decided once, in words of no language."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from geoprune.brief.places import Label
from geoprune.errors import Message, Remark
from geoprune.plan import BlockPlan
from geoprune.rules import Recipe
from geoprune.zones import Interval

#: Headlines of blocks in which no number holds.
WITHOUT_NUMBER = ("stop", "young", "renew")


@dataclass(frozen=True)
class ZoneBrief:
    """What is said of one zone.

    Attributes
    ----------
    zone : int
        1 = smallest vines.
    kind : Message
        Class of vine size, "small vines".
    name : str or None
        What the zone is called where zones were given.
    style : int
        Its pattern, a key of the zone tables of `look`.
    bands : int
        Bands of tape that stand for it; 0 where nothing is taped.
    buds : int or None
        Buds to leave on each vine; None where no number holds.
    number : Message
        The same as it is written: the number, or one word for what is done instead.
    withheld : Message or None
        Why no number holds; None where one does.
    buds_total : int or None
    buds_by_rule : float
        What the rule asks for at the zone's mean size, before injury and rounding; NaN without a number.
    vines, panels : int
    area_ha : float
    size_kg : Interval
        Mean vine size.
    size_kg_m : float
        The same per metre of row.
    place : tuple of Message
        Where it lies in the block; empty where it is the whole block.
    rows : tuple of str
        Its first and last row.
    condition : Message or None
        What the vines are: weak, in balance, rank; None where that is not known or nothing is pruned.
    condition_key : str
        The same as a key: "weak", "in balance", "rank", "unknown" or "".
    recipe : Recipe or None
        How the count is left on the vine.
    leave : tuple of Message
        The recipe in short, a message for each kind of wood; empty where there is none.
    crew_notes : tuple of Message
        Reservations that concern the crew.
    renewed : Message or None
        How many of its vines are renewed, in short.
    injury, bull_canes : Interval or None
        Share of dead buds and of bull canes; None where not counted.
    advice : tuple of Message
        What goes with this zone's number alone.
    """

    zone: int
    kind: Message
    name: str | None
    style: int
    bands: int
    buds: int | None
    number: Message
    withheld: Message | None
    buds_total: int | None
    buds_by_rule: float
    vines: int
    panels: int
    area_ha: float
    size_kg: Interval
    size_kg_m: float
    place: tuple[Message, ...]
    rows: tuple[str, str]
    condition: Message | None
    condition_key: str
    recipe: Recipe | None
    leave: tuple[Message, ...]
    crew_notes: tuple[Message, ...]
    renewed: Message | None
    injury: Interval | None
    bull_canes: Interval | None
    advice: tuple[Message, ...]


@dataclass(frozen=True)
class RunBrief:
    """A stretch of a row with one number, as it is walked; `buds` is None where none holds, `number` as it is written."""

    from_post: int
    to_post: int
    first_vine: int
    last_vine: int
    zone: int
    bands: int
    buds: int | None
    number: Message
    vines: int


@dataclass(frozen=True)
class RowBrief:
    """A row as it is walked.

    `way` : compass points, 0 = north, clockwise in eighths, that the row runs from and to, seen from vine 1.
    `walked_up` : whether it is walked from vine 1 up.
    `end_post` : number of the post at its far end; posts are counted from 0 at vine 1's end.
    `apart` : kind of treatment -> vines that are not pruned to the number, in order; kinds in the order they are listed.
    """

    row: str
    way: tuple[int, int]
    walked_up: bool
    end_post: int
    runs: tuple[RunBrief, ...]
    apart: Mapping[str, Sequence[int]]


@dataclass(frozen=True)
class SampleBrief:
    """What is to be minded of a weighed vine: why it was left out, or that it disagrees with its neighbours."""

    remark: Message | None
    odd: bool


@dataclass(frozen=True)
class ReplantBrief:
    """An area worth a visit: `rows` first and last, what is in it, why."""

    rows: tuple[str, str]
    missing: int
    weak: int
    row_length_m: float
    area_ha: float
    reason: Message


@dataclass(frozen=True, eq=False)
class BlockBrief:
    """What is said of one block. The tables behind it are those of `plan`.

    Attributes
    ----------
    plan : BlockPlan
    headline : str
        What is said first: "stop", "young" vines or vines to "renew" get no number, "zone", "one" number will do, one number
        for "now" with too few weights, or "given": zones drawn by others stay, but one number would do.
    taped : bool
        Whether bands of tape show the crew which number holds.
    buds : int or None
        The one number for the whole block, where there is one and no part of the block has its number withheld.
    training : Message
    alert : Message or None
        What is read before all else: the block, some of its zones, or parts of them have no number.
    verdict, crew_verdict : Message
        The decision for the manager and for the crew.
    instead : Message or None
        The one number beside the zones, for who cannot use zones.
    young, reasons, notes : tuple of Message
        Young vines; why the block is zoned or not; what is said of the block as a whole.
    zones : tuple of ZoneBrief
    labels : tuple of Label
        Where the zones' numbers are written, the largest parts of all zones first.
    rows : tuple of RowBrief
        In walking order; none where no zone has a number.
    walk : tuple of Message
        How the row list is walked, from which end posts, or vines, are counted.
    assumed : tuple of Message
        What nobody measured and the crew will meet in the row.
    tape : tuple of Message
        How tape is read, what to do where it disagrees, how it is hung; empty where nothing is taped.
    frame : tuple of Message
        How a young vine is pruned; empty where the crew meets none.
    renew : tuple of Message
        How a vine to renew is known and what is done with it this winter; empty where the crew meets none.
    sick : tuple of Message
        What is done at a sick vine; empty where the crew meets none.
    shared : tuple of Message
        Advice that all zones share.
    bud_notes, wood_notes, cautions : tuple of Message
        What counts as a bud; which wood is kept, empty where no recipe says how many; what is minded before a cut, without
        the caution about the number where there is none.
    frost_notes : tuple of Message
        What is minded of hard winters and frost; empty past the stop limit, where nobody prunes before bud break.
    samples : tuple of SampleBrief
        Aligned with `plan.samples`.
    replant : tuple of ReplantBrief
    spreading : tuple of Message
        Whether gaps and sick vines stand together more than chance; empty where there are few.
    replant_line : Message or None
    remarks : tuple of Remark
    """

    plan: BlockPlan
    headline: str
    taped: bool
    buds: int | None
    training: Message
    alert: Message | None
    verdict: Message
    crew_verdict: Message
    instead: Message | None
    young: tuple[Message, ...]
    reasons: tuple[Message, ...]
    notes: tuple[Message, ...]
    zones: tuple[ZoneBrief, ...]
    labels: tuple[Label, ...]
    rows: tuple[RowBrief, ...]
    walk: tuple[Message, ...]
    assumed: tuple[Message, ...]
    tape: tuple[Message, ...]
    frame: tuple[Message, ...]
    renew: tuple[Message, ...]
    sick: tuple[Message, ...]
    shared: tuple[Message, ...]
    bud_notes: tuple[Message, ...]
    wood_notes: tuple[Message, ...]
    cautions: tuple[Message, ...]
    frost_notes: tuple[Message, ...]
    samples: tuple[SampleBrief, ...]
    replant: tuple[ReplantBrief, ...]
    spreading: tuple[Message, ...]
    replant_line: Message | None
    remarks: tuple[Remark, ...]

    @property
    def name(self) -> str:
        """The block's name."""
        return self.plan.name

    @property
    def surveyed(self) -> bool:
        """Whether posts have numbers that hold in the row; else crew and manager are given vines, not posts."""
        return self.plan.settings.posts_surveyed

    @property
    def without_number(self) -> bool:
        """Whether no vine of the block has a number."""
        return self.headline == "stop"

    @property
    def numbered(self) -> bool:
        """Whether any part of the block has a number."""
        return self.headline not in WITHOUT_NUMBER

    @property
    def vines(self) -> int:
        """Vines that get a number, or would."""
        return sum(zone.vines for zone in self.zones)

    @property
    def area_ha(self) -> float:
        """Area of all zones, ha."""
        return sum(zone.area_ha for zone in self.zones)
