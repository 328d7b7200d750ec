"""The eyes of a farm's pruners held against the scale, from what they guessed before they weighed."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from decimal import Decimal
from typing import Any, Final

from django.urls import path
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.advice import CAUTIONS
from balance.api.figures import MethodOut
from balance.api.guesses.calibration_answers import CalibrationOut, Tolerance, calibration_shown
from balance.api.guesses.pruner_calibration import EXAMPLE as OF_PAIRS
from balance.api.guesses.pruner_calibration import StatelessCalibration, stated_tolerance
from balance.api.statistics import UNITS
from balance.formulas.guesses.calibration import AGREEMENT
from balance.pruner_guesses import MOST_PRUNERS, Guesses, GuessesOfSeason, guesses_of
from records.api.fields import FormulaField
from records.api.parameters import SEASON, text_of
from records.api.strict import StrictCharField, StrictDecimalField, StrictIntegerField, StrictQuery
from records.api.views import FarmView

LONGEST_PRUNER: Final = 60
_PERCENT: Final = {"type": "string", "pattern": r"^(100(\.0{1,6})?|[0-9]{1,2}(\.[0-9]{1,6})?)$"}
_FORMULA: Final = {"type": "string", "maxLength": 60, "pattern": r"^[A-Za-z0-9][A-Za-z0-9_.-]*(@[1-9][0-9]{0,3})?$"}
_EXAMPLE: Final[dict[str, Any]] = {
    "season": 2027,
    "unit": "[lb_av]",
    "method": OF_PAIRS["method"],
    "without_pruner": 2,
    "left_out": False,
    "reason": None,
    "cautions": list(CAUTIONS),
    "results": [
        {
            "pruner": "TR",
            "season": 2027,
            **{name: OF_PAIRS[name] for name in map(str, CalibrationOut().fields)},
        }
    ],
}


class PrunerOut(CalibrationOut):
    """What one pruner's guesses of one season say."""

    pruner = serializers.CharField(help_text="The farm's short name for them.")
    season = serializers.IntegerField()


class PrunersOut(serializers.Serializer[Any]):
    """The pruners of a farm in one season, each by themselves."""

    season = serializers.IntegerField(allow_null=True, help_text="Null: nobody ever guessed and weighed.")
    unit = serializers.CharField(help_text="UCUM code of the weights in this answer.")
    method = MethodOut()
    without_pruner = serializers.IntegerField(
        help_text="Vines guessed and weighed without saying by whom; they count for nobody."
    )
    left_out = serializers.BooleanField(help_text=f"Whether there are more than {MOST_PRUNERS} pruners; ask by name.")
    reason = serializers.CharField(allow_null=True, help_text="Why there is nobody.")
    cautions = serializers.ListField(child=serializers.CharField())
    results = PrunerOut(many=True)


class PrunerCalibration(FarmView):
    """The calibration of a farm's pruners."""

    serializer_class = PrunersOut
    pagination_class = None

    @extend_schema(
        summary="Hold the guesses of a farm's pruners against the scale",
        description="For each pruner of one season: bias and spread of what was guessed before weighing "
        "(`guessed_weight` against `pruning_weight` of the dormant records), whether the eye can stand in for the "
        "scale within a tolerance that you state, and how many more weighings it takes to tell. Below three pairs "
        "there is a reason and no number.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest with a guess."),
            OpenApiParameter("pruner", text_of(LONGEST_PRUNER), description="Only this pruner."),
            OpenApiParameter(
                "tolerance_percent", _PERCENT, description="How far off a guess may be [% of the weight]."
            ),
            OpenApiParameter(
                "tolerance_nodes",
                {"type": "integer", "minimum": 1, "maximum": 100},
                description="Or what it may be worth by `formula` [nodes].",
            ),
            OpenApiParameter("formula", _FORMULA, description="Code from /formulas, with tolerance_nodes."),
            OpenApiParameter("unit", str, enum=UNITS, description="Unit of the answer; kg unless said."),
        ],
        responses=PrunersOut,
        tags=["dormant records"],
        examples=[OpenApiExample("One pruner, four vines", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            pruner=StrictCharField(max_length=LONGEST_PRUNER),
            tolerance_percent=StrictDecimalField(
                max_digits=27, decimal_places=12, min_value=Decimal("0.1"), max_value=100
            ),
            tolerance_nodes=StrictIntegerField(min_value=1, max_value=100),
            formula=FormulaField(),
            unit=serializers.ChoiceField(choices=UNITS),
        )
        tolerance = stated_tolerance(query)
        found = guesses_of(self.opened, query.get("season"), query.get("pruner"))
        return Response(PrunersOut(_answer(found, tolerance, query.get("unit", "kg"))).data)


def _answer(found: GuessesOfSeason, tolerance: Tolerance | None, unit: str) -> dict[str, Any]:
    return {
        "season": found.season,
        "unit": unit,
        "method": asdict(AGREEMENT),
        "without_pruner": found.without_pruner,
        "left_out": found.left_out,
        "reason": None if found.guesses else _nobody(found.season),
        "cautions": list(CAUTIONS),
        "results": [_pruner(each, tolerance, unit) for each in found.guesses],
    }


def _nobody(season: int | None) -> str:
    when = f" in season {season}" if season else ""
    return (
        f"No record{when} says who guessed a weight before weighing. Send pruner, guessed_weight and pruning_weight "
        "with a dormant record."
    )


def _pruner(guesses: Guesses, tolerance: Tolerance | None, unit: str) -> dict[str, Any]:
    shown = calibration_shown(guesses.differences, guesses.percent, tolerance, unit)
    return {"pruner": guesses.pruner, "season": guesses.season, **shown}


ADDRESSES = [
    path("balance/pruner-calibration", StatelessCalibration.as_view(), name="stateless-pruner-calibration"),
    path("farms/<uuid:farm>/pruner-calibration", PrunerCalibration.as_view(), name="pruner-calibration"),
]
