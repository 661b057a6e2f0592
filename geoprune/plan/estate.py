"""What blocks of one estate, and earlier winters, tell each other before any is planned: how far patterns reach, and how
much of what vines differ by is from vine to vine. Each block then starts from what all the *others* said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from geoprune.errors import Message, Remark
from geoprune.learned import Learned
from geoprune.surface import PERSISTENT, Checked, Prior, Spoken, said_earlier, speak, together
from geoprune.surface.shape import Shape


@dataclass(frozen=True, eq=False)
class Voice:
    """A block that is asked what it tells the others: only what that needs, and all of it can be pickled."""

    name: str
    checked: Checked
    bearing_deg: float

    def speak(self) -> Spoken | None:
        """Return what it tells; None where its weights are too few for a map, or all alike."""
        return speak(self.checked.observations, self.bearing_deg)


@dataclass(frozen=True, eq=False)
class Heard:
    """What a block starts from.

    prior : by what the others said; shape : of its own weights, where it was looked at before; blocks, earlier : how many
    other blocks and earlier results spoke.
    """

    prior: Prior = field(default_factory=Prior)
    shape: Shape | None = None
    blocks: int = 0
    earlier: int = 0

    def remarks(self, block: str) -> tuple[Remark, ...]:
        """Return what is said of it, nothing where nobody spoke."""
        by = [name for name, count in (("blocks", self.blocks), ("earlier", self.earlier)) if count]
        fields = {"blocks": self.blocks, "earlier": self.earlier}
        return (Remark("assumed", Message(f"plan.heard_{'_'.join(by)}", fields), block),) if by else ()


def hear(spoken: Sequence[Spoken | None], earlier: Sequence[Learned]) -> list[Heard]:
    """Return what each block starts from: earlier results, and every block's word but its own.

    It does not depend on the order of blocks or of results.
    """
    winters = [said_earlier(one) for one in earlier]
    everyone = [*winters, *(one.said for one in spoken if one is not None)]
    if not everyone:
        return [Heard() for _ in spoken]
    whole = together(everyone)
    lasting = together([one.lasting for one in spoken if one is not None] or [np.zeros(len(PERSISTENT))])
    found = []
    for one in spoken:
        others = len(everyone) - len(winters) - (one is not None)
        said = whole - (np.zeros_like(whole) if one is None else one.said)
        by_others = lasting - (0.0 if one is None else one.lasting)
        prior = Prior(others=said, lasting=by_others) if others or winters else Prior()
        found.append(Heard(prior, None if one is None else one.shape, others, len(winters)))
    return found
