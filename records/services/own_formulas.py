"""What a farm or program may say of a formula of its own: numbers of its kind, in a unit of weight of its own."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from records.errors import NotValid
from records.models.catalogue import FormulaKind
from records.units import Quantity, to_canonical

#: One unit of weight is kept in thousandths, as catalogues print it; its kilograms are exact.
_THOUSANDTH: Final = Decimal("0.001")
#: A fixed number asks for no weight; its limits, where it has any, are then in kilograms.
_ONE_KILOGRAM: Final = Quantity(Decimal(1), "kg")


def formula_columns(told: Mapping[str, Any]) -> dict[str, Any]:
    """Give the columns of a formula from what was told, all of them, so that two that say the same are the same.

    Raises
    ------
    NotValid
        The numbers do not fit the kind or each other, or the unit of weight is out of bounds.
    """
    columns = {**_UNSAID, **told}
    _check_numbers(columns)
    _check_order(columns, "lowest_units", "highest_units", may_be_equal=False)
    _check_order(columns, "minimum_nodes", "maximum_nodes", may_be_equal=True)
    check_for_whom(columns)
    unit = columns.pop("weight_unit") or _unit_of_none(columns["kind"])
    _check_unit(unit)
    return {**columns, "weight_unit_value": unit.value, "weight_unit": unit.unit}


def kilograms_of_one_unit(columns: Mapping[str, Any]) -> Decimal:
    """Give one unit of weight of a formula [kg], exactly."""
    return to_canonical(Quantity(columns["weight_unit_value"], columns["weight_unit"]), "mass")


_UNSAID: Final[Mapping[str, Any]] = {
    "first_nodes": Decimal(0),
    "further_nodes": Decimal(0),
    "weight_unit": None,
    **dict.fromkeys(("lowest_units", "highest_units", "minimum_nodes", "maximum_nodes", "group", "cultivar", "year")),
    **dict.fromkeys(("cluster_thinning", "region", "note"), ""),
}


def _check_numbers(columns: Mapping[str, Any]) -> None:
    """Refuse numbers that are not of the kind: what is left out counts as zero."""
    kind, first, further = columns["kind"], columns["first_nodes"], columns["further_nodes"]
    if kind == FormulaKind.PER_UNIT:
        _require("first_nodes", first == 0, "Nodes per unit of weight have no first nodes. Leave them out.")
        _require("further_nodes", further > 0, "Send how many nodes go with each unit of weight, more than 0.")
        return
    _require("first_nodes", first >= 1, "Send how many nodes, at least 1: a vine without nodes bears no shoots.")
    if kind == FormulaKind.FIXED:
        _require("further_nodes", further == 0, "A fixed number has no further nodes. Leave them out.")


def _check_order(columns: Mapping[str, Any], low: str, high: str, *, may_be_equal: bool) -> None:
    low_value, high_value = columns[low], columns[high]
    if low_value is None or high_value is None:
        return
    fits = low_value <= high_value if may_be_equal else low_value < high_value
    _require(low, fits, f"{low} is {low_value} and {high} is {high_value}: the lower one comes first.")


def check_for_whom(columns: Mapping[str, Any]) -> None:
    """Refuse a cultivar and a group at once: a cultivar has its group."""
    both = columns["group"] is not None and columns["cultivar"] is not None
    _require("group", not both, "Send a cultivar or a group, not both: a cultivar has its group.")


def _unit_of_none(kind: str) -> Quantity:
    sentence = "Say which unit of weight the nodes go with, such as 1 [lb_av] or 500 g."
    _require("weight_unit", kind == FormulaKind.FIXED, sentence)
    return _ONE_KILOGRAM


def _check_unit(unit: Quantity) -> None:
    in_kg = to_canonical(unit, "mass")
    sentence = f"One unit of weight lies between 1 g and 100 kg; {unit} does not."
    _require("weight_unit", _THOUSANDTH <= in_kg <= 100 and unit.value < 10**6, sentence)
    whole = unit.value == unit.value.quantize(_THOUSANDTH)
    _require("weight_unit", whole, "A unit of weight has at most three decimals. Send it in a smaller unit.")


def _require(member: str, fits: object, sentence: str) -> None:
    if not fits:
        raise NotValid.at(member, code="out_of_range", detail=sentence)
