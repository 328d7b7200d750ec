"""What one farm adds to the report of a program: sums and counts by block, and nothing that names anybody."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

PRUNING_WEIGHT: Final = "pruning_weight"
TARGET: Final = "target"
KEPT: Final = "kept"
ON_TARGET: Final = "on_target"
TOO_MANY: Final = "too_many"
TOO_FEW: Final = "too_few"
CROP_LOAD: Final = "crop_load"
BLANK: Final = "blank_positions"
GUESS_PERCENT: Final = "guess_percent"


@dataclass(frozen=True)
class Sum:
    """One measure summed up: its value is ``top`` over ``under``.

    Attributes
    ----------
    n : int
        How many single things were summed up.
    top, under : float
        Of a mean, the sum of the values and their number; of a share or a quotient, its two sides.
    squares : float
        Sum of the squares of single values, where a spread is asked for.
    """

    n: int = 0
    top: float = 0.0
    under: float = 0.0
    squares: float = 0.0


def sum_of(values: NDArray[np.float64]) -> Sum:
    """Sum up values of which NaN is not measured.

    Examples
    --------
    >>> sum_of(np.array([1.0, np.nan, 3.0]))
    Sum(n=2, top=4.0, under=2.0, squares=10.0)
    """
    known = values[~np.isnan(values)]
    return Sum(int(known.size), float(known.sum()), float(known.size), float((known * known).sum()))


@dataclass(frozen=True)
class BlockSums:
    """The sums of one block, with what it is grouped by; the farm's region stands here too."""

    region: str
    cultivar: str
    training: str
    vines: int
    sums: dict[str, Sum]
    shelter: str = ""


@dataclass(frozen=True, eq=False)
class CordonSums:
    """Cordons by whole years on one clock: standing, followed over a winter, and failed in one."""

    standing: NDArray[np.int64]
    exposure: NDArray[np.int64]
    failures: NDArray[np.int64]
    left_out: int = 0

    def __add__(self, other: CordonSums) -> CordonSums:
        return CordonSums(
            self.standing + other.standing,
            self.exposure + other.exposure,
            self.failures + other.failures,
            self.left_out + other.left_out,
        )


@dataclass(frozen=True, eq=False)
class FarmSums:
    """All that a farm adds.

    Attributes
    ----------
    farm : UUID
    owners : frozenset of UUID
        Who own it; they leave this process as little as the farm does.
    own : bool
        Somebody who leads the program has a role on it.
    blocks : tuple of BlockSums
    cordons : dict of str to CordonSums
        By clock; empty for a farm of more cordons than are computed at once.
    guesses : Sum
        Each guess in percent of its weight; the squares are of what it lies off a hundred.
    """

    farm: uuid.UUID
    owners: frozenset[uuid.UUID]
    own: bool
    blocks: tuple[BlockSums, ...]
    cordons: dict[str, CordonSums] = field(default_factory=dict)
    guesses: Sum = Sum()

    @property
    def vines(self) -> int:
        return sum(block.vines for block in self.blocks)
