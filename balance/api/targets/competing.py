"""Competing formulas side by side: for one weight, and for a whole block."""

from __future__ import annotations

import uuid
from typing import Any, Final

import numpy as np
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.advice import CAUTIONS
from balance.api.targets.weighed import OfAWeighing, weight_sent
from balance.blocks import newest_season
from balance.competing import competing_for, competing_formulas
from balance.models import Level, TargetStatus
from balance.resolution import Resolved
from balance.samples.sampling import frame_of
from balance.targets import Answer, Question
from balance.targets import answer as computed_answer
from records.api.catalogue import FORMULA_EXAMPLE, FormulaOut
from records.api.fields import cultivar_field, cultivar_group_field
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView, OpenView
from records.errors import NotValid
from records.services.vineyards import block_of

_FIXED = {**FORMULA_EXAMPLE, "code": "concord-fixed-100", "label": "100 nodes", "kind": "fixed", "first_nodes": 100}
_FIXED |= {"further_nodes": 0, "group": None, "cultivar": "concord", "is_default": False, "lowest_units": 1.5}
_FIXED |= {"highest_units": 2.5, "region": "Lake Erie", "year": None, "cluster_thinning": ""}
_EXAMPLE = {
    "results": [
        {
            "formula": FORMULA_EXAMPLE,
            "status": "ok",
            "nodes": 48,
            "nodes_unrounded": 48,
            "nodes_uncapped": 48,
            "reason": None,
        },
        {
            "formula": _FIXED,
            "status": "above_formula_range",
            "nodes": None,
            "nodes_unrounded": None,
            "nodes_uncapped": None,
            "reason": "Above 2.5 × 1 lb of prunings the formula's source says nothing, so there is no number.",
        },
    ],
    "cautions": list(CAUTIONS),
}
_BLOCK_EXAMPLE = {
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "season": 2027,
    "weighed": 20,
    "results": [
        {
            "formula": FORMULA_EXAMPLE,
            "chosen": True,
            "with_target": 18,
            "below_range": 2,
            "young": 0,
            "other": 0,
            "mean": 44.5,
            "fewest": 30,
            "most": 58,
            "total": 801,
        }
    ],
    "cautions": list(CAUTIONS),
}


NOT_YET: Final = "The block has no dormant record yet. Post a weighing, or say a season that has one."


class CompetingQuestion(OfAWeighing):
    """A weight, and the cultivar or group whose formulas are wanted."""

    cultivar = cultivar_field(required=False, help_text="Code from /cultivars.")
    cultivar_group = cultivar_group_field(required=False, help_text="Code from /cultivar-groups.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if bool(attrs.get("cultivar")) == bool(attrs.get("cultivar_group")):
            raise serializers.ValidationError(
                "Send exactly one of cultivar and cultivar_group.", code="one_of_cultivar_group"
            )
        return attrs


class CompetingTargetOut(serializers.Serializer[Any]):
    """What one formula gives for the weight."""

    formula = FormulaOut()
    status = serializers.ChoiceField(choices=TargetStatus.choices)
    nodes = serializers.IntegerField(allow_null=True, help_text="[nodes]")
    nodes_unrounded = serializers.FloatField(allow_null=True, help_text="[nodes]")
    nodes_uncapped = serializers.IntegerField(allow_null=True, help_text="[nodes]")
    reason = serializers.CharField(allow_null=True, help_text="Why there is no number.")


class CompetingOut(serializers.Serializer[Any]):
    """Every formula for the cultivar and its group; the one that answers unasked comes first."""

    results = CompetingTargetOut(many=True)
    cautions = serializers.ListField(child=serializers.CharField())


class CompetingTargets(OpenView):
    """One weight by every formula."""

    serializer_class = CompetingOut
    pagination_class = None

    @extend_schema(
        summary="Lay competing formulas side by side",
        description="Formulas disagree, by region and year. This gives what each shared formula for the cultivar, and "
        "for its group, makes of one weight; nothing is averaged, and the farm chooses.",
        request=CompetingQuestion,
        responses=CompetingOut,
        tags=["targets"],
        examples=[
            OpenApiExample(
                "2.8 lb of Concord",
                value={"pruning_weight": {"value": 2.8, "unit": "[lb_av]"}, "cultivar": "concord"},
                request_only=True,
            ),
            OpenApiExample("48 by one, no number by another", value=_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = CompetingQuestion(data=request.data)
        sent.is_valid(raise_exception=True)
        values: dict[str, Any] = sent.validated_data
        known = weight_sent(values["pruning_weight"])
        formulas = competing_formulas(values.get("cultivar"), values.get("cultivar_group"))
        told = (computed_answer(Question(Resolved(formula, Level.REQUEST), known)) for formula in formulas)
        return Response({"results": [_shown(each) for each in told], "cautions": list(CAUTIONS)})


def _shown(given: Answer) -> dict[str, Any]:
    target = given.target
    return {
        "formula": FormulaOut(given.question.resolved.formula).data,
        "status": given.status,
        "nodes": given.nodes,
        "nodes_unrounded": target.unrounded if target else None,
        "nodes_uncapped": target.uncapped if target else None,
        "reason": given.reason,
    }


class ForABlockOut(serializers.Serializer[Any]):
    """What one formula would ask of the block's vines that were weighed."""

    formula = FormulaOut()
    chosen = serializers.BooleanField(help_text="It answers for the block now.")
    with_target = serializers.IntegerField(help_text="Vines for which it has a number.")
    below_range = serializers.IntegerField(help_text="Vines too weak for it.")
    young = serializers.IntegerField(help_text="Vines in training.")
    other = serializers.IntegerField(help_text="Vines for which it has no number for another reason.")
    mean = serializers.FloatField(allow_null=True, help_text="[nodes a vine]")
    fewest = serializers.IntegerField(allow_null=True, help_text="[nodes]")
    most = serializers.IntegerField(allow_null=True, help_text="[nodes]")
    total = serializers.IntegerField(allow_null=True, help_text="[nodes]")


class BlockCompetingOut(serializers.Serializer[Any]):
    """The formulas that compete for a block."""

    block = serializers.UUIDField()
    season = serializers.IntegerField()
    weighed = serializers.IntegerField(help_text="Vines that were weighed.")
    results = ForABlockOut(many=True)
    cautions = serializers.ListField(child=serializers.CharField())


class BlockCompeting(FarmView):
    """A block by every formula."""

    serializer_class = BlockCompetingOut
    pagination_class = None

    @extend_schema(
        summary="Lay competing formulas side by side for a block",
        description="What each formula for the block's cultivar, its group, and of the farm and its program would ask "
        "of the vines that were weighed in a season. The one that answers now is marked; choose another on the block.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest that was recorded.")
        ],
        responses=BlockCompetingOut,
        tags=["targets"],
        examples=[OpenApiExample("Twenty vines", value=_BLOCK_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, season=StrictIntegerField(min_value=1900, max_value=2100))
        found = block_of(self.opened, block)
        season = query.get("season") or newest_season(self.opened, found)
        if season is None:
            raise NotValid.at("season", code="nothing_recorded", detail=NOT_YET)
        frame = frame_of(self.opened, found, season)
        body = {
            "block": found.pk,
            "season": season,
            "weighed": int(np.count_nonzero(~np.isnan(frame.walked.weights_kg))),
            "results": list(competing_for(self.opened, found, frame)),
            "cautions": CAUTIONS,
        }
        return Response(BlockCompetingOut(body).data)
