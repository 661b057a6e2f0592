"""Buds shared out over canes and spurs: what fits on a vine, and which whole pieces add up to a count."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geoprune.rules.training import Training

#: A cane has at least 4 nodes, anything shorter is a spur (Pool 2000, rev. Vanden Heuvel 2011, Cornell).
CANE_FROM = 4
#: Buds that bear beside the last renewal spur: a spur of two. Next year's cane must grow from somewhere even on the
#: smallest vine (common practice, no source).
LEAST_BESIDE_RENEWAL = 2


@dataclass(frozen=True)
class Part:
    """So many pieces of wood of one kind with so many buds each. `kind`: "cane", "spur" or "renewal"."""

    kind: str
    count: int
    buds: int


@dataclass(frozen=True)
class Wood:
    """What the trellis and the grower's habits allow on one vine.

    `buds_each` is (fewest, most) per cane or spur, `pieces` (usual, most) canes, or (1, most) spurs; `aim` the buds per
    piece that set the number of pieces, 0 where canes have their places or spurs are kept short; `fixed` whether the grower
    fixed the buds of each piece.
    """

    kind: str
    pieces: tuple[int, int]
    buds_each: tuple[int, int]
    renewal_spurs: int
    buds_per_renewal_spur: int
    length_m: float
    aim: int = 0
    fixed: bool = False

    @property
    def renewal_buds(self) -> int:
        """Buds on renewal spurs; they count."""
        return self.renewal_spurs * self.buds_per_renewal_spur

    @property
    def capacity(self) -> int:
        """Most buds that fit."""
        return self.pieces[1] * self.buds_each[1] + self.renewal_buds


def spur_wood(system: Training, length: float, spacing: float, each: int | None, renewal: tuple[int, int]) -> Wood:
    """Room for spurs on a cordon; `renewal` is (spurs, buds each), `each` the buds per spur if fixed."""
    most = max(_whole(length / spacing) - renewal[0], 1)
    buds = system.buds_per_spur if each is None else (each, each)
    return Wood("spur", (1, most), buds, *renewal, length, fixed=each is not None)


def in_units(wood: Wood, buds: int) -> Wood:
    """The same wood in bearing units of so many buds, as a trial had them: aimed at, so that any count is still met."""
    if wood.fixed or not wood.buds_each[0] <= buds <= wood.buds_each[1]:
        return wood
    return replace(wood, aim=buds)


def cane_wood(system: Training, length: float, spacing: float, each: int | None, renewal: tuple[int, int]) -> Wood:
    """Room for canes of a length with a node each `spacing`; `each` is the buds per cane if fixed."""
    most = system.buds_per_cane[1]
    if np.isfinite(length):
        most = max(min(most, _whole(length / spacing)), CANE_FROM)
    buds = (CANE_FROM, most) if each is None else (each, each)
    aim = system.buds_per_cane_aim
    return Wood("cane", system.canes, buds, *renewal, length, aim, fixed=each is not None)


def share_out(buds: int, wood: Wood) -> tuple[Part, ...]:
    """Whole pieces that hold the buds: canes or spurs first, renewal spurs last, one bud apart at most."""
    if buds == 0:
        return ()
    renewal = _renewal(buds, wood)
    rest = buds - sum(part.count * part.buds for part in renewal)
    if wood.fixed:
        return (*_fixed(rest, wood), *renewal)
    if rest < wood.buds_each[0] or (wood.kind == "cane" and rest < CANE_FROM):
        return (Part("spur", 1, rest), *renewal) if rest else renewal
    return (*(_canes(rest, wood) if wood.kind == "cane" else _spurs(rest, wood)), *renewal)


def _renewal(buds: int, wood: Wood) -> tuple[Part, ...]:
    """Renewal spurs: as many as leave all the usual canes beside them, else one cane; the last is kept as long as two buds
    are left to bear."""
    all_canes = wood.pieces[0] * wood.buds_each[0] if wood.kind == "cane" else wood.buds_each[0]
    numbers = range(wood.renewal_spurs, 0, -1)
    left = {spurs: buds - spurs * wood.buds_per_renewal_spur for spurs in numbers}
    for least in (all_canes, wood.buds_each[0]):
        for spurs in numbers:
            if left[spurs] >= least:
                return (Part("renewal", spurs, wood.buds_per_renewal_spur),)
    kept = numbers and left[1] >= LEAST_BESIDE_RENEWAL
    return (Part("renewal", 1, wood.buds_per_renewal_spur),) if kept else ()


def _fixed(rest: int, wood: Wood) -> tuple[Part, ...]:
    each = wood.buds_each[0]
    pieces = min(max(_whole(rest / each + 0.5), 1), wood.pieces[1])
    return (Part(wood.kind, pieces, each),)


def _canes(rest: int, wood: Wood) -> tuple[Part, ...]:
    usual, most = wood.pieces
    fewest, longest = wood.buds_each
    needed = -(-rest // longest)
    wanted = _whole(rest / wood.aim + 0.5) if wood.aim else usual
    pieces = min(max(usual, needed, wanted), most)
    pieces = max(min(pieces, rest // fewest), 1)
    return _share("cane", rest, pieces)


def _spurs(rest: int, wood: Wood) -> tuple[Part, ...]:
    most = wood.pieces[1]
    shortest, longest = wood.buds_each
    if wood.aim and rest >= wood.aim:
        pieces = min(max(_whole(rest / wood.aim + 0.5), -(-rest // longest)), most)
        return _share("spur", rest, pieces)
    each = next(size for size in range(shortest, longest + 1) if most * size >= rest)
    whole, left = divmod(rest, each)
    if left == 0:
        return (Part("spur", whole, each),)
    longer_fits = each < longest and left <= whole
    shorter_fits = each > shortest and whole < most
    if longer_fits and (not shorter_fits or left <= each - left):
        return _share("spur", rest, whole)
    return _share("spur", rest, whole + 1)


def _share(kind: str, buds: int, pieces: int) -> tuple[Part, ...]:
    each, longer = divmod(buds, pieces)
    parts = (Part(kind, longer, each + 1), Part(kind, pieces - longer, each))
    return tuple(part for part in parts if part.count)


def countable(wood: Wood) -> tuple[int, ...]:
    """Counts that a crew keeps count of: all canes, or all spurs, alike, or the upper half of four canes or more a bud
    longer than the lower."""

    def easy(buds: int) -> bool:
        parts = share_out(buds, wood)
        main = [part for part in parts if part.kind != "renewal"]
        halves = wood.kind == "cane" and len(main) == 2 and main[0].count == main[1].count >= 2
        return (len(main) == 1 or halves) and sum(part.count * part.buds for part in parts) == buds

    return tuple(buds for buds in range(1, wood.capacity + 1) if easy(buds))


def even_counts(buds: int, wood: Wood) -> tuple[int | None, int | None]:
    """Nearest counts below and above that come out with all pieces alike."""
    pieces = np.arange(1, wood.pieces[1] + 1)
    each = np.arange(wood.buds_each[0], wood.buds_each[1] + 1)
    even = np.unique(np.outer(pieces, each)) + wood.renewal_buds
    lower, higher = even[even < buds], even[even > buds]
    return (int(lower[-1]) if len(lower) else None), (int(higher[0]) if len(higher) else None)


def _whole(value: float) -> int:
    return int(np.floor(value + 1e-9))
