"""What a vine keeps while arms of it are young: each cordon's share of the target, what is kept and what is lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from balance.formulas.cordons.candidate_advice import NODES
from balance.formulas.cordons.young_arm_load import YoungArm, carried_by
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import READ, Method

MOST_CORDONS: Final = 10
MOST_TARGET: Final = 100_000

TOO_MANY_HARM: Final = "Too few beats too many: Zabadal 2002, Michigan State Univ. E-2774 (READ)"
METHOD: Final = Method(
    code="young-arms",
    version=1,
    label="What a vine with young arms carries",
    expression="lost = sum over young arms of max(0, share − what the arm carries); kept = target − lost",
    source=NODES,
    mark=READ,
    note="Only the nodes of an arm in its first dormant season are printed. Equal shares of all cordons, the lower "
    "limit where nobody said how vigorous the vine is, and the same limit until the arm bears: common practice, no "
    "source.",
)


@dataclass(frozen=True)
class ArmLoad:
    """What one young arm carries of its share.

    Attributes
    ----------
    arm : YoungArm
    share : int
        What it would carry if it were grown [nodes].
    carries : int
        The most that it carries as it is [nodes].
    kept, lost : int
        Of the share [nodes].
    sentence : str
        Why it carries no more.
    mark : str
        How well that is known.
    """

    arm: YoungArm
    share: int
    carries: int
    kept: int
    lost: int
    sentence: str
    mark: str


@dataclass(frozen=True)
class HeldBack:
    """A target on a vine with young arms; the numbers are None where ``reason`` says why there are none.

    Attributes
    ----------
    target : int or None
        What the vine would keep with all its cordons grown [nodes].
    cordons : int or None
    kept, lost : int or None
        What it keeps with nothing pushed onto its grown cordons, and what is lost until the arms bear [nodes].
    loads : tuple of ArmLoad
    grown_share : int or None
        The most that a grown cordon keeps [nodes]; None where none is grown.
    pushed : int or None
        The most that a grown cordon would keep if the lost nodes were pushed onto them [nodes].
    reason : str or None
    by_space : bool
        Whether the shares follow the space of each cordon; else they are equal.
    """

    target: int | None
    cordons: int | None
    arms: tuple[YoungArm, ...]
    kept: int | None = None
    lost: int | None = None
    loads: tuple[ArmLoad, ...] = ()
    grown_share: int | None = None
    pushed: int | None = None
    reason: str | None = None
    by_space: bool = False


def shares_of(target: int, cordons: int, young: int) -> list[int]:
    """Give every cordon its equal share of a target; odd nodes go to grown cordons first.

    Parameters
    ----------
    target, cordons, young : int
        Nodes; cordons of the vine; how many of them are young.

    Returns
    -------
    list of int
        First the young ones, then the grown ones; their sum is the target.

    Notes
    -----
    Equal shares: common practice, no source.

    Examples
    --------
    >>> shares_of(49, 2, 1), shares_of(48, 2, 1), shares_of(11, 4, 3)
    ([24, 25], [24, 24], [3, 3, 2, 3])
    """
    each, odd = divmod(target, cordons)
    grown = cordons - young
    to_the_grown = min(odd, grown)
    more = odd - to_the_grown
    first = [each + (number < more) for number in range(young)]
    return [*first, *(each + (number < to_the_grown) for number in range(grown))]


def hold_back(target: int | None, cordons: int | None, arms: Sequence[YoungArm]) -> HeldBack | None:
    """Say what a vine keeps while arms of it are young, with nothing pushed onto its grown cordons.

    Parameters
    ----------
    target : int or None
        What it would keep with all its cordons grown [nodes], 0 to 100,000; None: no target.
    cordons : int or None
        How many it has, the young ones with them, 1 to 10; None: not known.
    arms : sequence of YoungArm
        Each of another cordon.

    Returns
    -------
    HeldBack or None
        None without a young arm: then nothing is lost.  Without a number where one would be a guess.

    Raises
    ------
    OutOfRange

    Notes
    -----
    Whole nodes throughout: kept + lost = target.  See ``METHOD``.

    Examples
    --------
    >>> held = hold_back(48, 2, [YoungArm("left", nodes_laid_down=10)])
    >>> held.kept, held.lost, held.pushed
    (34, 14, 38)
    >>> hold_back(48, None, [YoungArm("left")]).kept is None
    True
    """
    if not arms:
        return None
    if target is not None and not 0 <= target <= MOST_TARGET:
        raise OutOfRange("the target [nodes]", target, 0, MOST_TARGET)
    if cordons is not None and not 1 <= cordons <= MOST_CORDONS:
        raise OutOfRange("the number of cordons", cordons, 1, MOST_CORDONS)
    young = tuple(arms)
    reason = _no_number(target, cordons, young)
    if reason is not None or target is None:
        return HeldBack(target, cordons, young, reason=reason)
    places = 1 if not young[0].cordon else cordons or 1
    return _held(target, cordons, young, shares_of(target, places, len(young)))


def hold_back_by_space(target: int, young: Sequence[tuple[YoungArm, float]], grown: Sequence[float]) -> HeldBack | None:
    """Say the same where the space of every cordon is known: each has a share of the target by its space.

    Parameters
    ----------
    target : int
        [nodes], 0 to 100,000
    young : sequence of (YoungArm, float)
        Each with its space [m], above 0.
    grown : sequence of float
        Spaces of the grown cordons [m], above 0.

    Returns
    -------
    HeldBack or None
        None without a young arm.

    Raises
    ------
    OutOfRange

    Notes
    -----
    Whole nodes by the largest remainders, of equal ones to grown cordons first: common practice, no source.

    Examples
    --------
    >>> held = hold_back_by_space(40, [(YoungArm("left"), 0.3)], [1.2])
    >>> held.kept, held.lost, held.grown_share
    (40, 0, 32)
    """
    if not young:
        return None
    if not 0 <= target <= MOST_TARGET:
        raise OutOfRange("the target [nodes]", target, 0, MOST_TARGET)
    spaces = [*(space for _, space in young), *grown]
    exact = [round(target * space / sum(spaces), 6) for space in spaces]
    shares = [int(each) for each in exact]
    order = sorted(range(len(spaces)), key=lambda at: (round(shares[at] - exact[at], 6), at < len(young), at))
    for at in order[: target - sum(shares)]:
        shares[at] += 1
    return _held(target, len(spaces), tuple(arm for arm, _ in young), shares, by_space=True)


def _held(
    target: int, cordons: int | None, young: tuple[YoungArm, ...], shares: Sequence[int], *, by_space: bool = False
) -> HeldBack:
    loads = tuple(_load(arm, share) for arm, share in zip(young, shares, strict=False))
    lost = sum(load.lost for load in loads)
    grown = shares[len(young) :]
    left_to_the_grown = target - sum(load.kept for load in loads)
    return HeldBack(
        target=target,
        cordons=cordons,
        arms=young,
        kept=target - lost,
        lost=lost,
        loads=loads,
        grown_share=max(grown) if grown else None,
        pushed=max(*grown, -(-left_to_the_grown // len(grown))) if grown else None,
        by_space=by_space,
    )


def _load(arm: YoungArm, share: int) -> ArmLoad:
    carries, sentence, mark = carried_by(arm)
    kept = min(share, carries)
    return ArmLoad(arm, share, carries, kept, share - kept, sentence, mark)


def _no_number(target: int | None, cordons: int | None, arms: tuple[YoungArm, ...]) -> str | None:
    whole = [arm for arm in arms if not arm.cordon]
    if target is None:
        return "There is no target, so there is nothing to lose of it."
    if whole and len(arms) > 1:
        return (
            "The whole vine is being renewed and a cordon of it, too: which of them bears is not on record, so there "
            "is no number. Close the case that holds no more."
        )
    if any(arm.part for arm in arms):
        return (
            "Only a part of a cordon is renewed; how much of it still bears is not on record, so there is no number. "
            "Look at the vine."
        )
    if not whole and cordons is None:
        return (
            "How many cordons the vine has is not known, so neither is the share of a young arm. Say the block's "
            "training, inspect all the vine's cordons in one season, or send cordons with the question."
        )
    if not whole and cordons is not None and len(arms) > cordons:
        return f"{len(arms)} arms are young on a vine of {cordons}: correct the cases, or the block's training."
    return None
