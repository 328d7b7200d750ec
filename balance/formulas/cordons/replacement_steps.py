"""The steps by which a cordon is replaced, in the trade's words, and which may follow which."""

from __future__ import annotations

from typing import Final

NOTICED: Final = "noticed"
CANDIDATE_CHOSEN: Final = "candidate_chosen"
LAID_DOWN: Final = "laid_down"
FILLING: Final = "filling"
BEARING: Final = "bearing"
FAILED: Final = "failed"
GIVEN_UP: Final = "given_up"

STEPS: Final = (NOTICED, CANDIDATE_CHOSEN, LAID_DOWN, FILLING, BEARING, FAILED, GIVEN_UP)
#: What may follow each step. Steps back are part of the work: an arm dies, a shoot is chosen anew, a case is taken up
#: again. What cannot be: filling or bearing of what was never laid down.
FOLLOWING: Final[dict[str, tuple[str, ...]]] = {
    NOTICED: (CANDIDATE_CHOSEN, LAID_DOWN, GIVEN_UP),
    CANDIDATE_CHOSEN: (NOTICED, LAID_DOWN, FAILED, GIVEN_UP),
    LAID_DOWN: (CANDIDATE_CHOSEN, FILLING, BEARING, FAILED, GIVEN_UP),
    FILLING: (LAID_DOWN, BEARING, FAILED, GIVEN_UP),
    BEARING: (FILLING, FAILED),
    FAILED: (NOTICED, CANDIDATE_CHOSEN, LAID_DOWN, GIVEN_UP),
    GIVEN_UP: (NOTICED, CANDIDATE_CHOSEN),
}
#: A case at one of these asks for no more work.
CLOSED: Final = (BEARING, GIVEN_UP)
OPEN: Final = tuple(step for step in STEPS if step not in CLOSED)
#: At these an arm stands that carries less than a grown one.
YOUNG_ARM: Final = (LAID_DOWN, FILLING)


def may_follow(step: str, after: str) -> bool:
    """Tell whether a step may follow another.

    Parameters
    ----------
    step, after : str
        Names of ``STEPS``.

    Returns
    -------
    bool

    Raises
    ------
    KeyError
        ``after`` is no step.

    Notes
    -----
    The order is the trade's (Oregon State, "How to renew a grapevine cordon", READ; Univ. California, trunk-disease
    pages, READ); the table itself is ours: common practice, no source.

    Examples
    --------
    >>> may_follow("laid_down", "candidate_chosen"), may_follow("bearing", "noticed")
    (True, False)
    """
    return step in FOLLOWING[after]
