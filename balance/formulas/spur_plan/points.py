"""What each choice costs, in whole points: a node on a cane, a length, a gap between two, nodes on an arm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.spur_plan.candidates import WATER_SHOOT, Candidate
from balance.formulas.spur_plan.rules import ANGLE, KIND, NEARNESS, WOOD, Rules

Points = NDArray[np.int64]

#: More than any plan costs, and so small that a thousand of them still fit into an integer of 64 bits.
NEVER: Final = 2**40


def node_points(candidates: Sequence[Candidate], rules: Rules) -> dict[str, Points]:
    """Give what one node on each cane costs, term by term.

    Parameters
    ----------
    candidates : sequence of Candidate
        n of them.
    rules : Rules

    Returns
    -------
    dict of str to ndarray of int, shape (n,)
        Points a node; what was not measured costs nothing.

    Notes
    -----
    ======== =========================================================================================
    wood     1 for each 0.01 mm below the wanted diameter, 4 more for each 0.01 mm below the thinnest
    angle    2 for each degree above sideways
    nearness 2 for each millimetre from the cordon
    kind     60 on a shoot from older wood
    ======== =========================================================================================

    Examples
    --------
    >>> from balance.formulas.spur_plan.rules import SPUR_RULES
    >>> cane = Candidate("a", "left", 0.3, 5, diameter_mm=7.0, angle_deg=-20, creep_m=0.03)
    >>> {term: points.tolist() for term, points in node_points([cane], SPUR_RULES).items()}
    {'wood': [100], 'angle': [0], 'nearness': [60], 'kind': [0]}
    """
    measured = [(each.thickness, each.angle_deg or 0, each.creep_mm, each.kind == WATER_SHOOT) for each in candidates]
    thickness, angle, creep, water_shoot = np.array(measured, dtype=np.float64).reshape(-1, 4).T
    weights = rules.weights
    wood = weights.below_wanted * np.maximum(rules.wanted - thickness, 0)
    wood += weights.below_thinnest * np.maximum(rules.thinnest - thickness, 0)
    return {
        WOOD: np.where(np.isnan(thickness), 0, wood).astype(np.int64),
        ANGLE: weights.upward * np.maximum(np.rint(angle), 0).astype(np.int64),
        NEARNESS: weights.creep * creep.astype(np.int64),
        KIND: weights.water_shoot * water_shoot.astype(np.int64),
    }


def length_points(nodes: ArrayLike, rules: Rules, renews: ArrayLike) -> Points:
    """Give what lengths of kept spurs or canes cost [points].

    A renewal spur of the most nodes that one may have costs nothing.

    Examples
    --------
    >>> from balance.formulas.spur_plan.rules import CANE_RULES, SPUR_RULES
    >>> length_points([1, 2, 3], SPUR_RULES, renews=False).tolist(), int(length_points(10, CANE_RULES, renews=False))
    ([30, 0, 30], 60)
    """
    preferred = np.where(renews, rules.renewal_most, rules.preferred)
    away: Points = abs(np.asarray(nodes, dtype=np.int64) - preferred)
    return rules.weights.odd_length * away


def gap_points(gaps_mm: ArrayLike, rules: Rules, linked: ArrayLike = False) -> Points:
    """Give what gaps between neighbouring kept canes cost [points].

    Parameters
    ----------
    gaps_mm : array_like of int
        Along the arm; twice the distance where one side is the head or the halfway line.
    rules : Rules
    linked : array_like of bool
        Whether one of the two is the renewal spur of the other: they may stand close.

    Returns
    -------
    ndarray of int
        Of the shape of the gaps.

    Examples
    --------
    >>> from balance.formulas.spur_plan.rules import SPUR_RULES
    >>> gap_points([40, 80, 200, 300], SPUR_RULES).tolist(), int(gap_points(40, SPUR_RULES, linked=True))
    ([200, 0, 0, 200], 0)
    """
    gaps = np.asarray(gaps_mm, dtype=np.int64)
    if rules.least_spacing_mm is None or rules.widest_spacing_mm is None:
        return np.zeros_like(gaps)
    crowding = np.maximum(rules.least_spacing_mm - gaps, 0) ** 2 // rules.weights.crowding_mm2
    blank = np.maximum(gaps - rules.widest_spacing_mm, 0) ** 2 // rules.weights.gap_mm2
    points: Points = np.where(linked, 0, crowding) + blank
    return points


def arm_points(nodes: ArrayLike, share: ArrayLike, rules: Rules) -> Points:
    r"""Give what the nodes of arms cost towards balance [points], before the total's own square is taken off.

    Notes
    -----
    With shares *s* of the space that sum to one, the deviation from balance is

    .. math:: \sum_a (t_a - s_a t)^2 / s_a = \sum_a t_a^2 / s_a - t^2

    so that each arm has a cost of its own, whatever the total.

    Examples
    --------
    >>> from balance.formulas.spur_plan.rules import SPUR_RULES
    >>> int(arm_points([21, 19], 0.5, SPUR_RULES).sum()) - 10 * 40**2
    40
    """
    squares = rules.weights.balance * np.asarray(nodes, dtype=np.int64) ** 2
    points: Points = np.rint(squares / np.asarray(share)).astype(np.int64)
    return points
