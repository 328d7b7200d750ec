"""The units that a report is written in: canonical values in, values and what to call their units out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from balance.reports.models import UnitSystem
from records.units import UNITS

_POUND: Final = float(UNITS["[lb_av]"].factor)
_FOOT: Final = float(UNITS["[ft_i]"].factor)
_ACRE: Final = float(UNITS["4840.[syd_i]"].factor)
_HECTARE: Final = float(UNITS["har"].factor)


@dataclass(frozen=True)
class Measure:
    """One kind of quantity as a system writes it: the unit's name, one of it in canonical units, decimals shown."""

    unit: str
    factor: float
    digits: int

    def of(self, canonical: float | None) -> float | None:
        """Convert a canonical value; what is not known stays so, and twelve digits are more than any scale shows."""
        return None if canonical is None else float(f"{canonical / self.factor:.12g}")


@dataclass(frozen=True)
class Units:
    """One system of units."""

    system: str
    vine_weight: Measure
    cane_weight: Measure
    berry_weight: Measure
    length: Measure
    weight_per_length: Measure
    block_yield: Measure
    yield_per_area: Measure
    area: Measure


METRIC: Final = Units(
    UnitSystem.METRIC,
    vine_weight=Measure("kg", 1, 2),
    cane_weight=Measure("g", 0.001, 0),
    berry_weight=Measure("g", 0.001, 2),
    length=Measure("m", 1, 2),
    weight_per_length=Measure("kg/m", 1, 2),
    block_yield=Measure("kg", 1, 0),
    yield_per_area=Measure("t/ha", 1000 / _HECTARE, 1),
    area=Measure("ha", _HECTARE, 2),
)
US: Final = Units(
    UnitSystem.US,
    vine_weight=Measure("lb", _POUND, 2),
    cane_weight=Measure("oz", _POUND / 16, 2),
    berry_weight=Measure("oz", _POUND / 16, 3),
    length=Measure("ft", _FOOT, 1),
    weight_per_length=Measure("lb/ft", _POUND / _FOOT, 2),
    block_yield=Measure("lb", _POUND, 0),
    yield_per_area=Measure("short tons/acre", 2000 * _POUND / _ACRE, 1),
    area=Measure("acres", _ACRE, 2),
)


def units_of(system: str) -> Units:
    """Give a system of units by its name."""
    return US if system == UnitSystem.US else METRIC
