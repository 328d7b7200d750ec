"""How many vines stand on an area, from the spacing, for anybody."""

from __future__ import annotations

from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.api.yields.ground_in import ground, spacings
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain, symbol
from balance.formulas.yields.planting_density import (
    ACRE_M2,
    ACRES,
    HECTARES,
    METHOD,
    density_steps,
    planting_density,
    row_length_on,
    whole_vines,
)
from records.api.fields import AreaIn, LengthIn
from records.api.strict import StrictQuery, StrictSerializer
from records.api.views import OpenView
from records.units import UNITS, Quantity

NO_AREA: Final = "No area was sent."
_FOOT: Final = "[ft_i]"
_ASKED_FOR: Final = {"vine_spacing": "m", "row_spacing": "m", "area": "m2"}
_ASKED: Final[dict[str, dict[str, Any]]] = {
    "vine_spacing": {"value": 6, "unit": _FOOT},
    "row_spacing": {"value": 9, "unit": _FOOT},
}


class DensityQuestion(StrictSerializer):
    """The spacing of vines and rows, and an area where one is meant."""

    vine_spacing = LengthIn(help_text="From vine to vine in the row, 0.3 to 12 m.")
    row_spacing = LengthIn(help_text="From row to row, 0.5 to 12 m.")
    area = AreaIn(required=False, allow_null=True, help_text="1 m2 to 10,000 ha.")


class DensityOut(ComputedOut):
    """Places for vines by the spacing; missing vines are not subtracted here."""

    vine_area = FigureOut(help_text="Ground of one vine [m2].")
    vines_per_acre = FigureOut(help_text="To the nearest whole vine.")
    vines_per_acre_unrounded = serializers.FloatField()
    vines_per_hectare = FigureOut(help_text="To the nearest whole vine.")
    vines_per_hectare_unrounded = serializers.FloatField()
    vines_on_area = FigureOut(help_text="To the nearest whole vine.")
    row_length_of_hundredth_acre = FigureOut(
        help_text="Row to pick clean for 1/100 of an acre, in the unit of row_spacing."
    )


def answer_to(values: dict[str, Any]) -> dict[str, Any]:
    """Give the whole answer to spacings as sent.

    Raises
    ------
    NotValid
    """
    each_m = spacings(values)
    area = ground(values, "area")
    assert each_m is not None  # noqa: S101 - both are required
    density = planting_density(*each_m)
    row_spacing: Quantity = values["row_spacing"]
    length = row_length_on(ACRE_M2 / 100, each_m[1]) / float(UNITS[row_spacing.unit].factor)
    steps = [*density_steps(density), _row_step(length, row_spacing)]
    return {
        **computed(METHOD, [given(name, values.get(name), unit) for name, unit in _ASKED_FOR.items()], steps),
        "vine_area": figure(density.vine_area_m2, "m2"),
        "vines_per_acre": figure(whole_vines(density.per_acre), ACRES),
        "vines_per_acre_unrounded": density.per_acre,
        "vines_per_hectare": figure(whole_vines(density.per_hectare), HECTARES),
        "vines_per_hectare_unrounded": density.per_hectare,
        "vines_on_area": figure(
            whole_vines(area / density.vine_area_m2) if area else None, "1", reason=None if area else NO_AREA
        ),
        "row_length_of_hundredth_acre": figure(length, row_spacing.unit),
    }


def _row_step(length: float, row_spacing: Quantity) -> Working:
    unit, factor = symbol(row_spacing.unit), float(UNITS[row_spacing.unit].factor)
    ground_of_it = plain(ACRE_M2 / 100 / factor**2)
    return Working(
        "row on a hundredth of an acre",
        f"A hundredth of an acre is {ground_of_it} {unit}²: {plain(length)} {unit} of row lie on it.",
        f"{ground_of_it} {unit}² ÷ {plain(row_spacing.value)} {unit} = {plain(length)} {unit}",
        length,
        row_spacing.unit,
    )


def _example() -> dict[str, Any]:
    asked = DensityQuestion(data=_ASKED)
    asked.is_valid(raise_exception=True)
    return answer_to(asked.validated_data)


class PlantingDensity(OpenView):
    """Vines on an area, stored nowhere."""

    serializer_class = DensityOut

    @extend_schema(
        summary="Compute vines an acre and a hectare from the spacing",
        description="Places for vines on an acre of 43,560 square feet, on a hectare and on an area of yours; and the "
        "length of row that lies on a hundredth of an acre, which is picked clean to weigh it.",
        request=DensityQuestion,
        responses=DensityOut,
        tags=["yield and thinning"],
        examples=[
            OpenApiExample("6 by 9 feet", value=_ASKED, request_only=True),
            OpenApiExample("807 vines an acre", value=_example(), response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = DensityQuestion(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(answer_to(sent.validated_data))
