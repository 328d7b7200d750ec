"""Bud injury: of a sample that is stored nowhere, for anybody."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.buds.bud_adjustments import AdjustmentField
from balance.api.buds.bud_answers import AdjustedOut, InjuryOut
from balance.api.buds.bud_shown import (
    adjusted_shown,
    cautions_on,
    injury_shown,
    potential_shown,
    sampling_shown,
)
from balance.api.figures import computed, given
from balance.buds.likeness import USUAL_MARGIN
from balance.buds.published import adjustment_named, newest_adjustments
from balance.formulas.buds.adjusted_targets import MOST_NODES
from balance.formulas.buds.bud_explanation import injury_steps
from balance.formulas.buds.bud_injury import INJURY, bud_injury
from records.api.fields import cultivar_field
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import OpenView
from records.errors import Fault, NotValid

_ASKED: Final[dict[str, Any]] = {
    "nodes_examined": 100,
    "primaries_alive": 65,
    "secondaries_alive": 88,
    "normal_target": 40,
    "adjustment": "cornell-nny-2014",
    "cultivar": "concord",
}


class InjuryQuestion(StrictSerializer):
    """A sample of nodes cut open, and what is asked of it."""

    nodes_examined = StrictIntegerField(
        min_value=1, max_value=100_000, help_text="Nodes cut open, each counted once though it holds several buds."
    )
    primaries_alive = StrictIntegerField(
        min_value=0, max_value=100_000, help_text="Of them, nodes whose primary bud lives."
    )
    secondaries_alive = StrictIntegerField(
        min_value=0,
        max_value=100_000,
        required=False,
        allow_null=True,
        help_text="Of them, nodes whose secondary bud lives. Null: not counted.",
    )
    normal_target = StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=1,
        max_value=MOST_NODES,
        required=False,
        allow_null=True,
        help_text="The target without injury, or the mean of many [nodes].",
    )
    adjustment = AdjustmentField(required=False, allow_null=True)
    secondary_fruitfulness = StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=0,
        max_value=100,
        required=False,
        allow_null=True,
        help_text="What a secondary bud bears [% of a primary]; off unless you set it.",
    )
    cultivar = cultivar_field(
        required=False,
        allow_null=True,
        help_text="Code from /cultivars: what is published of its secondary buds is shown.",
    )
    wanted_margin = StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=Decimal("0.5"),
        max_value=50,
        required=False,
        allow_null=True,
        help_text="How close the injury should be known [percentage points]; 10 unless said.",
    )


class InjuryAnswer(InjuryOut):
    """An injury and what each method makes of a target."""

    adjustments = AdjustedOut(many=True, help_text="The one that you named; else all, each by itself, never averaged.")


def answer_to(asked: Mapping[str, Any]) -> dict[str, Any]:
    """Compute what a question asks; where they are sent, ``adjustment`` is the adjustment and ``cultivar`` a code."""
    examined, primaries, secondaries = asked["nodes_examined"], asked["primaries_alive"], asked.get("secondaries_alive")
    normal, fruitfulness, wanted = (
        _number(asked.get(name)) for name in ("normal_target", "secondary_fruitfulness", "wanted_margin")
    )
    injury = bud_injury(examined, primaries)
    counts = None if secondaries is None else (examined, primaries, secondaries)
    inputs = [
        given("nodes_examined", examined),
        given("primaries_alive", primaries),
        given("secondaries_alive", secondaries),
        given("normal_target", normal),
        given("secondary_fruitfulness", fruitfulness, "%"),
    ]
    methods = [asked["adjustment"]] if asked.get("adjustment") else newest_adjustments()
    return {
        **computed(INJURY, inputs, injury_steps(injury), more=cautions_on(injury)),
        **injury_shown(injury),
        "adjustments": [adjusted_shown(method, injury, normal) for method in methods],
        "crop_potential": potential_shown(counts, fruitfulness, asked.get("cultivar")),
        "sampling": sampling_shown(injury, USUAL_MARGIN if wanted is None else wanted),
    }


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


EXAMPLE: Final = answer_to({**_ASKED, "adjustment": adjustment_named(_ASKED["adjustment"])})


class StatelessInjury(OpenView):
    """One sample's injury, stored nowhere."""

    serializer_class = InjuryAnswer

    @extend_schema(
        summary="Compute bud injury and adjusted targets without storing anything",
        description="The share of dead primary buds with its exact binomial interval, the target that a published "
        "adjustment makes of it, and how many nodes to examine. The adjustments contradict each other: name one, or "
        "see all of them side by side. Where a method has no number, the answer says why.",
        request=InjuryQuestion,
        responses=InjuryAnswer,
        tags=["bud samples"],
        examples=[
            OpenApiExample("35 of 100 dead, 40 nodes by Cornell", value=_ASKED, request_only=True),
            OpenApiExample("54 nodes", value=EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = InjuryQuestion(data=request.data)
        sent.is_valid(raise_exception=True)
        asked: dict[str, Any] = sent.validated_data
        _refuse_more_alive_than_examined(asked)
        cultivar = asked.get("cultivar")
        return Response(answer_to({**asked, "cultivar": cultivar.code if cultivar else None}))


def _refuse_more_alive_than_examined(asked: Mapping[str, Any]) -> None:
    examined = asked["nodes_examined"]
    faults = tuple(
        Fault(
            (name,),
            "more_than_examined",
            f"{asked[name]} nodes with a living bud are more than the {examined} examined. Check the counts.",
        )
        for name in ("primaries_alive", "secondaries_alive")
        if (asked.get(name) or 0) > examined
    )
    if faults:
        raise NotValid(faults[0].detail, faults=faults)
