"""Which share of a cordon bears nothing: its blank spur positions, and what is dead from its end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange


@dataclass(frozen=True, eq=False)
class BlankShares:
    """What does not bear on each cordon, as shares of it; NaN where it was not measured.

    Attributes
    ----------
    lost : ndarray of float, shape (n,)
        All that does not bear, 0 to 1; where ``measured`` is false it is NaN.
    dead : ndarray of float, shape (n,)
        Dead from its end; NaN where that was not measured.
    blank : ndarray of float, shape (n,)
        The rest of what does not bear; NaN where only the dead length was measured.
    """

    lost: NDArray[np.float64]
    dead: NDArray[np.float64]
    blank: NDArray[np.float64]

    @property
    def measured(self) -> NDArray[np.bool_]:
        return ~np.isnan(self.lost)


def blank_shares(
    living: ArrayLike, blank: ArrayLike, length: ArrayLike, blank_length: ArrayLike, dieback_length: ArrayLike
) -> BlankShares:
    r"""Give the share of each cordon that bears nothing, from what was counted or measured on it.

    Parameters
    ----------
    living, blank : array_like of float, shape (n,)
        Spur positions that live, and that are dead or gone.
    length, blank_length, dieback_length : array_like of float, shape (n,)
        The cordon, what of it has no living spur positions, and what is dead from its end [m].  In all five, NaN
        means not measured and zero is a value.

    Returns
    -------
    BlankShares

    Raises
    ------
    OutOfRange
        A number is negative or infinite.

    Notes
    -----
    By positions where both were counted and there is one at least, :math:`B/(L+B)`; else by length,
    :math:`l_B / l`.  What is dead bears nothing, so it lies within the blank share: lost is the larger of the two.
    Lengths that were noted beyond the cordon's own count as all of it.  A share of a cordon by positions stands for
    its fruiting capacity: common practice, no source.

    Examples
    --------
    >>> shares = blank_shares([6, 8, 9], [2, np.nan, 0], [2, 2, np.nan], [np.nan, 0.5, np.nan], [0.2, 0.6, np.nan])
    >>> shares.lost.tolist(), [round(each, 3) for each in shares.blank.tolist()]
    ([0.25, 0.3, 0.0], [0.15, 0.0, 0.0])
    """
    columns = [np.asarray(each, dtype=np.float64) for each in (living, blank, length, blank_length, dieback_length)]
    for name, column in zip(("living", "blank", "length", "blank length", "dieback length"), columns, strict=True):
        wrong = np.isinf(column) | (column < 0)
        if wrong.any():
            raise OutOfRange(name, float(column[wrong][0]), 0, "any finite number")
    lives, gone, whole, without, dieback = columns
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        by_positions = np.where(lives + gone > 0, gone / (lives + gone), np.nan)
        by_length = np.where(whole > 0, np.minimum(without / whole, 1.0), np.nan)
        dead = np.where(whole > 0, np.minimum(dieback / whole, 1.0), np.nan)
    bare = np.where(np.isnan(by_positions), by_length, by_positions)
    lost = np.fmax(bare, dead)
    return BlankShares(lost, dead, np.where(np.isnan(bare), np.nan, lost - np.where(np.isnan(dead), 0.0, dead)))
