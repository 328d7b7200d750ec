"""The catalogues of printed cluster weights and of thinning rules by shoot length, for anybody."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.yields.cluster_weights import cluster_weights
from balance.yields.thinning_rules import ThinningRule, thinning_rules
from records.api.parameters import text_of
from records.api.strict import StrictCharField, StrictQuery
from records.api.views import OpenView

_WEIGHT = {
    "code": "jupiter-arkansas",
    "version": 1,
    "cultivar": "jupiter",
    "label": "Jupiter, Arkansas",
    "low_g": 200.0,
    "high_g": 250.0,
    "region": "Arkansas",
    "year": None,
    "source": "Univ. of Arkansas, release of Jupiter",
    "source_mark": "READ",
    "note": "",
}
_RULE = {
    "code": "high-tunnel-8-20-in",
    "version": 1,
    "label": "None under 8 in, one up to 20 in, then two",
    "growing_system": "high_tunnel",
    "cultivars": [],
    "none_up_to": {"value": 8, "unit": "[in_i]"},
    "none_at_step": False,
    "one_up_to": {"value": 20, "unit": "[in_i]"},
    "longer": 2,
    "region": "Arkansas",
    "year": None,
    "source": "NCAT, High tunnel grapes: cluster thinning, attra.ncat.org, with Univ. of Arkansas",
    "source_mark": "READ",
    "note": "Table grapes in high tunnels; a shoot of exactly 8 in keeps one",
}


class ClusterWeightOut(serializers.Serializer[Any]):
    """One printed weight of a cultivar's clusters, with its source."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    cultivar = serializers.CharField(help_text="Code of the cultivar.")
    label = serializers.CharField()  # type: ignore[assignment]
    low_g = serializers.FloatField(help_text="Lowest printed weight of one cluster [g].")
    high_g = serializers.FloatField(help_text="Highest printed weight of one cluster [g].")
    region = serializers.CharField(help_text="Empty: not stated.")
    year = serializers.IntegerField(allow_null=True)
    source = serializers.CharField()  # type: ignore[assignment]
    source_mark = serializers.CharField(help_text="READ, or READ* for a source of low authority.")
    note = serializers.CharField()


class StepLengthOut(serializers.Serializer[Any]):
    """A length of shoot as the source prints it."""

    value = serializers.FloatField()
    unit = serializers.CharField(help_text="UCUM code.")


class ThinningRuleOut(serializers.Serializer[Any]):
    """One printed rule: clusters that a shoot keeps by its length."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    growing_system = serializers.CharField(help_text="Empty: the source does not say.")
    cultivars = serializers.ListField(child=serializers.CharField(), help_text="Empty: the source names none.")
    none_up_to = StepLengthOut(allow_null=True, help_text="Up to here none; null: no such step is printed.")
    none_at_step = serializers.BooleanField(help_text="Whether a shoot of exactly that length keeps none.")
    one_up_to = StepLengthOut(allow_null=True, help_text="Up to here, and at it, one; null: no such step is printed.")
    longer = serializers.IntegerField(help_text="Clusters of a longer shoot.")
    region = serializers.CharField(help_text="Empty: not stated.")
    year = serializers.IntegerField(allow_null=True)
    source = serializers.CharField()  # type: ignore[assignment]
    source_mark = serializers.CharField(help_text="READ, or READ* for a source of low authority.")
    note = serializers.CharField()


class ClusterWeights(OpenView):
    """The printed weights of clusters."""

    pagination_class = None
    serializer_class = ClusterWeightOut

    @extend_schema(
        summary="List printed weights of clusters",
        description="Weights that were read in a source, by cultivar. They differ by a factor of five between sites, "
        "so a block's own weights always come before them; `yield-estimate` uses them only where it has none.",
        parameters=[OpenApiParameter("cultivar", text_of(60), description="Only weights of this cultivar.")],
        responses=ClusterWeightOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("Jupiter", value=_WEIGHT, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        query = StrictQuery.of(request, cultivar=StrictCharField(max_length=60))
        return Response(
            ClusterWeightOut([asdict(row) for row in cluster_weights(query.get("cultivar"))], many=True).data
        )


class ThinningRules(OpenView):
    """The printed rules of thinning by shoot length."""

    pagination_class = None
    serializer_class = ThinningRuleOut

    @extend_schema(
        summary="List rules of thinning by shoot length",
        description="How many clusters a shoot keeps by its length, as sources print it for one growing system each. "
        "They differ, so none is a default: `thinning` takes the code of one.",
        responses=ThinningRuleOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("High tunnel", value=_RULE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request)
        return Response(ThinningRuleOut([rule_shown(row) for row in thinning_rules()], many=True).data)


def rule_shown(row: ThinningRule) -> dict[str, Any]:
    """Give a rule as the API shows it."""
    steps = {"none_up_to": row.none_up_to, "one_up_to": row.one_up_to}
    lengths = {name: None if length is None else {"value": length, "unit": row.unit} for name, length in steps.items()}
    shown = {**asdict(row), **lengths, "cultivars": row.cultivars.split()}
    return {name: shown[name] for name in map(str, ThinningRuleOut().fields)}
