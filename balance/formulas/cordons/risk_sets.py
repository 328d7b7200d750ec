"""Who is at risk when: counted for many groups at once, without a look at each one alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange

#: A grid of groups by whole times is counted outright up to this size, or four times the number of rows.
_SMALL_GRID: Final = 1 << 16
#: Beyond this a number of double precision tells no whole numbers apart.
_WHOLE: Final = 2.0**52
#: Rows that are counted in one go; what lies between is kept in the processor's cache.
_CACHED: Final = 1 << 16


@dataclass(frozen=True, eq=False)
class RiskSets:
    """One row a group and time at which somebody left, in this order.

    Attributes
    ----------
    groups : NDArray[np.intp]
    times : NDArray[np.float64]
    at_risk : NDArray[np.int64]
        Those who entered before the time and have not left before it.
    events, censored : NDArray[np.int64]
        Those who left at the time, by the event and otherwise.
    begins : NDArray[np.intp]
        Where each group's rows begin, and at last how many rows there are; one more than groups.
    """

    groups: NDArray[np.intp]
    times: NDArray[np.float64]
    at_risk: NDArray[np.int64]
    events: NDArray[np.int64]
    censored: NDArray[np.int64]
    begins: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.times)


@dataclass(frozen=True, eq=False)
class _Checked:
    """Input that holds, with as many groups as ``count`` says."""

    durations: NDArray[Any]
    events: NDArray[np.bool_]
    entry: NDArray[Any] | None
    groups: NDArray[np.intp]
    count: int


def risk_sets(
    durations: ArrayLike,
    events: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    groups: ArrayLike | None = None,
    count: int | None = None,
) -> RiskSets:
    """Count who is at risk, who leaves by the event, and who is censored, at each time of each group.

    Parameters
    ----------
    durations, events, entry, groups, count
        As ``balance.formulas.cordons.survival.kaplan_meier`` takes them.

    Returns
    -------
    RiskSets

    Raises
    ------
    OutOfRange
        A time is not finite, one enters when or after it leaves, or a group lies outside.
    ValueError
        Lengths differ.

    Notes
    -----
    Those who leave at t are at risk at t; those who enter at t are not, but from then on (the usual half-open
    interval).  Where times are whole numbers, rows are counted on a grid of groups by times, else they are sorted once.

    Examples
    --------
    >>> sets = risk_sets([3, 5, 5], [1, 1, 0], entry=[0, 0, 3])
    >>> sets.times.tolist(), sets.at_risk.tolist(), sets.events.tolist(), sets.censored.tolist()
    ([3.0, 5.0], [2, 2], [1, 1], [0, 1])
    """
    told = _checked(durations, events, entry, groups, count)
    if not len(told.durations):
        none, whole = np.zeros(0), np.zeros(0, dtype=np.int64)
        return RiskSets(whole, none, whole, whole, whole, np.zeros(told.count + 1, dtype=np.intp))
    return _on_a_grid(told) or _sorted(told)


def _checked(
    durations: ArrayLike, events: ArrayLike, entry: ArrayLike | None, groups: ArrayLike | None, count: int | None
) -> _Checked:
    left, ended = np.atleast_1d(durations), np.atleast_1d(events).astype(np.bool_, copy=False)
    left = left if left.dtype == np.int64 else left.astype(np.float64, copy=False)
    entered = None if entry is None else np.atleast_1d(entry).astype(left.dtype, copy=False)
    own = np.zeros(len(left), dtype=np.intp) if groups is None else np.atleast_1d(groups).astype(np.intp, copy=False)
    if {each.shape for each in (left, ended, own, left if entered is None else entered)} != {(len(left),)}:
        raise ValueError("durations, events, entry and groups are one list each, of one length")
    if count is None:
        count = int(own.max()) + 1 if len(own) else 1
    if len(own) and not (own.min() >= 0 and own.max() < count):
        raise OutOfRange("group", own.min() if own.min() < 0 else own.max(), 0, count - 1)
    for name, times in (("duration", left), ("entry", entered)):
        _finite(name, times)
    if entered is not None and (late := entered >= left).any():
        at = int(np.argmax(late))
        raise OutOfRange("entry", entered[at], "-infinity", f"before its duration {left[at]}")
    return _Checked(left, ended, entered, own, count)


def _finite(name: str, times: NDArray[Any] | None) -> None:
    if times is None or not len(times):
        return
    for extreme in (times.min(), times.max()):  # NaN comes through both
        if not np.isfinite(extreme):
            raise OutOfRange(name, extreme, "-infinity", "infinity")


def _on_a_grid(told: _Checked) -> RiskSets | None:
    """Count on a grid of groups by whole times; None where times are not whole, or the grid were too large."""
    first = told.durations.min() if told.entry is None else min(told.durations.min(), told.entry.min())
    span = float(told.durations.max()) - float(first) + 1
    if told.count * span > max(4 * len(told.durations), _SMALL_GRID) or abs(float(first)) > _WHOLE:
        return None
    width = int(span)
    counts = _counted_in_cells(told, first, width)
    if counts is None:
        return None
    both, entered = counts
    left = both.sum(axis=2)
    gone = np.cumsum(left, axis=1) - left
    if told.entry is None:
        at_risk = left.sum(axis=1, keepdims=True) - gone
    else:
        at_risk = np.cumsum(entered, axis=1) - entered - gone
    groups, at = np.nonzero(left)
    begins = np.concatenate([[0], np.cumsum(np.count_nonzero(left, axis=1))])
    times = (at + float(first)).astype(np.float64)
    return RiskSets(groups, times, at_risk[groups, at], both[groups, at, 1], both[groups, at, 0], begins)


def _counted_in_cells(told: _Checked, first: Any, width: int) -> tuple[NDArray[np.int64], NDArray[np.int64]] | None:
    """Count who leaves in each cell of the grid, censored and by the event, and who enters; None if off the grid."""
    grid = told.count * width
    both, entered = np.zeros(2 * grid, dtype=np.int64), np.zeros(grid, dtype=np.int64)
    stride = max(_CACHED, grid)
    for begin in range(0, len(told.durations), stride):
        part = slice(begin, begin + stride)
        corner = told.groups[part] * np.int64(width) - int(first)
        cells = _cells(told.durations[part], corner)
        entries = cells if told.entry is None else _cells(told.entry[part], corner)
        if cells is None or entries is None:
            return None
        if told.entry is not None:
            entered += np.bincount(entries, minlength=grid)
        cells *= 2
        cells += told.events[part]
        both += np.bincount(cells, minlength=2 * grid)
    return both.reshape(told.count, width, 2), entered.reshape(told.count, width)


def _cells(times: NDArray[Any], corner: NDArray[np.int64]) -> NDArray[np.int64] | None:
    """Give each one's cell; None where times are not whole."""
    whole = times.astype(np.int64)
    if times.dtype.kind == "f" and not np.array_equal(whole, times):
        return None
    whole += corner
    return whole


def _sorted(told: _Checked) -> RiskSets:
    """Count by sorting all groups' times once."""
    order = np.lexsort((told.durations, told.groups))
    groups, times, ended = told.groups[order], told.durations[order].astype(np.float64), told.events[order]
    fresh = np.concatenate([[True], (np.diff(groups) != 0) | (np.diff(times) != 0)])
    at = np.flatnonzero(fresh)
    own, when = groups[at].astype(np.intp), times[at]
    sizes = np.bincount(told.groups, minlength=told.count)
    offsets = np.concatenate([[0], np.cumsum(sizes)])
    begins = np.concatenate([[0], np.cumsum(np.bincount(own, minlength=told.count))])
    left = np.diff(np.append(at, len(times)))
    events = np.add.reduceat(ended.astype(np.int64), at)
    gone = at - offsets[own]
    entered = sizes[own]
    if told.entry is not None:
        entered = _entered_before(told.entry, told.groups, own, when) - offsets[own]
    return RiskSets(own, when, entered - gone, events, left - events, begins)


def _entered_before(
    entry: NDArray[Any], entered_in: NDArray[np.intp], own: NDArray[np.intp], when: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Count who entered before each row, those of all groups before its own among them."""
    groups, times = np.concatenate([own, entered_in]), np.concatenate([when, entry.astype(np.float64)])
    # Of equal times the row comes first: who enters at a time is not at risk at it.
    order = np.lexsort((np.arange(len(times)) >= len(own), times, groups))
    entering = np.cumsum(order >= len(own))
    before = np.empty(len(own), dtype=np.int64)
    rows = order < len(own)
    before[order[rows]] = entering[rows]
    return before
