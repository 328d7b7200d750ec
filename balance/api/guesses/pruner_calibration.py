"""A pruner's eye held against the scale: from pairs that are stored nowhere, for anybody."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.advice import CAUTIONS
from balance.api.figures import MethodOut
from balance.api.guesses.calibration_answers import CalibrationOut, Tolerance, calibration_shown
from balance.api.statistics import UNITS
from balance.formulas.guesses.calibration import AGREEMENT, differences_of, percent_differences_of
from balance.targets import node_formula
from records.api.fields import FormulaField, MassIn
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import OpenView
from records.errors import NotValid
from records.models import PruningFormula
from records.units import Quantity, to_canonical

MOST_PAIRS: Final = 2000
TOLERANCES: Final = ("tolerance", "tolerance_percent", "tolerance_nodes")
_ASKED: Final[dict[str, Any]] = {
    "pairs": [
        {"guess": {"value": 2.5, "unit": "[lb_av]"}, "weight": {"value": 2.75, "unit": "[lb_av]"}},
        {"guess": {"value": 2, "unit": "[lb_av]"}, "weight": {"value": 2.25, "unit": "[lb_av]"}},
        {"guess": {"value": 3, "unit": "[lb_av]"}, "weight": {"value": 3, "unit": "[lb_av]"}},
        {"guess": {"value": 1.5, "unit": "[lb_av]"}, "weight": {"value": 1.25, "unit": "[lb_av]"}},
    ],
    "tolerance_nodes": 10,
    "formula": "american-30-10-lb",
    "unit": "[lb_av]",
}


class PairIn(StrictSerializer):
    """What was guessed of a vine, and what it weighed."""

    guess = MassIn(help_text="The guess before weighing, 0 to 50 kg.")
    weight = MassIn(help_text="One-year-old wood cut from the vine, 0 to 50 kg.")

    def validate(self, attrs: dict[str, Quantity]) -> dict[str, Quantity]:
        far = {
            name: [serializers.ErrorDetail("One vine's prunings weigh 0 to 50 kg. Check the unit.", "out_of_range")]
            for name, quantity in attrs.items()
            if not 0 <= to_canonical(quantity, "mass") <= 50
        }
        if far:
            raise serializers.ValidationError(far)
        return attrs


class CalibrationQuestion(StrictSerializer):
    """Guesses and weights, and how far off a guess may be."""

    pairs = serializers.ListField(child=PairIn(), min_length=1, max_length=MOST_PAIRS)
    tolerance = MassIn(required=False, allow_null=True, help_text="How far off a guess may be, as a weight.")
    tolerance_percent = StrictDecimalField(
        max_digits=27, decimal_places=12, min_value=Decimal("0.1"), max_value=100, required=False, allow_null=True,
        help_text="Or in percent of each weight.",
    )  # fmt: skip
    tolerance_nodes = StrictIntegerField(
        min_value=1,
        max_value=100,
        required=False,
        allow_null=True,
        help_text="Or what it may be worth by a formula [nodes].",
    )
    formula = FormulaField(required=False, allow_null=True, help_text="Code from /formulas, with tolerance_nodes.")
    unit = serializers.ChoiceField(choices=UNITS, required=False, help_text="Unit of the answer; kg unless said.")


class CalibrationAnswer(CalibrationOut):
    """What the guesses say, by which method."""

    method = MethodOut()
    unit = serializers.CharField(help_text="UCUM code of the weights in this answer.")
    cautions = serializers.ListField(child=serializers.CharField())


def stated_tolerance(values: Mapping[str, Any]) -> Tolerance | None:
    """Give the one tolerance that was stated, or nothing.

    Raises
    ------
    NotValid
        Several were stated, or nodes without a formula by which they are worth a weight.
    """
    stated = [name for name in TOLERANCES if values.get(name) is not None]
    if len(stated) > 1:
        raise NotValid.at(stated[1], code="one_tolerance", detail=f"State one of {', '.join(TOLERANCES)}.")
    formula: PruningFormula | None = values.get("formula")
    if (formula is not None) != (stated == ["tolerance_nodes"]):
        at = "tolerance_nodes" if formula is None else "formula"
        raise NotValid.at(
            at, code="nodes_by_a_formula", detail="Send tolerance_nodes and formula together, or neither."
        )
    if not stated:
        return None
    value = values[stated[0]]
    if isinstance(value, Quantity):
        return _of_mass(value)
    if formula is None:
        return Tolerance("tolerance_percent", value, "%", percent=float(value))
    return _of_nodes(value, formula)


def _of_mass(quantity: Quantity) -> Tolerance:
    kg = to_canonical(quantity, "mass")
    if not Decimal("0.000001") <= kg <= 50:
        detail = "A tolerance is a weight from a milligram to 50 kg. Check the unit."
        raise NotValid.at("tolerance", code="out_of_range", detail=detail)
    return Tolerance("tolerance", quantity.value, quantity.unit, kg=float(kg))


def _of_nodes(nodes: int, formula: PruningFormula) -> Tolerance:
    numbers = node_formula(formula)
    if numbers.further_nodes <= 0:
        detail = f"{formula.code} gives no nodes for further weight, so nodes are worth no weight by it."
        raise NotValid.at("formula", code="no_nodes_for_weight", detail=detail)
    return Tolerance(
        "tolerance_nodes", Decimal(nodes), "1", kg=float(Decimal(nodes) / numbers.further_nodes * numbers.unit_kg)
    )


def answer_to(pairs: Iterable[Mapping[str, Quantity]], tolerance: Tolerance | None, unit: str) -> dict[str, Any]:
    """Compute what guesses and weights say."""
    kilograms = [[float(to_canonical(pair[name], "mass")) for name in ("guess", "weight")] for pair in pairs]
    guesses, weights = zip(*kilograms, strict=True)
    differences, percent = differences_of(guesses, weights), percent_differences_of(guesses, weights)
    return {
        "method": asdict(AGREEMENT),
        "unit": unit,
        **calibration_shown(differences, percent, tolerance, unit),
        "cautions": list(CAUTIONS),
    }


def _example() -> dict[str, Any]:
    """Answer the question of the example; ten nodes at ten for a pound are worth a pound."""
    pairs = [{name: Quantity(Decimal(str(each["value"])), each["unit"]) for name, each in pair.items()}
             for pair in _ASKED["pairs"]]  # fmt: skip
    return answer_to(pairs, Tolerance("tolerance_nodes", Decimal(10), "1", kg=0.45359237), _ASKED["unit"])


EXAMPLE: Final = _example()


class StatelessCalibration(OpenView):
    """One pruner's guesses, stored nowhere."""

    serializer_class = CalibrationAnswer

    @extend_schema(
        summary="Hold guesses against the scale without storing anything",
        description="Bias and spread of guesses before weighing, each with its interval; the limits between which "
        "about 95 % of guesses lie; whether the eye can stand in for the scale within a tolerance that you state, as a "
        "weight, in percent or in nodes by a formula; and how many more weighings it takes to tell. Below three pairs "
        "there is a reason and no number.",
        request=CalibrationQuestion,
        responses=CalibrationAnswer,
        tags=["dormant records"],
        examples=[
            OpenApiExample("Four vines, ten nodes allowed", value=_ASKED, request_only=True),
            OpenApiExample("Too early to tell", value=EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = CalibrationQuestion(data=request.data)
        sent.is_valid(raise_exception=True)
        values = sent.validated_data
        return Response(answer_to(values["pairs"], stated_tolerance(values), values.get("unit", "kg")))
