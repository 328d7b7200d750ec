"""What a farm or program may say of a range of its own: limits of one measure, in the measure's unit."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from records.errors import NotValid
from records.models import Measure
from records.models.ranges import UNIT_OF
from records.services.own_formulas import check_for_whom
from records.units import UNITS, Quantity, UnitError, canonical_code, from_canonical, to_canonical

#: Limits are kept to five decimals of the measure's unit.
_KEPT: Final = Decimal("0.00001")
MOST: Final = Decimal(1_000_000)

_UNSAID: Final[Mapping[str, Any]] = {
    **dict.fromkeys(("low", "high", "group", "cultivar", "year")),
    **dict.fromkeys(("use", "canopy", "region", "note"), ""),
}


def range_columns(told: Mapping[str, Any]) -> dict[str, Any]:
    """Give the columns of a range from what was told, all of them, with its limits in the unit of its measure.

    Raises
    ------
    NotValid
        There is no limit, the limits are turned round or out of bounds, or the unit is not one of the measure's.
    """
    columns = {**_UNSAID, **told}
    check_for_whom(columns)
    measure, unit = Measure(columns["measure"]), columns["unit"]
    if columns["low"] is None and columns["high"] is None:
        raise NotValid.at("low", code="no_limit", detail="Send a lower limit, an upper limit, or both.")
    for side in ("low", "high"):
        if columns[side] is not None:
            columns[side] = _limit(measure, side, columns[side], unit)
    if None not in (columns["low"], columns["high"]) and columns["low"] > columns["high"]:
        raise NotValid.at("low", code="out_of_range", detail="The lower limit exceeds the upper. Turn them round.")
    return {**columns, "unit": UNIT_OF[measure]}


def units_of(measure: Measure) -> list[str]:
    """Give the codes of the units in which a range of this measure may be sent, its own first."""
    own = UNIT_OF[measure]
    dimension = _dimension_of(own)
    return [own, *(code for code, unit in UNITS.items() if unit.dimension == dimension and code != own)]


def _dimension_of(unit: str) -> str | None:
    """Give what a unit measures; the service converts no quotients such as kg/m, so of those it knows none."""
    return UNITS[unit].dimension if unit in UNITS else None


def _limit(measure: Measure, side: str, value: Decimal, unit: str) -> Decimal:
    own = UNIT_OF[measure]
    limit = value if unit == own else _converted(measure, side, Quantity(value, unit)).quantize(_KEPT)
    if not 0 <= limit <= MOST:
        raise NotValid.at(side, code="out_of_range", detail=f"A limit lies between 0 and {MOST:,} {own}.")
    return limit


def _converted(measure: Measure, side: str, sent: Quantity) -> Decimal:
    own = UNIT_OF[measure]
    dimension = _dimension_of(own)
    if dimension is not None:
        try:
            return from_canonical(to_canonical(Quantity(sent.value, canonical_code(sent.unit)), dimension), own)
        except UnitError as error:
            if error.member == "value":
                raise NotValid.at(side, code=error.code, detail=str(error)) from error
    known = ", ".join(f"'{code}'" for code in units_of(measure))
    sentence = f"A range of {measure.value} is sent in {known}, not in {sent.unit[:20]!r}. Convert it first."
    raise NotValid.at("unit", code="unit_dimension_mismatch", detail=sentence)
