"""Who is at risk when: counted for many groups at once, without a look at each one alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange

#: A grid of groups by whole times is counted outright up to this size, or four times the number of rows.
_SMALL_GRID: Final = 1 << 16


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
    entered = None if entry is None else np.atleast_1d(entry)
    own = np.zeros(len(left), dtype=np.intp) if groups is None else np.atleast_1d(groups)
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
    if not told.count * span <= max(4 * len(told.durations), _SMALL_GRID):
        return None
    width = int(span)
    cells = [_cells(times, first, told.groups, width) for times in (told.durations, told.entry) if times is not None]
    if any(each is None for each in cells):
        return None
    grid = told.count * width
    both = np.bincount(2 * cells[0] + told.events, minlength=2 * grid).reshape(told.count, width, 2)
    left = both.sum(axis=2)
    gone = np.cumsum(left, axis=1) - left
    if told.entry is None:
        at_risk = left.sum(axis=1, keepdims=True) - gone
    else:
        entered = np.bincount(cells[1], minlength=grid).reshape(told.count, width)
        at_risk = np.cumsum(entered, axis=1) - entered - gone
    groups, at = np.nonzero(left)
    begins = np.concatenate([[0], np.cumsum(np.count_nonzero(left, axis=1))])
    return RiskSets(groups, at + float(first), at_risk[groups, at], both[groups, at, 1], both[groups, at, 0], begins)


def _cells(times: NDArray[Any], first: Any, groups: NDArray[np.intp], width: int) -> Any:
    """Give each one's place on the grid; None where times are not whole."""
    since = times - first
    whole = since.astype(np.int64, copy=False)
    if times.dtype.kind == "f" and not (float(first).is_integer() and np.array_equal(whole, since)):
        return None
    return groups * np.int64(width) + whole


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
