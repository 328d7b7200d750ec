"""Ground as sent: an area, the spacing of vines and of rows, and what follows from them."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from balance.formulas.yields.planting_density import ROW_SPACING_M, VINE_SPACING_M
from records.errors import NotValid
from records.units import Quantity, to_canonical

#: One square metre to 10,000 hectares, as a block's own area.
AREA_M2: Final = (1.0, 1e8)
_LIMITS: Final = {
    "vine_spacing": ("length", VINE_SPACING_M, "m"),
    "row_spacing": ("length", ROW_SPACING_M, "m"),
    "area": ("area", AREA_M2, "m2"),
}


def ground(values: Mapping[str, Any], name: str) -> float | None:
    """Give ``vine_spacing``, ``row_spacing`` [m] or ``area`` [m2] as sent; None where it was not.

    Raises
    ------
    NotValid
        It lies outside what a block has.
    """
    quantity: Quantity | None = values.get(name)
    if quantity is None:
        return None
    dimension, (low, high), unit = _LIMITS[name]
    exactly = to_canonical(quantity, dimension)
    if not Decimal(str(low)) <= exactly <= Decimal(str(high)):
        detail = f"{quantity} lies outside {low:g} to {high:g} {unit}. Check the unit."
        raise NotValid.at(name, code="out_of_range", detail=detail)
    return float(exactly)


def spacings(values: Mapping[str, Any]) -> tuple[float, float] | None:
    """Give the spacing of vines and of rows [m]; None where neither was sent.

    Raises
    ------
    NotValid
        One was sent without the other, or lies outside what a block has.
    """
    vine, row = ground(values, "vine_spacing"), ground(values, "row_spacing")
    if vine is None and row is None:
        return None
    if vine is None or row is None:
        missing = "vine_spacing" if vine is None else "row_spacing"
        raise NotValid.at(missing, code="both_spacings", detail="Send vine_spacing and row_spacing together.")
    return vine, row
