"""Units of what is weighed and measured: UCUM codes with exact factors, converted once, at the edge.

A quantity keeps its value and unit as sent; beside it stands the canonical value (kg, m, m2), which is
exact: no conversion here rounds, and nothing converted is ever written back.  Codes are those of UCUM 2.2
(https://ucum.org/ucum); the international pound is 0.45359237 kg and the inch 2.54 cm exactly (NIST SP 811,
appendix B).  An acre is the international one, 4840 square yards, which UCUM writes ``4840.[syd_i]``: the United
States gave the survey foot up after 2022 (85 FR 62698), and the survey acre ``[acr_us]`` is no finite decimal.  The
tests hold every factor to pint and, where it parses the code, to ucumvert.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Context, Decimal
from typing import Final

_POUND = Decimal("0.45359237")
_FOOT = Decimal("0.3048")
#: Products of 15 digits with the longest factor stay exact in this many digits.
_EXACT = Context(prec=60)
#: How alike a word must be before it is offered: a wrong guess is worse than none.
_ALIKE: Final = 0.65
MOST_DIGITS: Final = 15
MOST_DECIMALS: Final = 12


@dataclass(frozen=True)
class Unit:
    """One unit: its UCUM code, its name, what it measures, and one of it in the canonical unit."""

    code: str
    name: str
    dimension: str
    factor: Decimal


CANONICAL: Final = {"mass": "kg", "length": "m", "area": "m2", "soluble_solids": "{Brix}", "acidity": "g/L"}

#: The column that holds the canonical value of a dimension is named after this.
SUFFIX: Final = {
    "mass": "kg",
    "length": "m",
    "area": "m2",
    "soluble_solids": "brix",
    "acidity": "g_per_l",
}

_UNITS: Final = (
    Unit("kg", "kilogram", "mass", Decimal(1)),
    Unit("g", "gram", "mass", Decimal("0.001")),
    Unit("mg", "milligram", "mass", Decimal("0.000001")),
    Unit("t", "metric ton", "mass", Decimal(1000)),
    Unit("[lb_av]", "pound", "mass", _POUND),
    Unit("[oz_av]", "ounce", "mass", _POUND / 16),
    Unit("[ston_av]", "short ton", "mass", _POUND * 2000),
    Unit("[lton_av]", "long ton", "mass", _POUND * 2240),
    Unit("m", "metre", "length", Decimal(1)),
    Unit("cm", "centimetre", "length", Decimal("0.01")),
    Unit("mm", "millimetre", "length", Decimal("0.001")),
    Unit("[in_i]", "inch", "length", _FOOT / 12),
    Unit("[ft_i]", "foot", "length", _FOOT),
    Unit("m2", "square metre", "area", Decimal(1)),
    Unit("har", "hectare", "area", Decimal(10_000)),
    Unit("[sft_i]", "square foot", "area", _FOOT * _FOOT),
    Unit("4840.[syd_i]", "international acre", "area", 4840 * 9 * _FOOT * _FOOT),
    # UCUM has no unit for degrees Brix; a braced word is its way of naming what a bare number counts.
    Unit("{Brix}", "degree Brix", "soluble_solids", Decimal(1)),
    Unit("g/(100.g)", "gram of soluble solids in 100 g of juice", "soluble_solids", Decimal(1)),
    Unit("g/L", "gram a litre", "acidity", Decimal(1)),
    Unit("g/dL", "gram in 100 mL", "acidity", Decimal(10)),
)
UNITS: Final = {unit.code: unit for unit in _UNITS}

#: Words that can mean one unit only. "ton" is not among them.
_ALIASES: Final = {
    "lb": "[lb_av]", "lbs": "[lb_av]", "pound": "[lb_av]", "pounds": "[lb_av]",
    "oz": "[oz_av]", "ounce": "[oz_av]", "ounces": "[oz_av]",
    "in": "[in_i]", "inch": "[in_i]", "inches": "[in_i]",
    "ft": "[ft_i]", "foot": "[ft_i]", "feet": "[ft_i]",
    "kilogram": "kg", "kilograms": "kg", "gram": "g", "grams": "g",
    "tonne": "t", "tonnes": "t", "metric ton": "t", "metric tons": "t",
    "brix": "{Brix}", "Brix": "{Brix}", "g/l": "g/L", "g/(100.mL)": "g/dL",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m", "hectare": "har", "hectares": "har", "ha": "har",
    "acre": "4840.[syd_i]", "acres": "4840.[syd_i]",
}  # fmt: skip
#: UCUM codes that are left out, each with the way out.
_LEFT_OUT: Final = {
    "[acr_us]": "'[acr_us]' is the acre of old surveys, which no decimal number of square metres equals. Write 'acre' "
    "for the international acre, code 4840.[syd_i], 4046.8564224 m2 and 4 parts in a million smaller; or 'har'."
}
_AMBIGUOUS: Final = {"ton": ("t", "[ston_av]", "[lton_av]"), "tons": ("t", "[ston_av]", "[lton_av]")}


class UnitError(ValueError):
    """A quantity cannot be understood; ``member`` says whether its value or its unit is at fault."""

    code = "invalid"
    member = "unit"


class UnknownUnit(UnitError):
    """The unit is not one that the service knows."""

    code = "unknown_unit"


class AmbiguousUnit(UnitError):
    """The word stands for several units."""

    code = "ambiguous_unit"


class WrongDimension(UnitError):
    """The unit measures something else than what is asked for."""

    code = "unit_dimension_mismatch"


class TooPrecise(UnitError):
    """The number has more digits than any scale or tape shows."""

    code = "too_many_digits"
    member = "value"


@dataclass(frozen=True)
class Quantity:
    """A measured value with its UCUM unit, exactly as sent."""

    value: Decimal
    unit: str

    def __str__(self) -> str:
        """As a person writes it.

        >>> str(Quantity(Decimal("0E-12"), "m")), str(Quantity(Decimal("1E+3"), "kg"))
        ('0 m', '1000 kg')
        """
        return f"{self.value.normalize():f} {self.unit}"


def canonical_code(written: str) -> str:
    """Give the UCUM code of a unit as somebody wrote it.

    Raises
    ------
    AmbiguousUnit
        The word stands for several units, as "ton" does.
    UnknownUnit
        No unit is written like this; the message names the nearest.

    Examples
    --------
    >>> canonical_code("lb"), canonical_code("kg")
    ('[lb_av]', 'kg')
    """
    word = written.strip()
    if word in UNITS:
        return word
    if word.lower() in _AMBIGUOUS:
        choices = ", ".join(f"{code} ({UNITS[code].name})" for code in _AMBIGUOUS[word.lower()])
        raise AmbiguousUnit(f"{written!r} can mean several units. Write one of: {choices}.")
    if word in _ALIASES:
        return _ALIASES[word]
    raise UnknownUnit(_LEFT_OUT.get(word) or _unknown(written, word))


def _unknown(written: str, word: str) -> str:
    names = [*UNITS, *_ALIASES]
    near = difflib.get_close_matches(word.lower().strip(". "), names, n=1, cutoff=_ALIKE)
    code = _ALIASES.get(near[0], near[0]) if near else ""
    hint = f" Did you mean {code!r}?" if code else ""
    return f"{written!r} is no unit that the service knows.{hint} The list is at /api/v1/units."


def to_canonical(quantity: Quantity, dimension: str) -> Decimal:
    """Convert to the canonical unit of a dimension, exactly.

    Parameters
    ----------
    quantity : Quantity
        Value as sent, at most 15 significant digits and 12 decimals.
    dimension : {"mass", "length", "area", "soluble_solids", "acidity"}
        What must have been measured.

    Returns
    -------
    Decimal
        Kilograms, metres, square metres, degrees Brix or g/L; no digit is rounded.

    Raises
    ------
    UnknownUnit, AmbiguousUnit, WrongDimension, TooPrecise

    Examples
    --------
    >>> to_canonical(Quantity(Decimal("2.8"), "[lb_av]"), "mass")
    Decimal('1.270058636')
    """
    unit = UNITS[canonical_code(quantity.unit)]
    if unit.dimension != dimension:
        right = ", ".join(code for code, each in UNITS.items() if each.dimension == dimension)
        raise WrongDimension(f"{unit.code!r} measures {unit.dimension}, not {dimension}. Use one of: {right}.")
    _check_digits(quantity.value)
    return _EXACT.multiply(quantity.value, unit.factor)


def _check_digits(value: Decimal) -> None:
    _, written, exponent = value.as_tuple()
    if not isinstance(exponent, int):
        raise TooPrecise(f"{value} is not a number that can be measured.")
    digits = "".join(map(str, written)).rstrip("0")  # normalize() would round what is too long to refuse
    exponent = exponent + len(written) - len(digits) if digits else 0
    if len(digits) > MOST_DIGITS or len(digits) + exponent > MOST_DIGITS or -exponent > MOST_DECIMALS:
        raise TooPrecise(
            f"{value} has too many digits: at most {MOST_DIGITS} in all and {MOST_DECIMALS} after the point."
        )


def columns_of_quantity(name: str, quantity: Quantity | None, dimension: str) -> dict[str, Decimal | str | None]:
    """Give the three columns of a quantity: value and unit as sent, and the exact canonical value; empty without one.

    Examples
    --------
    >>> columns_of_quantity("creep", Quantity(Decimal(10), "cm"), "length")
    {'creep_value': Decimal('10'), 'creep_unit': 'cm', 'creep_m': Decimal('0.10')}
    """
    exact = to_canonical(quantity, dimension) if quantity else None
    value, unit = (quantity.value, quantity.unit) if quantity else (None, None)
    return {f"{name}_value": value, f"{name}_unit": unit, f"{name}_{SUFFIX[dimension]}": exact}


def from_canonical(canonical: Decimal, unit: str) -> Decimal:
    """Convert from the canonical unit to another, to 28 significant digits, for display only.

    Examples
    --------
    >>> from_canonical(Decimal("1.270058636"), "[lb_av]")
    Decimal('2.8')
    """
    return canonical / UNITS[canonical_code(unit)].factor


def listed() -> Iterator[dict[str, object]]:
    """Give every unit with its exact factor, for the list that clients read."""
    for unit in _UNITS:
        yield {
            "code": unit.code,
            "name": unit.name,
            "dimension": unit.dimension,
            "canonical": CANONICAL[unit.dimension],
            "factor": unit.factor,
        }
