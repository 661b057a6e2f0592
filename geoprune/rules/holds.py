"""Where a number of buds does not hold at all: blocks pruned for their frame, and vines to be renewed."""

from __future__ import annotations

from collections.abc import Sequence

from geoprune.errors import Message
from geoprune.rules.need import RENEW_BELOW_KG
from geoprune.units import KG_PER_LB, MM_PER_IN

#: From this share of a zone's vines to renew on, a number for the zone would be a number for none of them: a design
#: choice, half of them.
MOSTLY_RENEWED = 0.5
#: Thickness of a pencil, and of the thinnest wood worth keeping for fruit (Hellman, eXtension Grapes, Cane Pruning:
#: 1/4 to 1/2 in).
PENCIL_MM = 0.25 * MM_PER_IN
#: What a pencil-thick cane weighs, kg: the lightest mean of six trainings of Cabernet Sauvignon (Kliewer & Dokoozlian 2005,
#: table 3: 38 to 64 g). The "pencil" is common practice, no source.
CANE_KG = 0.038


def why_no_number(
    vine_size_kg: float,
    *,
    renew_share: float = 0.0,
    cautions: Sequence[Message] = (),
    renew_below_kg: float = RENEW_BELOW_KG,
) -> Message | None:
    """Say why a zone is given no number of buds; None where a number holds.

    Balanced pruning is for vines over three years old (Smith 2023, Ohio State University): younger blocks are pruned
    for their frame. A zone whose mean vine, or half of whose vines, lie below the size at which a vine is renewed is
    rebuilt without a crop (a design choice: no published rule settles small vines).

    Parameters
    ----------
    vine_size_kg : float
        Mean vine of the zone, kg.
    renew_share : float
        Share of its vines expected below `renew_below_kg`.
    cautions : sequence of Message
        Those of the block's rule (`Rule.cautions`), which recognise a young block.

    Returns
    -------
    Message or None
    """
    young = next((caution for caution in cautions if caution.key == "rules.young_vines"), None)
    if young is not None:
        return Message("rules.no_number_young", young.fields)
    if vine_size_kg < renew_below_kg or renew_share >= MOSTLY_RENEWED:
        limit = {"pounds": renew_below_kg / KG_PER_LB, "kilograms": renew_below_kg}
        return Message("rules.no_number_small", limit)
    return None


def fewest_canes(renew_below_kg: float = RENEW_BELOW_KG) -> int:
    """Return the number of pencil-thick canes below which the eye takes a vine for one to renew, before it is cut.

    As many as weigh the limit: 0.25 lb at 38 g a cane are 3. A rule of ours, from a published cane weight.
    """
    return max(1, round(renew_below_kg / CANE_KG))


def renew_sign(renew_below_kg: float = RENEW_BELOW_KG) -> Message:
    """How the eye knows a vine to renew before it is cut: too few canes of pencil thickness."""
    return Message("apart.renew_sign", {"canes": fewest_canes(renew_below_kg)})


def renew_messages(renew_below_kg: float = RENEW_BELOW_KG, *, among_others: bool = True) -> tuple[Message, ...]:
    """How a vine to renew is known before cutting and what is done with it in winter, then what is done in summer.

    `among_others` : whether such vines stand among vines pruned to a number; where all are renewed, no sign tells them
    apart and there is no number to leave off.
    """
    winter, summer = Message("apart.renew_how"), Message("apart.renew_summer")
    if not among_others:
        return (winter, summer)
    return (renew_sign(renew_below_kg), winter, Message("apart.renew_not_number"), summer)


def frame_steps() -> tuple[Message, ...]:
    """What is done at a young vine: pruned for its frame, no count, no crop; last what is done in summer."""
    return (Message("rules.frame_how"), Message("rules.frame_no_crop"), Message("rules.frame_summer"))
