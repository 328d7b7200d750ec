"""What can be had by adding and subtracting sums that were told: linear algebra over who stands in which sum."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from balance.formulas.errors import OutOfRange

Numbers = NDArray[np.float64]
#: Below this a number is zero: sums are of zeros and ones, and bases orthonormal.
ZERO: Final = 1e-8
MOST_STEPS: Final = 20_000


class NotProven(ArithmeticError):
    """The search was given up before it could say that there is nothing to find."""


def basis(rows: Numbers) -> Numbers:
    """Give an orthonormal basis of all that can be had from rows by adding and subtracting, as rows.

    Examples
    --------
    >>> basis(np.array([[1.0, 1.0], [2.0, 2.0]])).round(4).__abs__().tolist()
    [[0.7071, 0.7071]]
    """
    if 0 in rows.shape:
        return np.zeros((0, rows.shape[1]))
    _, sizes, turned = np.linalg.svd(rows, full_matrices=False)
    return np.asarray(turned[sizes > ZERO * max(1.0, float(sizes[0]))], float)


def can_be_had(vector: Numbers, rows: Numbers) -> bool:
    """Say whether a sum follows from the rows.

    Examples
    --------
    >>> told = np.array([[1.0, 1.0, 1.0], [1.0, 1.0, 0.0]])
    >>> can_be_had(np.array([0.0, 0.0, 1.0]), told), can_be_had(np.array([1.0, 0.0, 0.0]), told)
    (True, False)
    """
    base = basis(rows)
    return bool(np.linalg.norm(vector - base.T @ (base @ vector)) <= ZERO * max(1.0, float(np.linalg.norm(vector))))


@dataclass(frozen=True, eq=False)
class Difference:
    """A sum that rests on few farms: who they are, and the sum as a weight on each column of the rows."""

    farms: frozenset[str]
    vector: Numbers


def fewest_behind(rows: Numbers, behind: Sequence[frozenset[str]], at_most: int) -> Difference | None:
    r"""Find a sum or difference of the rows, other than nothing, that rests on no more than a number of farms.

    Parameters
    ----------
    rows : ndarray of float, shape (sums, groups)
        What each sum that was told holds of each group.  A group is everything that lies in the same sums.
    behind : sequence of frozenset of str, length groups
        The farms of each group.
    at_most : int
        Farms, 0 or more.

    Returns
    -------
    Difference or None
        One of them; None if there is none, with arbitrary real multiples of the rows.

    Raises
    ------
    NotProven
        After ``MOST_STEPS`` steps.

    Notes
    -----
    Each group in turn is either left out (the space loses a dimension) or kept (its farms are spent).  A branch ends
    when too many farms are spent, when nothing is left of the space, or when the diagonal of the projection onto it
    adds up to less than 1 over the farms that may still be kept: a vector of length 1 on these groups cannot lie in it.
    So the search is exact, and takes at most ``C(rank + farms, farms)`` branches.

    References
    ----------
    Ours; that the smallest set behind a difference is the smallest support in a row space: linear algebra.

    Examples
    --------
    >>> told = np.array([[1.0, 1.0, 1.0], [1.0, 1.0, 0.0]])
    >>> sorted(fewest_behind(told, [frozenset("abc"), frozenset("def"), frozenset("g")], 2).farms)
    ['g']
    >>> fewest_behind(told[:1], [frozenset("abc"), frozenset("def"), frozenset("g")], 2) is None
    True
    """
    if at_most < 0 or len(behind) != rows.shape[1]:
        raise OutOfRange("groups of farms", len(behind), rows.shape[1], rows.shape[1])
    large = np.array([len(farms) > at_most for farms in behind], bool)
    return _Search(behind, at_most).look(_without_all(basis(rows), large), frozenset(), frozenset())


def _without_all(space: Numbers, groups: NDArray[np.bool_]) -> Numbers:
    """Keep of a space what holds nothing of any of the groups."""
    if not len(space) or not groups.any():
        return space
    held = space[:, groups]
    turned, sizes, _ = np.linalg.svd(held, full_matrices=held.shape[1] < held.shape[0])
    return np.asarray(turned[:, int((sizes > ZERO).sum()) :].T @ space, float)


def _without(space: Numbers, group: int) -> Numbers:
    """Keep of a space what holds nothing of a group."""
    column = space[:, group]
    size = float(np.linalg.norm(column))
    if size <= ZERO:
        return space
    mirror = column / size
    pivot = int(np.argmax(np.abs(mirror)))
    mirror = mirror.copy()
    mirror[pivot] += np.sign(mirror[pivot])
    mirror /= np.linalg.norm(mirror)
    turned = space - 2 * np.outer(mirror, mirror @ space)
    return np.delete(turned, pivot, axis=0)


@dataclass
class _Search:
    behind: Sequence[frozenset[str]]
    at_most: int
    steps: int = 0
    farms: list[str] = field(init=False)
    shares: Numbers = field(init=False)
    nobodys: NDArray[np.bool_] = field(init=False)

    def __post_init__(self) -> None:
        self.farms = sorted(frozenset[str]().union(*self.behind))
        places = {farm: place for place, farm in enumerate(self.farms)}
        self.shares = np.zeros((len(self.farms), len(self.behind)))
        for group, farms in enumerate(self.behind):
            for farm in farms:
                self.shares[places[farm], group] = 1 / len(farms)
        self.nobodys = np.array([not farms for farms in self.behind], bool)

    def look(self, space: Numbers, kept: frozenset[int], spent: frozenset[str]) -> Difference | None:
        while len(space):
            self.steps += 1
            if self.steps > MOST_STEPS:
                raise NotProven(f"no end after {MOST_STEPS} steps")
            diagonal = (space**2).sum(axis=0)
            if not self._within_reach(diagonal, spent):
                return None
            undecided = diagonal.copy()
            undecided[list(kept)] = 0
            group = int(np.argmax(np.round(undecided, 9)))
            if undecided[group] <= ZERO**2:
                return Difference(spent, space[0])
            farms = spent | self.behind[group]
            if len(farms) <= self.at_most and (found := self.look(space, kept | {group}, farms)):
                return found
            space = _without(space, group)
        return None

    def _within_reach(self, diagonal: Numbers, spent: frozenset[str]) -> bool:
        each = self.shares @ diagonal
        mine = np.array([farm in spent for farm in self.farms], bool)
        others = np.sort(each[~mine])[::-1][: self.at_most - len(spent)]
        reach = each[mine].sum() + others.sum() + diagonal[self.nobodys].sum()
        return bool(reach >= 1 - ZERO)
