"""The count that was left, held against the target; and the plain slips of arithmetic that explain a miss."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from balance.formulas.counting import counted
from balance.formulas.targets.explained_counts import Explained
from balance.formulas.targets.explanation import plain
from balance.formulas.targets.node_targets import FIXED, PER_UNIT, NodeFormula

#: Pounds in a kilogram, by the exact international pound.
POUNDS_IN_A_KILOGRAM: Final = 1 / 0.45359237

WITHIN: Final = "within_tolerance"
TOO_MANY: Final = "too_many"
TOO_FEW: Final = "too_few"


@dataclass(frozen=True)
class Slip:
    """One plain mistake of arithmetic whose result equals the count that was left."""

    code: str
    sentence: str
    nodes: float


@dataclass(frozen=True)
class Verdict:
    """A retained count against its target.

    Attributes
    ----------
    outcome : str
        ``within_tolerance``, ``too_many`` or ``too_few``.
    difference : int
        Retained less target [nodes].
    tolerance : int
        Nodes either way that still count as on target.
    sentence : str
        The verdict in words.
    slips : tuple of Slip
        Mistakes that give exactly this count; empty within the tolerance.
    young_arms : Explained or None
        What young arms of the vine explain; None where there are none.
    """

    outcome: str
    difference: int
    tolerance: int
    sentence: str
    slips: tuple[Slip, ...] = ()
    young_arms: Explained | None = None


def tolerance_of(scale_worth: int | None) -> int:
    """Give the nodes either way that a count may be off: what the scale is worth, and at least one.

    Parameters
    ----------
    scale_worth : int or None
        What the scale's resolution is worth, rounded up [nodes]; None where the resolution is not known.

    Returns
    -------
    int
        At least 1, because rounding the target alone is worth half a node.

    Notes
    -----
    Common practice, no source.

    Examples
    --------
    >>> tolerance_of(3), tolerance_of(None)
    (3, 1)
    """
    return max(1, scale_worth or 0)


def judge_count(retained: int, nodes: int, *, tolerance: int) -> Verdict:
    """Hold the count that was left against the target.

    Parameters
    ----------
    retained : int
        Count nodes left after the final cut [nodes]; base buds do not count.
    nodes : int
        The target [nodes].
    tolerance : int
        See :func:`tolerance_of` [nodes].

    Returns
    -------
    Verdict
        Without slips; see :func:`arithmetic_slips`.

    Examples
    --------
    >>> judge_count(38, 48, tolerance=3).sentence
    '38 nodes were left, 10 too few: the target is 48 ± 3.'
    """
    difference = retained - nodes
    left = counted(retained, "node was left", "nodes were left")
    if abs(difference) <= tolerance:
        sentence = f"{left}: within the target of {nodes} ± {tolerance}."
        return Verdict(WITHIN, difference, tolerance, sentence)
    outcome, word = (TOO_MANY, "too many") if difference > 0 else (TOO_FEW, "too few")
    sentence = f"{left}, {abs(difference)} {word}: the target is {nodes} ± {tolerance}."
    return Verdict(outcome, difference, tolerance, sentence)


def judge_counts(
    retained: ArrayLike, nodes: ArrayLike, scale_worth: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.str_]]:
    """Hold the counts of many vines against their targets; the same rule as :func:`judge_count`.

    Parameters
    ----------
    retained, nodes, scale_worth : array_like of float, shape (n,)
        Count nodes left, target, and what the scale's resolution is worth before rounding up [nodes];
        NaN where not counted, no target, or resolution not known.

    Returns
    -------
    difference : ndarray of float, shape (n,)
        Retained less target [nodes]; NaN where either is missing.
    tolerance : ndarray of float, shape (n,)
        At least 1 [nodes].
    outcome : ndarray of str, shape (n,)
        ``within_tolerance``, ``too_many``, ``too_few``, or empty where there is nothing to judge.

    Examples
    --------
    >>> difference, tolerance, outcome = judge_counts([38, 47, float("nan")], [48, 48, 48], [2.5, 2.5, 2.5])
    >>> outcome.tolist()
    ['too_few', 'within_tolerance', '']
    """
    difference = np.asarray(retained, dtype=np.float64) - np.asarray(nodes, dtype=np.float64)
    tolerance = np.fmax(1.0, np.ceil(np.asarray(scale_worth, dtype=np.float64)))
    judged = ~np.isnan(difference)
    within = np.abs(difference) <= tolerance
    outcome = np.select([judged & within, judged & (difference > 0), judged], [WITHIN, TOO_MANY, TOO_FEW], default="")
    return difference, tolerance, outcome


def arithmetic_slips(retained: int, units: float, formula: NodeFormula) -> tuple[Slip, ...]:
    """Name the plain mistakes that turn this weight into exactly this count.

    Parameters
    ----------
    retained : int
        Count nodes left [nodes].
    units : float
        The weight in the formula's unit, 1 or more.
    formula : NodeFormula

    Returns
    -------
    tuple of Slip
        Those whose result, rounded either way at a half, equals the count; none is claimed to be what happened.

    Examples
    --------
    >>> from decimal import Decimal
    >>> formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", Decimal("0.45359237"))
    >>> [slip.code for slip in arithmetic_slips(38, 2.8, formula)]
    ['one_further_unit_left_out']
    """
    if formula.kind == FIXED:
        return ()
    slips = _slips_by_the_unit if formula.kind == PER_UNIT else _slips
    return tuple(slip for slip in slips(units, formula) if _equals(slip.nodes, retained))


def _equals(nodes: float, retained: int) -> bool:
    rounded = round(nodes, 6)
    return retained in {math.ceil(rounded - 0.5), math.floor(rounded + 0.5)}


def _slips(units: float, formula: NodeFormula) -> Iterator[Slip]:
    first, each = float(formula.first_nodes), float(formula.further_nodes)
    a, b, w = plain(first), plain(each), plain(units)
    if units >= 2:
        left_out = first + each * (units - 2)
        yield Slip(
            "one_further_unit_left_out",
            f'{plain(left_out)} is what comes out when the first {b} of the "+{b}" is left out: '
            f"{a} + {plain(units - 2)} × {b}. The further weight is {plain(units - 1)}, not {plain(units - 2)}.",
            left_out,
        )
    twice = first + each * units
    yield Slip(
        "first_unit_counted_twice",
        f"{plain(twice)} is what comes out when the first unit counts again in the further weight: {a} + {w} × {b}.",
        twice,
    )
    whole = first + each * math.floor(units - 1)
    if whole != first + each * (units - 1):
        yield Slip(
            "only_whole_units",
            f"{plain(whole)} is what comes out when only whole units count: {a} + {math.floor(units - 1)} × {b}. "
            "The formula is read linearly inside the unit.",
            whole,
        )
    yield Slip(
        "only_the_first_unit",
        f"{a} is what the first unit alone gives; the further weight was left out.",
        first,
    )
    further = each * (units - 1)
    yield Slip(
        "first_nodes_left_out",
        f"{plain(further)} is what the further weight alone gives; the first {a} were left out.",
        further,
    )
    yield from _unit_slips(units, formula)


def _slips_by_the_unit(units: float, formula: NodeFormula) -> Iterator[Slip]:
    if units != math.floor(units):
        whole = float(formula.further_nodes) * math.floor(units)
        yield Slip("only_whole_units", f"{plain(whole)} is what comes out when only whole units count.", whole)
    yield from _unit_slips(units, formula)


def _unit_slips(units: float, formula: NodeFormula) -> Iterator[Slip]:
    """Give the mix-ups of pounds and kilograms: either way the weight is off by the same factor in any unit."""
    kilograms = units * float(formula.unit_kg)
    pounds = kilograms * POUNDS_IN_A_KILOGRAM
    as_kilograms, as_pounds = units * POUNDS_IN_A_KILOGRAM, units / POUNDS_IN_A_KILOGRAM
    yield Slip(
        "pounds_read_as_kilograms",
        f"It is what comes out when {plain(pounds)} lb is taken for {plain(pounds)} kg.",
        float(formula.nodes_at(np.array(as_kilograms))),
    )
    if as_pounds >= 1:
        yield Slip(
            "kilograms_read_as_pounds",
            f"It is what comes out when {plain(kilograms)} kg is taken for {plain(kilograms)} lb.",
            float(formula.nodes_at(np.array(as_pounds))),
        )
