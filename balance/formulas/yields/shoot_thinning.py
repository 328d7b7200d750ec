"""Clusters to keep on each shoot: by its length, as rules for table grapes print it, or dealt out evenly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange

#: A shoot of 20 m is none [m]; bound of this service.
LONGEST_M = 20.0
#: A nanometre means nothing; rounding to it first makes inches and centimetres agree at a step.
_DECIMALS = 9


@dataclass(frozen=True)
class ShootRule:
    """How many clusters a shoot keeps.

    Attributes
    ----------
    none_up_to_m, one_up_to_m : float or None
        Up to these lengths none and one [m]; None where the source has no such step.
    longer : int
        Clusters of a longer shoot.
    none_at_step : bool
        Whether a shoot of exactly ``none_up_to_m`` keeps none: printed rules differ. At ``one_up_to_m`` it keeps one.
    """

    none_up_to_m: float | None
    one_up_to_m: float | None
    longer: int
    none_at_step: bool = True


def clusters_by_shoot_length(lengths_m: ArrayLike, rule: ShootRule) -> NDArray[np.int64]:
    """Compute the clusters to keep on each shoot.

    Parameters
    ----------
    lengths_m : array_like of float, shape (n,)
        Lengths of the shoots [m], 0 to 20.
    rule : ShootRule
        Named by whoever asks: printed rules differ in their upper step (15 and 20 in), so none is a default.

    Returns
    -------
    ndarray of int, shape (n,)
        Clusters to keep.

    Raises
    ------
    OutOfRange
        A length is negative, above 20 m, or no number.

    References
    ----------
    .. [1] A grower's rule of thumb, with an Ohio State bulletin: up to 8 in none, to 15 in one, longer two (READ*).
    .. [2] High tunnels, NCAT and Univ. of Arkansas: under 8 in none, 8 to 20 in one, longer two (READ).

    Examples
    --------
    >>> rule = ShootRule(8 * 0.0254, 15 * 0.0254, 2)
    >>> clusters_by_shoot_length([6 * 0.0254, 12 * 0.0254, 24 * 0.0254], rule).tolist()
    [0, 1, 2]
    """
    lengths = np.asarray(lengths_m, dtype=np.float64)
    wrong = lengths[~((lengths >= 0) & (lengths <= LONGEST_M))]
    if wrong.size:
        raise OutOfRange("the length of a shoot [m]", float(wrong[0]), 0, LONGEST_M)
    rounded = np.round(lengths, _DECIMALS)
    kept = np.full(lengths.shape, rule.longer, dtype=np.int64)
    if rule.one_up_to_m is not None:
        kept[rounded <= round(rule.one_up_to_m, _DECIMALS)] = 1
    if rule.none_up_to_m is not None:
        step = round(rule.none_up_to_m, _DECIMALS)
        kept[(rounded <= step) if rule.none_at_step else (rounded < step)] = 0
    return kept


@dataclass(frozen=True)
class ShootShare:
    """Clusters of a vine dealt out to its shoots as evenly as whole clusters go.

    Attributes
    ----------
    mean : float
        Clusters per shoot.
    fewer, shoots_with_fewer : int
        So many clusters are left on so many shoots,
    more, shoots_with_more : int
        and one more on the rest.
    """

    mean: float
    fewer: int
    shoots_with_fewer: int
    more: int
    shoots_with_more: int


def per_shoot(leave: int, shoots: int) -> ShootShare:
    """Deal the clusters of a vine out to its shoots.

    Parameters
    ----------
    leave : int
        Clusters to leave on the vine, 0 or more.
    shoots : int
        Shoots of the vine, 1 or more.

    Returns
    -------
    ShootShare

    Raises
    ------
    OutOfRange

    Notes
    -----
    Short shoots take the fewer (Purdue Univ.: none on short shoots, READ); which are short, the rules by shoot length
    say.

    Examples
    --------
    >>> share = per_shoot(45, 40)
    >>> share.mean, (share.shoots_with_fewer, share.fewer), (share.shoots_with_more, share.more)
    (1.125, (35, 1), (5, 2))
    """
    if shoots < 1:
        raise OutOfRange("the number of shoots", shoots, 1, "any number")
    if leave < 0:
        raise OutOfRange("the number of clusters", leave, 0, "any number")
    fewer, over = divmod(leave, shoots)
    return ShootShare(leave / shoots, fewer, shoots - over, fewer + 1, over)
