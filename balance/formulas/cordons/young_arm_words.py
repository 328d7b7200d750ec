"""What young arms mean for a target and for the count that was left, in words and sums that can be checked by hand."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from balance.formulas.cordons.young_arm_load import YoungArm
from balance.formulas.cordons.young_arms import TOO_MANY_HARM, ArmLoad, HeldBack
from balance.formulas.counting import counted
from balance.formulas.methods import Working
from balance.formulas.targets.explained_counts import Explained
from balance.formulas.targets.retained_counts import TOO_FEW, WITHIN, judge_count

NODE: Final = "{node}"


def named(arms: tuple[YoungArm, ...]) -> str:
    """Name young arms.

    Examples
    --------
    >>> named((YoungArm("left"),)), named((YoungArm("upper_left"), YoungArm("upper_right")))
    ('left arm', 'upper left arm and upper right arm')
    """
    return " and ".join(arm.name for arm in arms)


def summary(held: HeldBack) -> str:
    """Say in a sentence or two what is kept, what is lost, and that nothing is pushed onto the rest.

    Parameters
    ----------
    held : HeldBack

    Returns
    -------
    str

    Examples
    --------
    >>> from balance.formulas.cordons.young_arms import hold_back
    >>> print(summary(hold_back(48, 2, [YoungArm("left", nodes_laid_down=10)])))
    Young: left arm. The vine keeps 34 of the target's 48 nodes; 14 are lost until the arm bears, and not pushed \
onto the rest of the vine.
    """
    told = f"Young: {named(held.arms)}."
    if held.kept is None:
        return f"{told} What it cannot carry is not known. {held.reason}"
    if not held.lost:
        return f"{told} It carries its share, so nothing of the target of {held.target} is lost."
    until = "the arm bears" if len(held.arms) == 1 else "the arms bear"
    return (
        f"{told} The vine keeps {held.kept} of the target's {counted(str(held.target), 'node')}; "
        f"{counted(held.lost, 'is', 'are')} lost until {until}, and not pushed onto the rest of the vine."
    )


def warning(held: HeldBack) -> str | None:
    """Say what the grown cordons would carry if the lost nodes were pushed onto them; None where that cannot be.

    Parameters
    ----------
    held : HeldBack

    Returns
    -------
    str or None
    """
    if not held.lost or held.pushed is None:
        return None
    return (
        f"Pushed onto the grown cordons, each would carry up to {counted(held.pushed, 'node')} instead of "
        f"{held.grown_share}: more shoots on it, and more crop, than the weight of the prunings answers for. "
        f"{TOO_MANY_HARM}."
    )


def workings(held: HeldBack) -> list[Working]:
    """Give the steps from the target to what is kept and lost.

    Parameters
    ----------
    held : HeldBack

    Returns
    -------
    list of Working
        Empty where there is no number.
    """
    return list(_steps(held))


def _steps(held: HeldBack) -> Iterator[Working]:
    if held.kept is None or held.target is None or held.lost is None:
        return
    yield _shares(held)
    for load in held.loads:
        yield _step_of(load)
    lost = " + ".join(str(load.lost) for load in held.loads)
    yield Working(
        "lost", f"Lost until young arms bear: {counted(held.lost, 'node')}.", f"{lost} = {held.lost}", held.lost, NODE
    )  # fmt: skip
    sentence = f"Kept with nothing pushed onto the rest of the vine: {counted(held.kept, 'node')}."
    yield Working("kept", sentence, f"{held.target} − {held.lost} = {held.kept}", held.kept, NODE)


def _shares(held: HeldBack) -> Working:
    if not held.arms[0].cordon:
        sentence = "The whole vine is renewed from the trunk: its one young arm stands for all of the target."
        return Working("share", sentence, f"{held.target}", held.target, NODE)
    if held.by_space:
        shares = " + ".join(str(load.share) for load in held.loads)
        sentence = (
            "Each cordon has a share of the target by its space, odd nodes to grown cordons first (common practice, no "
            "source)."
        )
        return Working("share", sentence, f"{held.target} by space → {shares} for young arms", None, NODE)
    sentence = (
        f"Each of {counted(str(held.cordons), 'cordon')} has an equal share of the target, odd nodes to grown cordons "
        "first (common practice, no source)."
    )
    share = held.loads[0].share
    return Working("share", sentence, f"{held.target} ÷ {held.cordons} → {share} for a young arm", share, NODE)


def _step_of(load: ArmLoad) -> Working:
    name = load.arm.name
    sentence = f"{name[0].upper()}{name[1:]}: {load.sentence} Of its {load.share} it keeps {load.kept}."
    return Working(
        load.arm.cordon or "vine", sentence, f"{load.share} − {load.kept} = {load.lost} lost", load.lost, NODE
    )


def explain_count(retained: int, held: HeldBack, tolerance: int) -> Explained:
    """Say what young arms explain of the count that was left.

    Parameters
    ----------
    retained : int
        Count nodes left [nodes].
    held : HeldBack
    tolerance : int
        As for the target itself [nodes].

    Returns
    -------
    Explained
        Without an outcome where what the arms carry is not known.

    Examples
    --------
    >>> from balance.formulas.cordons.young_arms import hold_back
    >>> held = hold_back(48, 2, [YoungArm("left", nodes_laid_down=10)])
    >>> print(explain_count(33, held, 3).sentence)
    With the young left arm the vine keeps 34 ± 3, and 33 are within that: the arm explains what the target misses.
    """
    if held.kept is None or held.lost is None:
        sentence = (
            f"Young: {named(held.arms)}. It carries less than its share, so a count below the target may be its doing; "
            f"how much of it is not known. {held.reason}"
        )
        return Explained(None, None, None, sentence)
    against = judge_count(retained, held.kept, tolerance=tolerance)
    verb = "explains" if len(held.arms) == 1 else "explain"
    arms = "the arm" if len(held.arms) == 1 else "the arms"
    told = f"With the young {named(held.arms)} the vine keeps {held.kept} ± {tolerance}"
    if not held.lost:
        sentence = f"The young {named(held.arms)} can carry its share: nothing of the target is lost to it."
    elif against.outcome == WITHIN:
        sentence = f"{told}, and {retained} are within that: {arms} {verb} what the target misses."
    elif against.outcome == TOO_FEW:
        sentence = f"{told}: {arms} {verb} {held.lost} of what the target misses, not the other {-against.difference}."
    else:
        sentence = (
            f"{told}; {against.difference} more were left on {arms} or pushed onto the rest of the vine. "
            f"{TOO_MANY_HARM}."
        )
    return Explained(held.kept, against.outcome, against.difference, sentence)
