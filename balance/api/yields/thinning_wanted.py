"""What a vine is to carry, as sent: by a crop load, a yield of its own, or the yield of an area."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from balance.api.samples.samples_in import kilograms, weighed
from balance.api.yields.ground_in import ground, spacings
from balance.formulas.methods import Method, Working
from balance.formulas.yields.thinning import BY_AREA, BY_CROP_LOAD, BY_YIELD, VINE_KG, yield_by_crop_load
from balance.formulas.yields.thinning_steps import area_step, crop_load_step
from balance.yields.thinnings import ThinningQuestion
from records.errors import NotValid

_WANTS: Final = ("crop_load", "yield_per_vine", "yield_of_area")
_PRUNINGS_KG: Final = (0.0, 50.0)
#: Up to 100,000 t of an area, as a harvest record takes them.
_AREA_KG: Final = (0.0, 1e8)


def question_from(values: Mapping[str, Any]) -> ThinningQuestion | None:
    """Give a question in canonical numbers; None where no yield is wanted.

    Raises
    ------
    NotValid
        More than one yield is wanted, something that it needs is missing, or a value is none that a vine has.
    """
    wants = [name for name in _WANTS if name in values]
    if not wants:
        return None
    if len(wants) > 1:
        raise NotValid.at(wants[1], code="one_wanted", detail=f"Send exactly one of {', '.join(_WANTS)}.")
    if "cluster_weight" not in values:
        raise _needed("cluster_weight", wants[0])
    if "pruning_weight" in values:
        kilograms(values["pruning_weight"], _PRUNINGS_KG, "pruning_weight")
    method, wanted, steps = _WAYS[wants[0]](values)
    if not VINE_KG[0] <= wanted <= VINE_KG[1]:
        detail = f"That is {wanted:g} kg on one vine; it must lie between 0 and {VINE_KG[1]:g} kg. Check the units."
        raise NotValid.at(wants[0], code="out_of_range", detail=detail)
    return ThinningQuestion(
        method=method,
        wanted_kg=wanted,
        first_steps=steps,
        weight=weighed(values["cluster_weight"], "cluster_weight"),
        counted=values.get("clusters"),
        shoots=values.get("shoots"),
    )


_Wanted = tuple[Method, float, tuple[Working, ...]]


def _by_crop_load(values: Mapping[str, Any]) -> _Wanted:
    if "pruning_weight" not in values:
        raise _needed("pruning_weight", "crop_load")
    prunings, ratio = kilograms(values["pruning_weight"], _PRUNINGS_KG, "pruning_weight"), float(values["crop_load"])
    wanted = float(yield_by_crop_load([prunings], ratio)[0])
    return BY_CROP_LOAD, wanted, (crop_load_step(prunings, ratio, wanted),)


def _by_vine(values: Mapping[str, Any]) -> _Wanted:
    return BY_YIELD, kilograms(values["yield_per_vine"], VINE_KG, "yield_per_vine"), ()


def _by_area(values: Mapping[str, Any]) -> _Wanted:
    area = ground(values, "area")
    if area is None:
        raise _needed("area", "yield_of_area")
    total = kilograms(values["yield_of_area"], _AREA_KG, "yield_of_area")
    vines = _vines_on(values, area)
    return BY_AREA, total / vines, (area_step(total, vines, total / vines),)


def _vines_on(values: Mapping[str, Any], area_m2: float) -> float:
    if "bearing_vines" in values:
        return float(values["bearing_vines"])
    each_m = spacings(values)
    if each_m is None:
        raise _needed("bearing_vines", "yield_of_area")
    return area_m2 / (each_m[0] * each_m[1]) * (1 - float(values.get("missing_percent", 0)) / 100)


_WAYS: Final = {"crop_load": _by_crop_load, "yield_per_vine": _by_vine, "yield_of_area": _by_area}


def _needed(name: str, by: str) -> NotValid:
    more = " or vine_spacing and row_spacing" if name == "bearing_vines" else ""
    return NotValid.at(name, code="needed", detail=f"With {by} send {name}{more} as well.")
