"""How many cordons a vine has, as far as what is on record says it; a number that would be a guess is none."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

_SIDES: Final = ("left", "right")
#: The cordons of a whole frame, by the names that inspections give them.
FRAMES: Final = tuple(
    frozenset(f"{level}{side}" for level in levels for side in _SIDES)
    for levels in (("",), ("upper_", "lower_"), ("front_", "back_"))
)
#: Forms of training whose name says the number.
CORDONS_BY_NAME: Final = {"unilateral_cordon": 1, "bilateral_cordon": 2, "quadrilateral_cordon": 4}
INSPECTIONS: Final = "inspections"
TRAINING: Final = "training"
REQUEST: Final = "request"


def cordons_of(seen: Iterable[str], training: str) -> tuple[int | None, str | None]:
    """Give how many cordons a vine has, and what says so.

    Parameters
    ----------
    seen : iterable of str
        The cordons that were looked at in one season, and those that are being renewed.
    training : str
        The block's form of training.

    Returns
    -------
    count : int or None
        1 to 4; None: not known.
    known_from : str or None
        ``inspections`` or ``training``.

    Notes
    -----
    Often only the cordon that fails is looked at, so what was seen counts only where it makes up a whole frame: left
    and right; upper and lower of both; front and back of both.  Common practice, no source.

    Examples
    --------
    >>> cordons_of({"left", "right"}, "not_stated"), cordons_of({"left"}, "not_stated"), cordons_of({"left"}, \
"bilateral_cordon")
    ((2, 'inspections'), (None, None), (2, 'training'))
    """
    arms = frozenset(seen) - {"head", ""}
    if arms in FRAMES:
        return len(arms), INSPECTIONS
    count = CORDONS_BY_NAME.get(training)
    return (count, TRAINING) if count is not None else (None, None)
