"""The choices of a vine as arrays: every cane as a spur or cane, and as a renewal spur where one is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from balance.formulas.spur_plan.candidates import Arm, Candidate, whole
from balance.formulas.spur_plan.points import NEVER, Points, gap_points, length_points, node_points
from balance.formulas.spur_plan.renewal import most_nodes
from balance.formulas.spur_plan.rules import CANE, Rules

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Choices:
    """The options of a vine: one way to keep one cane each, on A arms of up to n options.

    Arms stand in the order of their names, options in the order of their canes along the arm, so that the order in
    which anybody named them changes nothing.  An arm of fewer than n options is filled up with ones that are never
    kept.  In gaps and links, row 0 is the head, row i the option i − 1, and the last column the halfway line.

    Attributes
    ----------
    candidates : tuple of Candidate
    arms : tuple of Arm
    cane : ndarray of int, shape (A, n)
        Position among the candidates; -1 where there is no option.
    renews : ndarray of bool, shape (A, n)
        Whether the cane is kept as a renewal spur.
    outside : ndarray of int, shape (A, n)
        Nodes of a renewal spur that do not count inside the total; 0 where they count.
    shares : ndarray of float, shape (A,)
        Of all arms' space.
    lengths : ndarray of int, shape (A, n, most + 1)
        Points for keeping so many counted nodes; ``NEVER`` where that may not be.
    gaps : ndarray of int, shape (A, n + 1, n + 1)
        Points of the gap between two that are neighbours; ``NEVER`` between two options of one cane.
    linked : ndarray of bool, shape (A, n + 1, n + 1)
        Whether one of the two is the renewal spur that the other asks for; the first stands nearer to the head.
    unlinked : ndarray of int, shape (A, n)
        Points of an option that has no linked neighbour; 0 where it asks for none.
    """

    candidates: tuple[Candidate, ...]
    arms: tuple[Arm, ...]
    cane: NDArray[np.intp]
    renews: Flags
    outside: Points
    shares: NDArray[np.float64]
    lengths: Points
    gaps: Points
    linked: Flags
    unlinked: Points


@dataclass(frozen=True)
class _Canes:
    """What was measured of the canes, in the order of arms and along them; each array has one element a cane."""

    arm: NDArray[np.intp]
    at: Points
    creep: Points
    bearing: Points  # most nodes as a spur or cane
    short: Points  # most nodes as a renewal spur
    asks: Flags


def choices_of(candidates: Sequence[Candidate], arms: Sequence[Arm], rules: Rules) -> Choices:
    """Give the choices of a vine.

    Parameters
    ----------
    candidates : sequence of Candidate
        In any order; each on one of the arms.
    arms : sequence of Arm
        In any order.
    rules : Rules
    """
    ordered_arms = tuple(sorted(arms, key=lambda arm: arm.name))
    place = {arm.name: index for index, arm in enumerate(ordered_arms)}
    ordered = tuple(sorted(candidates, key=lambda each: (place[each.arm], *each.along)))
    space = np.array([whole(arm.space_m, 1000) for arm in ordered_arms], dtype=np.int64)
    canes = _measured(ordered, place, space, rules)
    renewing = _renewing(canes, rules)
    found = np.flatnonzero(
        np.stack(
            [canes.bearing >= rules.fewest, renewing.any(axis=1) & (canes.short >= rules.renewal_fewest)], axis=1
        ).ravel()
    )
    arm, slots = _placed(canes.arm[found // 2], space.size)
    cane = np.full((space.size, int(slots.max(initial=-1)) + 1), -1, dtype=np.intp)
    cane[arm, slots] = found // 2
    renews = np.zeros(cane.shape, dtype=np.bool_)
    renews[arm, slots] = found % 2
    lengths, outside = _lengths(ordered, canes, cane, renews, rules)
    linked = _links(renewing, cane, renews)
    asks = (cane >= 0) & _of_options(canes.asks, cane)
    return Choices(
        ordered,
        ordered_arms,
        cane,
        renews,
        outside,
        space / space.sum(),
        lengths,
        _gaps(_of_options(canes.at, cane), cane, space, linked, rules),
        linked,
        np.where(renews, NEVER, np.where(asks, rules.weights.renewal, 0)),
    )


def _of_options(of_canes: NDArray[Any], cane: NDArray[np.intp]) -> NDArray[Any]:
    """Give of every option what was measured of its cane."""
    return of_canes[cane] if of_canes.size else np.zeros(cane.shape, dtype=of_canes.dtype)


def _measured(ordered: Sequence[Candidate], place: dict[str, int], space: Points, rules: Rules) -> _Canes:
    rows = [
        (
            place[each.arm],
            each.position_mm,
            each.creep_mm,
            most_nodes(each, int(space[place[each.arm]]), rules),
            each.nodes,
        )
        for each in ordered
    ]
    arm, at, creep, bearing, living = np.array(rows, dtype=np.int64).reshape(-1, 5).T
    short = np.where(at <= space[arm], np.minimum(living, rules.renewal_most), 0)
    asks = (bearing >= rules.fewest) & ((creep > rules.crept_mm) | (rules.form == CANE))
    return _Canes(arm, at, creep, bearing, short, asks)


def _renewing(canes: _Canes, rules: Rules) -> Flags:
    """Tell of every pair whether the first may be the renewal spur that the second asks for; see ``may_renew``."""
    near = canes.creep <= rules.crept_mm
    possible: Flags = canes.asks & near[:, None] & (canes.arm[:, None] == canes.arm)
    possible &= abs(canes.at[:, None] - canes.at) <= rules.reach_mm
    if rules.form != CANE:
        possible &= canes.creep[:, None] < canes.creep
    np.fill_diagonal(possible, val=False)
    return possible


def _placed(arm: NDArray[np.intp], arms: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Give the arm of every option, and its number along the arm."""
    starts = np.searchsorted(arm, np.arange(arms))
    return arm, np.arange(arm.size) - starts[arm]


def _lengths(
    ordered: Sequence[Candidate], canes: _Canes, cane: NDArray[np.intp], renews: Flags, rules: Rules
) -> tuple[Points, Points]:
    nodes = np.arange(max(rules.most, rules.renewal_most) + 1)
    each = sum(node_points(ordered, rules).values(), start=np.zeros(len(ordered), dtype=np.int64))
    points = nodes * _of_options(each, cane)[..., None] + length_points(nodes, rules, renews[..., None])
    fewest = np.where(renews, rules.renewal_fewest, rules.fewest)
    most = np.where(cane < 0, -1, np.where(renews, _of_options(canes.short, cane), _of_options(canes.bearing, cane)))
    lengths = np.where((nodes >= fewest[..., None]) & (nodes <= most[..., None]), points, NEVER)
    outside = np.zeros(cane.shape, dtype=np.int64)
    if not rules.renewal_inside:
        spurs = renews & (cane >= 0)
        outside[spurs] = lengths[spurs].argmin(axis=-1)
        least = lengths[spurs].min(axis=-1)
        lengths[spurs] = NEVER
        lengths[spurs, 0] = least
    return lengths, outside


def _links(renewing: Flags, cane: NDArray[np.intp], renews: Flags) -> Flags:
    """Tell of neighbours whether one is kept to renew and may renew the other, which is not."""
    linked = np.zeros((cane.shape[0], cane.shape[1] + 1, cane.shape[1] + 1), dtype=np.bool_)
    if renewing.size:
        first = renewing[cane[:, :, None], cane[:, None, :]] & renews[:, :, None] & ~renews[:, None, :]
        first &= (cane >= 0)[:, None, :]
        linked[:, 1:, :-1] = first | first.transpose(0, 2, 1)
    upper: Flags = np.triu(linked)  # the first of two stands nearer to the head
    return upper


def _gaps(at: Points, cane: NDArray[np.intp], space: Points, linked: Flags, rules: Rules) -> Points:
    """Give the points of every gap; the head and the halfway line are taken for the middle of one."""
    gaps_mm = np.empty(linked.shape, dtype=np.int64)
    gaps_mm[:, 1:, :-1] = abs(at[:, None, :] - at[:, :, None])
    gaps_mm[:, 0, :-1] = 2 * at
    gaps_mm[:, 1:, -1] = 2 * (space[:, None] - at)
    gaps_mm[:, 0, -1] = 2 * space
    gaps = gap_points(gaps_mm, rules, linked)
    gaps[:, 1:, :-1][cane[:, :, None] == cane[:, None, :]] = NEVER
    return gaps
