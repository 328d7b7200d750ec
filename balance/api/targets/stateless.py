"""The same computation without storing anything, for anybody."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.targets.answers import (
    TARGET_EXAMPLE,
    VERDICT_EXAMPLE,
    TargetOut,
    VerdictOut,
    target_shown,
    verdict_shown,
)
from balance.api.targets.weighed import OfAWeighing, weight_sent
from balance.api.targets.young_arm_questions import YoungArmIn, young_sent
from balance.formulas.cordons.young_arms import MOST_CORDONS
from balance.models import Level
from balance.resolution import Resolved, resolve_for_cultivar
from balance.targets import Bounds, Place, Question, verdict_on
from balance.targets import answer as computed
from records.api.fields import FormulaField, LengthIn, MassIn, cultivar_field, cultivar_group_field
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import OpenView
from records.units import Quantity, to_canonical

_ASKED = {
    "pruning_weight": {"value": 2.8, "unit": "[lb_av]"},
    "scale_resolution": {"value": 0.25, "unit": "[lb_av]"},
    "cultivar": "concord",
    "nodes_retained": 38,
}
_WITH_A_YOUNG_ARM = {
    **_ASKED,
    "cordons": 2,
    "young_arms": [{"cordon": "left", "nodes_laid_down": 10, "vigour": "weak"}],
    "nodes_retained": 34,
}


class TargetQuestion(OfAWeighing):
    """A weight, and the formula or the cultivar that it is asked for."""

    scale_resolution = MassIn(required=False, allow_null=True, help_text="The scale's smallest step.")
    formula = FormulaField(required=False, help_text="Code from /formulas; `code@version` names a version.")
    cultivar = cultivar_field(required=False, help_text="Code from /cultivars: its formula, else its group's, answers.")
    cultivar_group = cultivar_group_field(required=False, help_text="Code from /cultivar-groups: its formula answers.")
    minimum_nodes = StrictIntegerField(
        min_value=1, max_value=1000, required=False, allow_null=True, help_text="The fewest nodes to keep."
    )
    maximum_nodes = StrictIntegerField(min_value=1, max_value=1000, required=False, allow_null=True, help_text="A cap.")
    seasons_grown = StrictIntegerField(
        min_value=0, max_value=500, required=False, allow_null=True, help_text="Seasons since the vine was planted."
    )
    living_positions = StrictIntegerField(
        min_value=0, max_value=5000, required=False, allow_null=True, help_text="Living spur positions of all cordons."
    )
    canopy_length = LengthIn(
        required=False,
        allow_null=True,
        help_text="Length of canopy of one vine, 0.1 to 100 m: its space along the row, for each curtain of leaves.",
    )
    cordons = StrictIntegerField(
        min_value=1,
        max_value=MOST_CORDONS,
        required=False,
        allow_null=True,
        help_text="Cordons of the vine, the young ones with them; asked for beside `young_arms` only.",
    )
    young_arms = serializers.ListField(
        child=YoungArmIn(),
        required=False,
        max_length=MOST_CORDONS,
        help_text="Arms that are laid down or being filled, each of another cordon: what they cannot carry is shown "
        "as lost, and not pushed onto the rest of the vine.",
    )
    nodes_retained = StrictIntegerField(min_value=0, max_value=2000, required=False, allow_null=True)

    def validate_canopy_length(self, length: Quantity | None) -> Quantity | None:
        if length is not None and not Decimal("0.1") <= to_canonical(length, "length") <= 100:
            raise serializers.ValidationError(
                "The canopy of one vine is between 0.1 and 100 m long. Check the unit.", code="out_of_range"
            )
        return length

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        low, high = attrs.get("minimum_nodes"), attrs.get("maximum_nodes")
        if low is not None and high is not None and low > high:
            raise serializers.ValidationError(
                {"minimum_nodes": f"The fewest nodes, {low}, exceed the cap of {high}."}, code="out_of_range"
            )
        named = [name for name in ("formula", "cultivar", "cultivar_group") if attrs.get(name)]
        if len(named) != 1:
            raise serializers.ValidationError(
                "Send exactly one of formula, cultivar and cultivar_group.",
                code="one_of_formula_cultivar_group",
            )
        return attrs


class TargetAndVerdict(serializers.Serializer[Any]):
    """A target and, where a count was sent, the verdict on it."""

    target = TargetOut()
    verdict = VerdictOut(allow_null=True)


class StatelessTarget(OpenView):
    """One target, stored nowhere."""

    serializer_class = TargetAndVerdict

    @extend_schema(
        summary="Compute a target without storing anything",
        description="The same computation that a posted weighing gets, with the same steps; nothing is kept.",
        request=TargetQuestion,
        responses=TargetAndVerdict,
        tags=["targets"],
        examples=[
            OpenApiExample("2.8 lb of Concord, 38 left", value=_ASKED, request_only=True),
            OpenApiExample("An arm laid down this winter", value=_WITH_A_YOUNG_ARM, request_only=True),
            OpenApiExample(
                "48, and ten too few",
                value={"target": TARGET_EXAMPLE, "verdict": VERDICT_EXAMPLE},
                response_only=True,
            ),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = TargetQuestion(data=request.data)
        sent.is_valid(raise_exception=True)
        values: dict[str, Any] = sent.validated_data
        given = computed(
            Question(
                resolved=_resolved(values),
                weight=weight_sent(values["pruning_weight"]),
                scale_resolution=weight_sent(values.get("scale_resolution")),
                bounds=Bounds(values.get("minimum_nodes"), values.get("maximum_nodes")),
                place=_place(values),
                young=young_sent(values.get("young_arms") or (), values.get("cordons")),
            )
        )
        verdict = verdict_on(values.get("nodes_retained"), given)
        return Response({"target": target_shown(given), "verdict": verdict_shown(verdict)})


def _place(values: dict[str, Any]) -> Place:
    length = values.get("canopy_length")
    canopy_m = float(to_canonical(length, "length")) if length else None
    return Place(values.get("seasons_grown"), values.get("living_positions"), canopy_m)


def _resolved(values: dict[str, Any]) -> Resolved:
    if values.get("formula"):
        return Resolved(values["formula"], Level.REQUEST)
    return resolve_for_cultivar(values.get("cultivar"), values.get("cultivar_group"))
