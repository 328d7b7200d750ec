"""Which vines to weigh: a draw that anybody can repeat from its seed, on any machine.

Chance is a hash of the seed (SHA-256, FIPS 180-4), not a random generator: the streams of numpy's distributions may
change from one version to the next (NEP 19 promises only the raw bits), a hash is the same in every language, and a
vine that goes missing moves no other vine's number.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange
from balance.formulas.methods import MEMORY, Method
from balance.formulas.samples.row_groups import allocate

LARGEST_SEED: Final = 999_999_999
MOST_VINES: Final = 1_000_000
#: The first eight bytes of a digest are a whole number below this.
_CHANCES: Final = 2**64

SYSTEMATIC: Final = Method(
    code="systematic",
    version=1,
    label="Every k-th vine along the walking order, from a random start",
    expression="position i is floor((u + i) × N ÷ n), i = 0 … n − 1; u = SHA-256(seed:start) ÷ 2^64",
    source="Cochran 1977, Sampling Techniques, 3rd ed., chapter 8, with a fractional interval",
    mark=MEMORY,
    note="On the open file coombe2019 about as good as random vines or slightly better (computed: the benchmark figure "
    "sampling_draws). A pattern along the row of just this interval, such as posts, would bias it.",
)
STRATIFIED: Final = Method(
    code="stratified",
    version=1,
    label="From each group of neighbouring rows its share, at random within the group",
    expression="in each group the vines with the smallest SHA-256(seed:vine id); shares by odd divisors (Sainte-Laguë)",
    source="Cochran 1977, Sampling Techniques, 3rd ed., chapter 5, proportional allocation",
    mark=MEMORY,
    note="With the same seed and the same number of row groups a larger sample holds the smaller one, so vines can be "
    "added after weighing.",
)


def chance_of(seed: int, name: bytes) -> int:
    """Give the chance number of one name under a seed.

    Parameters
    ----------
    seed : int
        0 to 999,999,999.
    name : bytes
        The 16 bytes of a vine's id, or ``b"start"``.

    Returns
    -------
    int
        0 to 2^64 − 1: the first eight bytes, most significant first, of SHA-256 over the seed in decimal digits, a
        colon and the name.

    Examples
    --------
    >>> chance_of(7, b"start")
    15042997046161351732
    """
    if not 0 <= seed <= LARGEST_SEED:
        raise OutOfRange("the seed", seed, 0, LARGEST_SEED)
    return int.from_bytes(hashlib.sha256(b"%d:%s" % (seed, name)).digest()[:8], "big")


def systematic(count: int, wanted: int, seed: int) -> NDArray[np.intp]:
    r"""Draw every k-th of the vines in walking order, from a random start.

    Parameters
    ----------
    count : int
        Vines that stand, up to a million [vines].
    wanted : int
        Vines to draw, 0 to ``count`` [vines].
    seed : int
        0 to 999,999,999.

    Returns
    -------
    ndarray of int, shape (wanted,)
        Positions in the walking order, ascending, each once.

    Raises
    ------
    OutOfRange
        More vines are wanted than stand.

    Notes
    -----
    .. math:: p_i = \lfloor (u + i)\,N/n \rfloor, \qquad 0 \le u < 1

    The interval N/n is a fraction, so that exactly *n* vines are drawn and each has the same chance; the sum is done
    in whole numbers, so no machine rounds it in another way.

    References
    ----------
    Cochran 1977, Sampling Techniques, 3rd ed., chapter 8 (from memory).

    Examples
    --------
    >>> systematic(20, 6, 7).tolist(), systematic(3, 3, 7).tolist()
    ([2, 6, 9, 12, 16, 19], [0, 1, 2])
    """
    _refuse_impossible(count, wanted)
    start = chance_of(seed, b"start")
    positions = [(start + drawn * _CHANCES) * count // (wanted * _CHANCES) for drawn in range(wanted)]
    return np.array(positions, dtype=np.intp)


def stratified(names: Sequence[bytes], groups: ArrayLike, wanted: int, seed: int) -> NDArray[np.intp]:
    """Draw from each group its share of vines, at random within the group.

    Parameters
    ----------
    names : sequence of bytes, length n
        Ids of the vines that stand.
    groups : array_like of int, shape (n,)
        The group of each, from 0.
    wanted : int
        Vines to draw, 0 to n [vines].
    seed : int
        0 to 999,999,999.

    Returns
    -------
    ndarray of int, shape (wanted,)
        Positions, ascending, each once.

    Raises
    ------
    OutOfRange
        More vines are wanted than stand.

    Notes
    -----
    Each vine's number rests on the seed and its own id alone. So the order of the vines changes nothing, a vine that
    is gone is replaced by one other, and a larger sample of the same groups holds the smaller one.

    References
    ----------
    Cochran 1977, Sampling Techniques, 3rd ed., chapter 5 (from memory).

    Examples
    --------
    >>> vines = [b"a", b"b", b"c", b"d"]
    >>> stratified(vines, [0, 0, 1, 1], 2, 7).tolist()
    [0, 2]
    """
    _refuse_impossible(len(names), wanted)
    group = np.asarray(groups, dtype=np.intp)
    chances = np.array([chance_of(seed, name) for name in names], dtype=np.uint64)
    sizes = np.bincount(group) if group.size else np.zeros(0, dtype=np.intp)
    shares = allocate(sizes, wanted)
    order = np.lexsort((chances, group))
    rank = np.arange(group.size) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    drawn: NDArray[np.intp] = np.sort(order[rank < np.repeat(shares, sizes)])
    return drawn


def walk_order(row_numbers: ArrayLike, places: ArrayLike, *, serpentine: bool = False) -> NDArray[np.intp]:
    """Give the order in which to walk to vines: row by row, up every row or up one and down the next.

    Parameters
    ----------
    row_numbers, places : array_like of int, shape (n,)
        Where each vine stands.
    serpentine : bool
        Walk every second of the rows that hold one of these vines from its end to its beginning.

    Returns
    -------
    ndarray of int, shape (n,)
        Positions of the vines as they are walked to.

    Examples
    --------
    >>> walk_order([1, 1, 4, 4], [2, 9, 3, 5], serpentine=True).tolist()
    [0, 1, 3, 2]
    """
    rows, steps = np.asarray(row_numbers, dtype=np.int64), np.asarray(places, dtype=np.int64)
    backwards = (np.unique(rows, return_inverse=True)[1] % 2 == 1) & serpentine
    order: NDArray[np.intp] = np.lexsort((np.where(backwards, -steps, steps), rows))
    return order


def interval_of(count: int, wanted: int) -> float | None:
    """Give k of "every k-th vine"; None where none is drawn.

    Examples
    --------
    >>> interval_of(352, 44), interval_of(5, 0)
    (8.0, None)
    """
    return count / wanted if wanted else None


def _refuse_impossible(count: int, wanted: int) -> None:
    if not 0 <= count <= MOST_VINES:
        raise OutOfRange("the number of vines that stand", count, 0, MOST_VINES)
    if not 0 <= wanted <= count:
        raise OutOfRange("the number of vines to draw", wanted, 0, count)
