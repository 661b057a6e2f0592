"""What drawing or judging zones gives: the zones, and what they are worth."""

from __future__ import annotations

from dataclasses import dataclass

from geoprune.errors import Message
from geoprune.zones.options import Labels


@dataclass(frozen=True)
class Interval:
    """A figure with the range that holds the true one nine times in ten, by the model; of draws, mean and central 90 %."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Gains:
    """What zones gain on one number for the block.

    one_number_misfit, zones_misfit, perfect_misfit : buds that a vine's number lies from its need, on average; perfect
        where each panel's vine size is known
    saving_buds : the first less the second
    share_over_5_one_number, share_over_5_zones, share_over_5_perfect : of vines more than 5 buds off
    variance_explained : share of the variance of vine size that lies between the zones
    """

    one_number_misfit: Interval
    zones_misfit: Interval
    perfect_misfit: Interval
    saving_buds: Interval
    share_over_5_one_number: Interval
    share_over_5_zones: Interval
    share_over_5_perfect: Interval
    variance_explained: Interval


@dataclass(frozen=True)
class Worth:
    """Marks of one number of zones and the minutes to tie them, and what is left over.

    net_minutes : what the saving is worth in minutes of pruning, less the minutes of the marks; 0 for one number
    """

    marks: int
    minutes: float
    net_minutes: float


@dataclass(frozen=True)
class Opportunity:
    """Indices of whether zoning is worth while, after the literature; see `zones.opportunity.measure_opportunity`."""

    index: float
    cv: float
    reference_cv: float
    alike_area_ha: float
    smallest_area_ha: float
    technical_opportunity_share: float


@dataclass(frozen=True)
class CurvePoint:
    """What one number of zones would be: its misfit and saving against one number, counts, cost and worth.

    saving_share, possible_share : the saving as a share of one number's misfit, and of what a perfect map would save
    chosen : whether it is the one proposed
    """

    zones: int
    misfit: Interval
    saving_buds: Interval
    buds: tuple[int, ...]
    chosen: bool
    cost: float
    lower_bound: float
    saving_share: float
    possible_share: float
    worth: Worth


@dataclass(frozen=True)
class ZoneBenefit:
    """What zones are worth.

    gains, saving_share, possible_share, worth, opportunity : of the zones as they are drawn; shares as in `CurvePoint`
    curve : every number of zones that fits the limits, one number first
    chosen_zones : number of zones
    counting_cost_buds : what counts that a crew can be given cost against whole numbers, buds per vine
    pruning_minutes : of the whole block
    proposed_saving_buds, loss_against_proposed_buds : of zones given by others: what ours would save, and what the given
        ones lose against ours (positive: they are worse); else None
    """

    gains: Gains
    curve: tuple[CurvePoint, ...]
    chosen_zones: int
    counting_cost_buds: float
    pruning_minutes: float
    saving_share: float
    possible_share: float
    worth: Worth
    opportunity: Opportunity
    proposed_saving_buds: Interval | None = None
    loss_against_proposed_buds: Interval | None = None


@dataclass(frozen=True, eq=False)
class Alternative:
    """The best zones of a block whose verdict is one number: for whoever wants zones anyway.

    Attributes
    ----------
    panel_zone : (P,) int
        Zone of each panel, 1..k, 1 = smallest vines.
    buds : (k,) int
        Bud count of each zone.
    saving_buds : Interval
        Buds a vine is pruned nearer its own number on average.
    saving_share, possible_share : float
        The same as a share of one number's misfit, and of what a perfect map of the panels would save.
    marks : int
        Marks to be tied.
    minutes : float
        To tie them, walking included.
    """

    panel_zone: Labels
    buds: Labels
    saving_buds: Interval
    saving_share: float
    possible_share: float
    marks: int
    minutes: float


@dataclass(frozen=True, eq=False)
class Zoning:
    """Zones of whole panels and what they are worth.

    Attributes
    ----------
    panel_zone : (P,) int
        Zone of each panel, 1..k, 1 = smallest vines.
    buds : (k,) int
        Bud count of each zone.
    one_number : int
        The best single count for the block.
    verdict : str
        "zone" or "one_number"; then there is one zone, with `one_number`.
    reasons : tuple of Message
    benefit : ZoneBenefit
    cost, lower_bound : float
        Expected loss plus price of changes of this labelling, buds summed over vines, and what no labelling with as
        many zones can cost less than, limits or not; NaN where labels were given.
    names : (k,) tuple of str
        Where labels were given, what each zone was called.
    alternative : Alternative or None
        Where the verdict is one number, the best zones there could be; None where none fit the limits or save anything.
    """

    panel_zone: Labels
    buds: Labels
    one_number: int
    verdict: str
    reasons: tuple[Message, ...]
    benefit: ZoneBenefit
    cost: float = float("nan")
    lower_bound: float = float("nan")
    names: tuple[str, ...] = ()
    alternative: Alternative | None = None

    @property
    def gap(self) -> float:
        """Share by which this labelling may cost more than the best possible one; NaN where not known."""
        return max(self.cost - self.lower_bound, 0.0) / self.cost if self.cost > 0 else 0.0
