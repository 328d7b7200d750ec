"""The steps of many cases as columns, and what was last said of the candidate at each of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Where nothing was said.
NOT_SAID = -1


@dataclass(frozen=True, eq=False)
class StepHistory:
    """The steps of many cases, case after case and each in the order of its steps.

    Attributes
    ----------
    case : ndarray of int, shape (n,)
        Which case each step is of; the steps of one case stand together.
    step : ndarray of int, shape (n,)
        Places in ``replacement_steps.STEPS``.
    day : ndarray of int, shape (n,)
        Days since any one day, never running back within a case [d].
    """

    case: NDArray[np.int64]
    step: NDArray[np.int64]
    day: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.case)

    @property
    def first(self) -> NDArray[np.bool_]:
        """Which steps are the first of their case, shape (n,)."""
        return np.concatenate([np.ones(min(1, len(self)), dtype=np.bool_), self.case[1:] != self.case[:-1]])

    @property
    def last(self) -> NDArray[np.bool_]:
        """Which steps are the newest of their case, shape (n,)."""
        return np.concatenate([self.case[1:] != self.case[:-1], np.ones(min(1, len(self)), dtype=np.bool_)])


def carried(history: StepHistory, said: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give what holds at each step: what was said at it, else at the newest one before it in the same case.

    Parameters
    ----------
    history : StepHistory
    said : ndarray of int, shape (n,)
        A code; ``NOT_SAID`` where nothing was said at a step.

    Returns
    -------
    ndarray of int, shape (n,)
        ``NOT_SAID`` until something is said.

    Examples
    --------
    >>> steps = StepHistory(np.array([7, 7, 7, 9]), np.array([0, 1, 2, 0]), np.array([0, 5, 9, 3]))
    >>> carried(steps, np.array([-1, 4, -1, -1])).tolist()
    [-1, 4, 4, -1]
    """
    at = np.where((said != NOT_SAID) | history.first, np.arange(len(history)), 0)
    held: NDArray[np.int64] = said[np.maximum.accumulate(at)] if len(history) else said
    return held
