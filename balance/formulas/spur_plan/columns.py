"""The cheapest plan for every total at once: a min-plus step for each option, over arms and totals together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import as_strided

from balance.formulas.spur_plan.choices import Choices
from balance.formulas.spur_plan.points import NEVER, Points


@dataclass(frozen=True)
class Ways:
    """The cheapest ways along every arm, by counted nodes so far (T of them, from 0).

    Attributes
    ----------
    kept : ndarray of int, shape (2, A, n + 1, T)
        Points of the cheapest way from the head to option i − 1, that one kept; row 0 is the head.  Of ``kept[0]`` the
        option before is not linked with it, of ``kept[1]`` it is (one of the two is the renewal spur that the other
        asks for).
    entered : ndarray of int, shape (2, A, n, T)
        The same before the option's own length: what the way to it costs, by links as above.
    arms : ndarray of int, shape (A, T)
        The cheapest way along all of each arm; balance between the arms is not in it.
    """

    kept: Points
    entered: Points
    arms: Points


def ways_along(choices: Choices, most: int) -> Ways:
    r"""Find the cheapest ways along each arm for every count of nodes from 0 to ``most``.

    Parameters
    ----------
    choices : Choices
    most : int
        The most counted nodes [nodes]; T is one more.

    Returns
    -------
    Ways

    Notes
    -----
    With *g* the points of a gap, *c* those of a length, *t* the nodes so far,

    .. math:: D_j(t) = \min_k \Bigl[ c_j(k) + \min_{i<j} \bigl( D_i(t-k) + g_{ij} \bigr) \Bigr]

    once over the *i* that are linked with *j* and once over the others.  An option that asks for a link and was not
    reached by one costs its penalty unless the next kept option is linked with it.  All is whole numbers, so the least
    is the least.
    """
    arms, n = choices.cane.shape
    kept = np.full((2, arms, n + 1, most + 1), NEVER, dtype=np.int64)
    entered = np.full((2, arms, n, most + 1), NEVER, dtype=np.int64)
    kept[0, :, 0, 0] = 0
    freely = kept[0].copy()  # ways as they leave an option to one that is not linked with it
    by_link = np.full_like(freely, NEVER)  # and to one that is
    into = _by_column(np.where(choices.linked, NEVER, choices.gaps))
    into_linked = _by_column(np.where(choices.linked, choices.gaps, NEVER))
    first_linked = np.any(choices.linked, axis=0).argmax(axis=0).tolist()
    is_linked = np.any(choices.linked, axis=(0, 1)).tolist()
    asking = np.any(choices.unlinked, axis=0).tolist()
    stepping = Stepping(arms, choices.lengths.shape[2], most)
    for j in range(n):
        rows, here, lengths = slice(0, j + 1), j + 1, choices.lengths[:, j, :, None]
        np.minimum.reduce(freely[:, rows] + into[j][:, rows], axis=1, out=entered[0, :, j])
        stepping.step(entered[0, :, j], lengths, out=kept[0, :, here])
        if is_linked[j]:
            rows = slice(first_linked[j], j + 1)
            np.minimum.reduce(by_link[:, rows] + into_linked[j][:, rows], axis=1, out=entered[1, :, j])
            stepping.step(entered[1, :, j], lengths, out=kept[1, :, here])
        if asking[j]:
            alone, linked = kept[:, :, here]
            np.minimum(linked, alone + choices.unlinked[:, j, None], out=freely[:, here])
            np.minimum(linked, alone, out=by_link[:, here])
        else:
            freely[:, here] = kept[0, :, here]
    return Ways(kept, entered, np.minimum.reduce(freely + into[n], axis=1))


def _by_column(gaps: Points) -> Points:
    """Give gaps (A, from, to) as (to, A, from, 1), ready to be added to ways."""
    return np.ascontiguousarray(gaps.transpose(2, 0, 1))[..., None]


class Stepping:
    """Adds 0 to K nodes to columns: ``out[t]`` is the least of ``columns[t − k] + lengths[k]``.

    Below 0 nodes there is no way, so the columns stand behind K elements of ``NEVER``, and are read shifted.
    """

    def __init__(self, arms: int, counts: int, most: int) -> None:
        padded = np.full((arms, counts - 1 + most + 1), NEVER, dtype=np.int64)
        self._columns = padded[:, counts - 1 :]
        by_arm, by_node = self._columns.strides
        self._shifted = as_strided(
            self._columns, shape=(arms, counts, most + 1), strides=(by_arm, -by_node, by_node), writeable=False
        )

    def step(self, columns: Points, lengths: Points, out: Points) -> None:
        """Take a step: columns (A, T), lengths (A, K + 1, 1), out (A, T)."""
        self._columns[:] = columns
        np.minimum.reduce(self._shifted + lengths, axis=1, out=out)


def together(columns: Points) -> Points:
    """Join arms one after the other: row i is the least of the first i + 1 arms for every total of theirs.

    Notes
    -----
    The min-plus convolution of two columns: ``out[t]`` is the least of ``a[t − k] + b[k]``.

    Examples
    --------
    >>> together(np.array([[0, 5, 9], [0, 2, 7]])).tolist()
    [[0, 5, 9], [0, 2, 7]]
    """
    joined = columns.copy()
    for row in range(1, len(columns)):
        stepping = Stepping(1, columns.shape[1], columns.shape[1] - 1)
        stepping.step(joined[row - 1 : row], columns[None, row, :, None], out=joined[row : row + 1])
    return joined
