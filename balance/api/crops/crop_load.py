"""The crop load and vine size of whatever is sent, for anybody; nothing is stored."""

from __future__ import annotations

from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.crops.crop_answers import DIMENSIONS, EXAMPLE, CropLoadOut, shown
from balance.crops.crop_questions import MEASURES, CropQuestion, figures_of
from balance.formulas.crops.crop_load import WrongPairing
from balance.formulas.crops.vine_size import MOST_CANOPIES
from balance.models import Level
from balance.ranges import AssignedRange, range_of_cultivar
from records.api.fields import (
    AreaIn,
    LengthIn,
    MassIn,
    QuantitySerializer,
    RangeField,
    cultivar_field,
    cultivar_group_field,
)
from records.api.strict import StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import OpenView
from records.errors import NotValid
from records.models import Measure
from records.models.ranges import Canopy
from records.models.vineyards import Use
from records.units import CANONICAL, Quantity, to_canonical

#: The most that is taken of each quantity, in canonical units: a block of a thousand hectares has less.
_MOST: Final = {
    "yield": 10**8,
    "pruning_weight": 10**7,
    "row_length": 10**7,
    "leaf_area": 10**8,
    "soluble_solids": 60,
}
_COUNT: Final[dict[str, Any]] = {"min_value": 0, "max_value": 100_000_000, "required": False, "allow_null": True}
_ASKED: Final = {
    "yield": {"value": 23, "unit": "[lb_av]"},
    "yield_season": 2026,
    "pruning_weight": {"value": 2.3, "unit": "[lb_av]"},
    "pruning_season": 2027,
    "row_length": {"value": 8, "unit": "[ft_i]"},
    "canopies": 1,
    "cane_count": 48,
    "soluble_solids": {"value": 16.2, "unit": "{Brix}"},
    "cultivar": "concord",
    "use": "juice",
}


class CropLoadQuestion(StrictSerializer):
    """A crop and the prunings of the dormant season after it, and what else was measured on the same vines."""

    pruning_weight = MassIn(allow_null=True, help_text="One-year-old wood cut from the same vines. Null: not weighed.")
    yield_season = StrictIntegerField(
        min_value=1900, max_value=2100, required=False, allow_null=True, help_text="Calendar year of the harvest."
    )
    pruning_season = StrictIntegerField(
        min_value=1900,
        max_value=2101,
        required=False,
        allow_null=True,
        help_text="Season of the dormant record: the year of the harvest after that winter, so yield_season + 1.",
    )
    row_length = LengthIn(
        required=False, allow_null=True, help_text="Length of row, or of cordon, that the vines stand on."
    )
    canopies = StrictIntegerField(
        min_value=1,
        max_value=MOST_CANOPIES,
        required=False,
        help_text="Curtains of leaves on it: 2 where the canopy is divided; 1 unless said.",
    )
    cane_count = StrictIntegerField(**_COUNT, help_text="All one-year-old canes before the cut.")
    count_shoots = StrictIntegerField(**_COUNT, help_text="Shoots that grew from count nodes.")
    leaf_area = AreaIn(required=False, allow_null=True, help_text="Of all leaves, one side.")
    soluble_solids = QuantitySerializer(
        dimension="soluble_solids", required=False, allow_null=True, help_text="Of the juice at harvest."
    )
    range = RangeField(
        required=False, help_text="Code from /ranges for the figure of its measure; `code@version` names a version."
    )
    cultivar = cultivar_field(required=False, help_text="Its ranges, else its group's, are held against the figures.")
    cultivar_group = cultivar_group_field(required=False, help_text="Its ranges are held against the figures.")
    use = serializers.ChoiceField(
        choices=Use.choices, required=False, help_text="What the fruit is grown for: most ranges hold for one use."
    )

    def get_fields(self) -> dict[str, Any]:
        """Put the yield first: its name is a word of Python."""
        crop = MassIn(allow_null=True, help_text="All fruit of the same vines. Null: not weighed.")
        return {"yield": crop, **super().get_fields()}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        for name, most in _MOST.items():
            sent, dimension = attrs.get(name), DIMENSIONS[name]
            if sent is not None and not 0 <= to_canonical(sent, dimension) <= most:
                between = f"between 0 and {most:,} {CANONICAL[dimension]}"
                raise serializers.ValidationError(
                    {name: [f"{sent} is not {between}. Check the unit."]}, code="out_of_range"
                )
        return attrs


class StatelessCropLoad(OpenView):
    """One crop load, stored nowhere."""

    serializer_class = CropLoadOut

    @extend_schema(
        summary="Compute crop load and vine size without storing anything",
        description="Yield over the prunings of the dormant season that follows, and, where they were measured, "
        "prunings for each metre of canopy and of row, mean cane weight, leaf area for each kg of crop, leaf area and "
        "shoots for each metre of canopy. Both sides are of the same vines: one vine, a row or a block. A pairing of "
        "other seasons is refused. Verdicts only where a range is assigned: by `range`, or by cultivar or group and "
        "use.",
        request=CropLoadQuestion,
        responses=CropLoadOut,
        tags=["crop load and vine size"],
        examples=[
            OpenApiExample("23 lb of Concord over 2.3 lb of prunings", value=_ASKED, request_only=True),
            OpenApiExample("10 : 1, within its range", value=EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = CropLoadQuestion(data=request.data)
        sent.is_valid(raise_exception=True)
        values: dict[str, Any] = sent.validated_data
        if values.get("cultivar") and values.get("cultivar_group"):
            raise NotValid.at(
                "cultivar_group", code="cultivar_or_group", detail="Send cultivar or cultivar_group, not both."
            )
        question = _question(values)
        try:
            found = figures_of(question)
        except WrongPairing as error:
            raise NotValid.at("pruning_season", code="wrong_pairing", detail=str(error)) from error
        return Response(shown(question, found, _ranges(values, question), values))


def _question(values: dict[str, Any]) -> CropQuestion:
    return CropQuestion(
        yield_kg=_canonical(values, "yield"),
        pruning_kg=_canonical(values, "pruning_weight"),
        yield_season=values.get("yield_season"),
        pruning_season=values.get("pruning_season"),
        row_length_m=_canonical(values, "row_length"),
        canopies=values.get("canopies", 1),
        canes=values.get("cane_count"),
        count_shoots=values.get("count_shoots"),
        leaf_area_m2=_canonical(values, "leaf_area"),
    )


def _canonical(values: dict[str, Any], name: str) -> float | None:
    sent: Quantity | None = values.get(name)
    return None if sent is None else float(to_canonical(sent, DIMENSIONS[name]))


def _ranges(values: dict[str, Any], question: CropQuestion) -> dict[str, dict[str, Any]]:
    """Give the range of every measure that has one, as answers show it."""
    named = values.get("range")
    measures = [*MEASURES, Measure.SOLUBLE_SOLIDS]
    if named is not None and named.measure not in measures:
        raise NotValid.at(
            "range",
            code="other_measure",
            detail=f"{named.code} is a range of {named.measure}, which is not among the figures here.",
        )
    canopy = Canopy.DIVIDED if question.canopies > 1 else Canopy.SINGLE
    ranges = {}
    for measure in measures:
        assigned = range_of_cultivar(
            values.get("cultivar"), values.get("cultivar_group"), measure, values.get("use", ""), canopy
        )
        if named is not None and named.measure == measure:
            assigned = AssignedRange(named, Level.REQUEST)
        if assigned is not None:
            ranges[str(measure)] = assigned.shown()
    return ranges
