"""Node targets by balanced pruning: "A+B", A count nodes for the first unit of weight, B for each further.

Nodes by the unit alone and fixed numbers, which are in print beside it, are computed here, too.  One computation serves
a single vine and a whole block, so the two can never differ.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.errors import OutOfRange

OK: Final = "ok"
BELOW: Final = "below_formula_range"
ABOVE: Final = "above_formula_range"
NOT_WEIGHED: Final = "not_weighed"
YOUNG: Final = "young_vine"

FIRST_AND_FURTHER: Final = "first_and_further"
PER_UNIT: Final = "per_unit"
FIXED: Final = "fixed"

#: Seasons of growth before a formula answers: training takes about three years, and fruit comes off until then
#: (Missouri State, 28 Jan 2013, READ*); full bearing takes four (Univ. Kentucky ID-126, READ).
SEASONS_OF_TRAINING: Final = 3

#: Prunings of one vine [kg]: the heaviest read of are 15 lb (6.8 kg) of a muscadine (trade.md 1c, NC State).
HEAVIEST_KG: Final = 50.0
#: A millionth of a node or unit means nothing; rounding to it first makes pounds and kilograms agree.
_DECIMALS: Final = 6


@dataclass(frozen=True)
class NodeFormula:
    """A formula with the unit of weight that its numbers belong to.

    Attributes
    ----------
    first_nodes : Decimal
        A, count nodes for the first unit of weight, or the fixed number [nodes].
    further_nodes : Decimal
        B, count nodes for each further unit, or for each unit [nodes per unit].
    unit_value, unit : Decimal, str
        The unit of weight as its source states it, e.g. 1 ``[lb_av]`` or 500 ``g`` (UCUM).
    unit_kg : Decimal
        The same, exactly [kg].
    minimum_nodes, maximum_nodes : int, optional
        Bounds, only where a source or the farm sets one [nodes].
    kind : str
        ``first_and_further`` (A+B), ``per_unit`` (first_nodes is not used) or ``fixed`` (further_nodes is not used).
    lowest_units, highest_units : float, optional
        The units of weight from which and up to which it holds, where its source says. Without the first, it holds
        from one unit on, and a fixed number at any weight.
    """

    first_nodes: Decimal
    further_nodes: Decimal
    unit_value: Decimal
    unit: str
    unit_kg: Decimal
    minimum_nodes: int | None = None
    maximum_nodes: int | None = None
    kind: str = FIRST_AND_FURTHER
    lowest_units: float | None = None
    highest_units: float | None = None

    @property
    def holds_from(self) -> float | None:
        """The units of weight from which it holds; None: at any weight, and without one."""
        if self.lowest_units is not None:
            return float(self.lowest_units)
        return None if self.kind == FIXED else 1.0

    @property
    def asks_for_a_weight(self) -> bool:
        """Whether it gives nothing for a vine that was not weighed."""
        return self.holds_from is not None or self.highest_units is not None

    def nodes_at(self, units: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the nodes at a weight in its unit, unrounded and whether or not it holds there [nodes]."""
        first, further = float(self.first_nodes), float(self.further_nodes)
        if self.kind == FIXED:
            return np.full_like(units, first)
        return further * units if self.kind == PER_UNIT else first + further * (units - 1)


@dataclass(frozen=True)
class NodeTargets:
    """Targets of many vines; every array has one element a vine, in the order of the weights.

    Attributes
    ----------
    units : ndarray of float
        Weights in the formula's unit; NaN where not weighed.
    unrounded : ndarray of float
        A + B·(units − 1) for "A+B" [nodes]; NaN where there is no number.
    uncapped, nodes : ndarray of float
        Rounded to whole nodes, before and after the bounds; NaN where there is no number.
    status : ndarray of str
        ``ok``, ``below_formula_range``, ``above_formula_range``, ``young_vine`` or ``not_weighed``.
    """

    units: NDArray[np.float64]
    unrounded: NDArray[np.float64]
    uncapped: NDArray[np.float64]
    nodes: NDArray[np.float64]
    status: NDArray[np.str_]


@dataclass(frozen=True)
class NodeTarget:
    """The target of one vine; the numbers are None where the status says why there is none."""

    units: float | None
    unrounded: float | None
    uncapped: int | None
    nodes: int | None
    status: str


def node_targets(weights_kg: ArrayLike, formula: NodeFormula, seasons_grown: ArrayLike | None = None) -> NodeTargets:
    r"""Compute the count nodes to keep on each vine from the weight of its one-year-old prunings.

    Parameters
    ----------
    weights_kg : array_like of float, shape (n,)
        Fresh weight of one-year-old prunings [kg], 0 to 50; NaN where the vine was not weighed.
    formula : NodeFormula
        Its numbers, the unit of weight, and bounds where a source or the farm sets one.
    seasons_grown : array_like of float, shape (n,), optional
        How many seasons each vine has grown since it was planted; NaN where nobody said.

    Returns
    -------
    NodeTargets
        Arrays of shape (n,). Below one unit of weight, outside the weights that the formula's source names, and in
        the first three seasons there is no number.

    Raises
    ------
    OutOfRange
        A weight is negative, infinite or above 50 kg.

    Notes
    -----
    With *w* the weight in the formula's own unit,

    .. math:: N = A + B\,(w - 1), \qquad w \ge 1

    for "A+B", :math:`N = n\,w` for nodes by the unit, and :math:`N = n` for a fixed number; linear inside the unit,
    which the printed cases of 1.5 lb at 20+20 (30 buds) and 2.55 lb at 30+10 ("about 45") settle [1]_ [2]_. Rounded
    to the nearest node, a half towards fewer: a bud is easier to take off than to put back, but the printed 45.5
    became 45, and too few beats too many [3]_. No source prints a formula below one unit, so none is applied there,
    nor to a vine in training [4]_. A and B are never converted to another unit. Units and nodes are first rounded to
    a millionth, so that a weight typed in pounds and the same weight typed in kilograms give one answer also at a
    half and at exactly one unit.

    References
    ----------
    .. [1] Finger Lakes wines and grapes column, auburnpub.com, 26 Mar 2021 (READ*).
    .. [2] Missouri State Univ. Fruit Experiment Station, field blog, 20 Nov 2009 (READ).
    .. [3] Zabadal 2002, Michigan State Univ. E-2774: "when in doubt leave too few" (READ).
    .. [4] Missouri State Univ., 28 Jan 2013: about three years of training, fruit removed until then (READ*).

    Examples
    --------
    >>> pound = Decimal("0.45359237")
    >>> formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", pound)
    >>> targets = node_targets([2.8 * 0.45359237, 0.9 * 0.45359237, float("nan")], formula)
    >>> targets.nodes.tolist(), targets.status.tolist()
    ([48.0, nan, nan], ['ok', 'below_formula_range', 'not_weighed'])
    """
    weights = np.asarray(weights_kg, dtype=np.float64)
    _refuse_impossible(weights)
    units = np.round(weights / float(formula.unit_kg), _DECIMALS)
    weighed = ~np.isnan(units)
    status = _statuses(units, weighed, formula)
    if seasons_grown is not None:
        status = np.where(np.asarray(seasons_grown, dtype=np.float64) < SEASONS_OF_TRAINING, YOUNG, status)
    unrounded = np.where(status == OK, np.round(formula.nodes_at(units), _DECIMALS), np.nan)
    uncapped = np.ceil(unrounded - 0.5)  # the nearest whole number, a half towards fewer
    return NodeTargets(units, unrounded, uncapped, _bounded(uncapped, formula), status)


def _statuses(units: NDArray[np.float64], weighed: NDArray[np.bool_], formula: NodeFormula) -> NDArray[np.str_]:
    """Say for each vine whether the formula holds at its weight; a comparison with NaN is false."""
    status = np.full(units.shape, OK, dtype="<U20")
    if formula.asks_for_a_weight:
        status[~weighed] = NOT_WEIGHED
    if formula.holds_from is not None:
        status[units < formula.holds_from] = BELOW
    if formula.highest_units is not None:
        status[units > float(formula.highest_units)] = ABOVE
    return status


def _refuse_impossible(weights: NDArray[np.float64]) -> None:
    wrong = weights[(weights < 0) | (weights > HEAVIEST_KG)]
    if wrong.size:
        raise OutOfRange("the weight of one vine's prunings [kg]", float(wrong[0]), 0, HEAVIEST_KG)


def _bounded(nodes: NDArray[np.float64], formula: NodeFormula) -> NDArray[np.float64]:
    if formula.minimum_nodes is not None:
        nodes = np.maximum(nodes, formula.minimum_nodes)
    if formula.maximum_nodes is not None:
        nodes = np.minimum(nodes, formula.maximum_nodes)
    return nodes


def node_target(
    weight_kg: Decimal | float | None, formula: NodeFormula, seasons_grown: int | None = None
) -> NodeTarget:
    """Compute the target of one vine; see :func:`node_targets`, which does the work.

    Parameters
    ----------
    weight_kg : Decimal, float or None
        Fresh weight of one-year-old prunings [kg], 0 to 50; None where the vine was not weighed.
    formula : NodeFormula
    seasons_grown : int, optional
        Seasons of growth since the vine was planted.

    Returns
    -------
    NodeTarget

    Raises
    ------
    OutOfRange

    Examples
    --------
    >>> formula = NodeFormula(Decimal(33), Decimal(11), Decimal(500), "g", Decimal("0.5"))
    >>> node_target(Decimal("1.000"), formula).nodes
    44
    """
    weight = math.nan if weight_kg is None else float(weight_kg)
    targets = node_targets([weight], formula, None if seasons_grown is None else [seasons_grown])
    return NodeTarget(
        units=_number(targets.units),
        unrounded=_number(targets.unrounded),
        uncapped=_whole(targets.uncapped),
        nodes=_whole(targets.nodes),
        status=str(targets.status[0]),
    )


def _number(array: NDArray[np.float64]) -> float | None:
    return None if np.isnan(array[0]) else float(array[0])


def _whole(array: NDArray[np.float64]) -> int | None:
    return None if np.isnan(array[0]) else int(array[0])


def nodes_worth_of(weight_kg: Decimal | float, formula: NodeFormula) -> tuple[float, int]:
    """Give what a small weight is worth in nodes: for a scale's resolution, how far the target may be off.

    Parameters
    ----------
    weight_kg : Decimal or float
        The scale's smallest step [kg]; a reading is taken to be good to one step either way.
    formula : NodeFormula

    Returns
    -------
    unrounded : float
        B · weight in units [nodes]; 0 for a fixed number.
    whole : int
        The same, rounded up [nodes].

    Examples
    --------
    >>> pound = Decimal("0.45359237")
    >>> nodes_worth_of(pound / 4, NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", pound))
    (2.5, 3)
    """
    exact = round(float(weight_kg) / float(formula.unit_kg) * float(formula.further_nodes), _DECIMALS)
    return exact, math.ceil(exact)
