"""How many vines stand on an area, from the spacing; and how long a row lies on a part of an acre."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from balance.formulas.counting import counted
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import READ, Method, Working
from balance.formulas.targets.explanation import plain

#: The international acre, 4840 square yards, exactly [m2].
ACRE_M2: Final = 4046.8564224
HECTARE_M2: Final = 10_000.0
#: Spacings of vines in the row and of rows, as a block may have them [m].
VINE_SPACING_M: Final = (0.3, 12.0)
ROW_SPACING_M: Final = (0.5, 12.0)
#: A millionth of a vine means nothing; rounding to it first makes feet and metres agree at a half.
_DECIMALS: Final = 6
ACRES: Final = "1/(4840.[syd_i])"
HECTARES: Final = "1/har"

METHOD: Final = Method(
    code="vines_by_spacing",
    version=1,
    label="Vines on an area from the spacing",
    expression="area ÷ (vine spacing × row spacing)",
    source="Dami, OSU/OARDC, How to estimate grape yields: 43,560 square feet ÷ (vine × row spacing)",
    mark=READ,
    note="Places, not plants: missing vines are subtracted beside it, every year. Headlands and alleys without rows "
    "count as planted; an outline of the rows alone is nearer.",
)


@dataclass(frozen=True)
class PlantingDensity:
    """How densely a block is planted.

    Attributes
    ----------
    vine_area_m2 : float
        Ground that one vine has [m2].
    per_acre, per_hectare : float
        Places for vines, before rounding to whole vines.
    """

    vine_area_m2: float
    per_acre: float
    per_hectare: float


def planting_density(vine_spacing_m: float, row_spacing_m: float) -> PlantingDensity:
    r"""Compute the places for vines on an acre and on a hectare.

    Parameters
    ----------
    vine_spacing_m, row_spacing_m : float
        From vine to vine in the row, 0.3 to 12 m; from row to row, 0.5 to 12 m.

    Returns
    -------
    PlantingDensity

    Raises
    ------
    OutOfRange
        A spacing lies outside these limits.

    Notes
    -----
    .. math:: n = A / (s_v\,s_r)

    with the acre of 43,560 square feet (international feet).

    References
    ----------
    .. [1] Dami, OSU/OARDC, "How to estimate grape yields" (READ).

    Examples
    --------
    >>> density = planting_density(6 * 0.3048, 9 * 0.3048)
    >>> round(density.per_acre, 2), whole_vines(density.per_acre)
    (806.67, 807)
    """
    _refuse("the spacing of vines in the row [m]", vine_spacing_m, VINE_SPACING_M)
    _refuse("the spacing of rows [m]", row_spacing_m, ROW_SPACING_M)
    each = vine_spacing_m * row_spacing_m
    return PlantingDensity(each, ACRE_M2 / each, HECTARE_M2 / each)


def whole_vines(vines: float) -> int:
    """Round a number of vines to the nearest whole one, a half upwards, as the printed tables do.

    Examples
    --------
    >>> whole_vines(806.6667), whole_vines(0.5)
    (807, 1)
    """
    return math.floor(round(vines, _DECIMALS) + 0.5)


def row_length_on(area_m2: float, row_spacing_m: float) -> float:
    r"""Compute the length of row that lies on an area: what is picked clean to weigh a part of an acre.

    Parameters
    ----------
    area_m2 : float
        Above 0, up to 1e8 [m2]; a hundredth of an acre is 40.468564224.
    row_spacing_m : float
        From row to row, 0.5 to 12 m.

    Returns
    -------
    float
        [m]

    Raises
    ------
    OutOfRange

    Notes
    -----
    .. math:: l = A / s_r

    For a hundredth of an acre in feet: 435.6 ÷ row spacing. One chart prints 45.9 ft for rows of 10 ft; that is the
    length for rows of 9.5 ft, and 10 ft rows have 43.56 ft [1]_.

    References
    ----------
    .. [1] Lake Erie Regional Grape Program, Using the Concord estimation chart (READ; its print at 10 ft is in error,
       COMPUTED).

    Examples
    --------
    >>> [round(row_length_on(ACRE_M2 / 100, feet * 0.3048) / 0.3048, 2) for feet in (7.5, 9.5, 10)]
    [58.08, 45.85, 43.56]
    """
    _refuse("the area [m2]", area_m2, (1e-6, 1e8))
    _refuse("the spacing of rows [m]", row_spacing_m, ROW_SPACING_M)
    return area_m2 / row_spacing_m


def density_steps(density: PlantingDensity) -> list[Working]:
    """Give the steps from the ground of one vine to the vines on an acre and a hectare.

    Examples
    --------
    >>> [step.calculation for step in density_steps(planting_density(2, 3))]
    ['vine spacing × row spacing = 6 m2', '4046.8564 m2 ÷ 6 m2 = 674.4761 → 674', '10000 m2 ÷ 6 m2 = 1666.6667 → 1667']
    """
    each = plain(density.vine_area_m2)
    return [
        Working(
            "ground of one vine",
            f"One vine has {each} m2 of ground.",
            f"vine spacing × row spacing = {each} m2",
            density.vine_area_m2,
            "m2",
        ),
        _on("acre", ACRE_M2, density.per_acre, each, ACRES),
        _on("hectare", HECTARE_M2, density.per_hectare, each, HECTARES),
    ]


def _on(name: str, area_m2: float, vines: float, each: str, unit: str) -> Working:
    whole = whole_vines(vines)
    calculation = f"{plain(area_m2)} m2 ÷ {each} m2 = {plain(vines)} → {whole}"
    return Working(
        f"vines on the {name}", f"On one {name} there is room for {counted(whole, 'vine')}.", calculation, vines, unit
    )


def _refuse(quantity: str, value: float, limits: tuple[float, float]) -> None:
    if not limits[0] <= round(value, 9) <= limits[1]:
        raise OutOfRange(quantity, value, *limits)
