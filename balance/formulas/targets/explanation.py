"""The steps from a weight to a target, in words and numbers that can be checked by hand."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.targets.node_targets import FIXED, PER_UNIT, NodeFormula, NodeTarget, nodes_worth_of

#: How people write the units that UCUM writes in brackets.
SYMBOLS: Final = {"[lb_av]": "lb", "[oz_av]": "oz", "[ft_i]": "ft", "[in_i]": "in"}


@dataclass(frozen=True)
class Step:
    """One step: what is done, said as a sentence and written as a sum, and the nodes it leads to.

    ``nodes`` is None for a step that leads to a weight or to a margin.
    """

    label: str
    sentence: str
    calculation: str
    nodes: float | None


@dataclass(frozen=True)
class SentWeight:
    """A weight as sent: value, UCUM unit, and exactly in kilograms."""

    value: Decimal
    unit: str
    kg: Decimal

    def __str__(self) -> str:
        return f"{plain(self.value)} {symbol(self.unit)}"


def symbol(unit: str) -> str:
    """Give a unit as people write it: ``lb`` for ``[lb_av]``."""
    return SYMBOLS.get(unit, unit)


def plain(number: Decimal | float, decimals: int = 4) -> str:
    """Write a number with at most so many decimals and no noise behind them.

    Examples
    --------
    >>> plain(2.8), plain(Decimal("30.00")), plain(17.99871), plain(17.99871, 6), plain(80.4, 0)
    ('2.8', '30', '17.9987', '17.99871', '80')
    """
    written = f"{number:.{decimals}f}"
    return written.rstrip("0").rstrip(".") if decimals else written


def _worked(number: float) -> str:
    """Write a number of a calculation to the millionth that the formula works with, so that the sum comes out."""
    return plain(number, 6)


def explain(
    target: NodeTarget, formula: NodeFormula, weight: SentWeight | None, scale_resolution: SentWeight | None = None
) -> list[Step]:
    """Give the steps that lead to a target.

    Parameters
    ----------
    target : NodeTarget
        With status ``ok``; any other has no steps.
    formula : NodeFormula
    weight : SentWeight or None
        The prunings as they were sent; None where a fixed number asks for none.
    scale_resolution : SentWeight, optional
        The scale's smallest step.

    Returns
    -------
    list of Step

    Examples
    --------
    >>> from balance.formulas.targets.node_targets import node_target
    >>> pound = Decimal("0.45359237")
    >>> formula = NodeFormula(Decimal(30), Decimal(10), Decimal(1), "[lb_av]", pound)
    >>> weight = SentWeight(Decimal("2.8"), "[lb_av]", Decimal("2.8") * pound)
    >>> for step in explain(node_target(weight.kg, formula), formula, weight):
    ...     print(step.sentence, step.calculation, sep="  ")
    The first 1 lb gives 30 nodes.  30
    The further 1.8 lb give 10 nodes for each 1 lb.  1.8 × 10 = 18
    Together 48 nodes.  30 + 18 = 48
    """
    if target.unrounded is None:
        return []
    steps = _led_to(target.unrounded, target.units, formula, weight)
    steps += _rounding(target.unrounded, target) + _bounds(target)
    if scale_resolution is not None and formula.kind != FIXED:
        steps.append(_scale(formula, scale_resolution))
    return steps


def _led_to(unrounded: float, units: float | None, formula: NodeFormula, weight: SentWeight | None) -> list[Step]:
    if formula.kind == FIXED or units is None or weight is None:
        number = plain(formula.first_nodes)
        return [Step("fixed number", f"The formula keeps {counted(number, 'node')} on every vine.", number, unrounded)]
    summed = _by_the_unit if formula.kind == PER_UNIT else _sum
    return [*_conversion(units, formula, weight), *summed(units, unrounded, formula)]


def _by_the_unit(units: float, unrounded: float, formula: NodeFormula) -> list[Step]:
    each = plain(formula.further_nodes)
    together = counted(plain(unrounded), "node")
    sentence = f"{_weight(units, formula)} give {counted(each, 'node')} for each {_unit(formula)}: {together}."
    return [Step("nodes by the unit", sentence, f"{_worked(units)} × {each} = {_worked(unrounded)}", unrounded)]


def _unit(formula: NodeFormula) -> str:
    return f"{plain(formula.unit_value)} {symbol(formula.unit)}"


def _weight(units: float, formula: NodeFormula) -> str:
    """Write a weight in the formula's unit: ``1.8 lb``, or ``1.5 × 500 g``."""
    if formula.unit_value == 1:
        return f"{plain(units)} {symbol(formula.unit)}"
    return f"{plain(units)} × {_unit(formula)}"


def _conversion(units: float, formula: NodeFormula, weight: SentWeight) -> list[Step]:
    if weight.unit == formula.unit and formula.unit_value == 1:
        return []
    sentence = f"{weight} is {_weight(units, formula)}: the formula counts in units of {_unit(formula)}."
    calculation = f"{plain(weight.kg, 9)} kg ÷ {formula.unit_kg.normalize():f} kg = {_worked(units)}"
    return [Step("weight in the formula's unit", sentence, calculation, None)]


def _sum(units: float, unrounded: float, formula: NodeFormula) -> list[Step]:
    first, each = plain(formula.first_nodes), plain(formula.further_nodes)
    more = unrounded - float(formula.first_nodes)
    give = "gives" if units == 2 else "give"
    further = f"The further {_weight(units - 1, formula)} {give} {counted(each, 'node')} for each {_unit(formula)}."
    if units == 1:
        further = "There is no further weight."
    return [
        Step(
            "first unit of weight",
            f"The first {_unit(formula)} gives {counted(first, 'node')}.",
            first,
            float(formula.first_nodes),
        ),
        Step("further weight", further, f"{_worked(units - 1)} × {each} = {_worked(more)}", more),
        Step(
            "sum",
            f"Together {counted(plain(unrounded), 'node')}.",
            f"{first} + {_worked(more)} = {_worked(unrounded)}",
            unrounded,
        ),
    ]


def _rounding(unrounded: float, target: NodeTarget) -> list[Step]:
    if target.uncapped is None or unrounded == target.uncapped:
        return []
    sentence = f"Rounded to the nearest whole node, a half towards fewer: {target.uncapped}."
    return [Step("rounding", sentence, f"{_worked(unrounded)} → {target.uncapped}", target.uncapped)]


def _bounds(target: NodeTarget) -> list[Step]:
    if target.nodes is None or target.uncapped is None or target.nodes == target.uncapped:
        return []
    bound = "at most" if target.nodes < target.uncapped else "at least"
    bounded = f"{bound} {counted(target.nodes, 'node')}"
    sentence = f"The formula or the farm sets {bounded}; without that it would be {target.uncapped}."
    return [Step("bound", sentence, f"{target.uncapped} → {target.nodes}", target.nodes)]


def _scale(formula: NodeFormula, resolution: SentWeight) -> Step:
    exact, whole = nodes_worth_of(resolution.kg, formula)
    sentence = f"The scale's ±{resolution} is worth ±{counted(plain(exact), 'node')}, so ±{whole}."
    in_units = float(resolution.kg) / float(formula.unit_kg)
    calculation = f"{_worked(in_units)} × {plain(formula.further_nodes)} = {_worked(exact)}"
    return Step("what the scale is worth", sentence, calculation, None)
