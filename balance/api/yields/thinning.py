"""Thinning of one vine, stored nowhere, for anybody."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.api.samples.samples_in import WeighedIn, shown
from balance.api.yields.estimates_out import USUAL_CONFIDENCE, EstimatedOut, confidence_field, estimated
from balance.api.yields.thinning_catalogues import ThinningRuleOut, rule_shown
from balance.api.yields.thinning_wanted import question_from
from balance.formulas.yields.shoot_thinning import LONGEST_M, clusters_by_shoot_length
from balance.formulas.yields.thinning_steps import by_length_step
from balance.yields.thinning_rules import thinning_rule
from balance.yields.thinnings import ThinningAnswer, thinning_of
from records.api.fields import AreaIn, LengthIn, MassIn
from records.api.strict import StrictCharField, StrictDecimalField, StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import OpenView
from records.errors import NotValid
from records.units import to_canonical

NOT_COUNTED: Final = "The clusters of the vine were not counted."
NO_PRUNINGS: Final = "No pruning weight was sent, or it is zero."
THINNING_CAUTION: Final = (
    "A cluster that is cut off cannot be put back: count again before the last ones. How hard to thin young and weak "
    "vines is a question for your local extension or a licensed adviser."
)
_POUND: Final = "[lb_av]"
_ASKED: Final[dict[str, Any]] = {
    "pruning_weight": {"value": 2, "unit": _POUND},
    "crop_load": 10,
    "cluster_weight": {
        "mean": {"value": 0.42, "unit": _POUND},
        "standard_error": {"value": 0.02, "unit": _POUND},
        "n": 40,
    },
    "clusters": 64,
    "shoots": 40,
    "shoot_lengths": [{"value": length, "unit": "[in_i]"} for length in (6, 12, 24)],
    "rule": "high-tunnel-8-20-in",
}


class ThinningQuestionIn(StrictSerializer):
    """What a vine is to carry, and what is known of its clusters; or the lengths of its shoots and a rule."""

    crop_load = StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=Decimal("0.1"),
        max_value=100,
        required=False,
        help_text="Wanted yield ÷ pruning weight; with pruning_weight.",
    )
    pruning_weight = MassIn(required=False, help_text="One-year-old wood of the vine, 0 to 50 kg.")
    yield_per_vine = MassIn(required=False, help_text="Wanted yield of one vine, 0 to 5000 kg.")
    yield_of_area = MassIn(required=False, help_text="Wanted yield of `area`; with bearing_vines or the spacing.")
    area = AreaIn(required=False, help_text="The area of yield_of_area, 1 m2 to 10,000 ha.")
    bearing_vines = StrictIntegerField(min_value=1, max_value=10_000_000, required=False, help_text="On that area.")
    vine_spacing = LengthIn(required=False, help_text="In the row, 0.3 to 12 m.")
    row_spacing = LengthIn(required=False, help_text="From row to row, 0.5 to 12 m.")
    missing_percent = StrictDecimalField(
        max_digits=27,
        decimal_places=12,
        min_value=0,
        max_value=99,
        required=False,
        help_text="Of the places by the spacing, without a bearing vine [%].",
    )
    cluster_weight = WeighedIn(required=False, help_text="Of one cluster at harvest.")
    clusters = StrictIntegerField(min_value=0, max_value=5000, required=False, help_text="On the vine now.")
    shoots = StrictIntegerField(min_value=1, max_value=5000, required=False, help_text="Of the vine.")
    confidence = confidence_field()
    shoot_lengths = serializers.ListField(
        child=LengthIn(), min_length=1, max_length=500, required=False, help_text="Of each shoot, 0 to 20 m; with rule."
    )
    rule = StrictCharField(max_length=60, required=False, help_text="Code of /thinning-rules; none is a default.")


class BetweenOut(serializers.Serializer[Any]):
    """Clusters for the wanted yield at the heaviest and at the lightest cluster of the interval."""

    fewest = serializers.IntegerField()
    most = serializers.IntegerField()


class ShareOut(serializers.Serializer[Any]):
    """The clusters that stay, dealt out to the shoots as evenly as whole clusters go."""

    mean = serializers.FloatField()
    fewer = serializers.IntegerField(help_text="Clusters on each of `shoots_with_fewer`.")
    shoots_with_fewer = serializers.IntegerField()
    more = serializers.IntegerField(help_text="Clusters on each of `shoots_with_more`.")
    shoots_with_more = serializers.IntegerField()


class VineThinningOut(ComputedOut):
    """Clusters to leave on one vine and to take off, and the yield to expect."""

    confidence = serializers.FloatField(help_text="Of the intervals [%].")
    wanted_yield = FigureOut(help_text="Of one vine [kg].")
    cluster_weight = EstimatedOut(help_text="[kg]")
    clusters_to_leave = FigureOut(help_text="To the nearest whole cluster, a half towards fewer.")
    clusters_to_leave_unrounded = serializers.FloatField()
    clusters_to_leave_between = BetweenOut(
        allow_null=True, help_text="What the weight of a cluster leaves open; null: nothing tells its spread."
    )
    clusters_to_take_off = FigureOut()
    clusters_lacking = FigureOut(help_text="Too few for the wanted yield; clusters cannot be added.")
    expected_yield = EstimatedOut(help_text="Of the clusters that stay [kg].")
    expected_crop_load = FigureOut(help_text="Of the expected yield, by the pruning weight that was sent.")
    per_shoot = ShareOut(allow_null=True, help_text="Null: the shoots were not counted.")


class ShootThinningOut(ComputedOut):
    """Clusters to keep on each shoot, by its length and one printed rule."""

    rule = ThinningRuleOut()
    clusters = serializers.ListField(child=serializers.IntegerField(), help_text="In the order of shoot_lengths.")
    total = serializers.IntegerField()


class ThinningOut(serializers.Serializer[Any]):
    """What was asked for of the two."""

    by_crop = VineThinningOut(allow_null=True)
    by_shoot_length = ShootThinningOut(allow_null=True)


def answer_to(values: Mapping[str, Any]) -> dict[str, Any]:
    """Give the whole answer to a question as sent.

    Raises
    ------
    NotValid
    """
    confidence = float(values.get("confidence", USUAL_CONFIDENCE))
    by_length = "shoot_lengths" in values or "rule" in values
    question = question_from(values)
    if question is None and not by_length:
        detail = "Send crop_load, yield_per_vine or yield_of_area; or shoot_lengths with rule."
        raise NotValid.at("crop_load", code="nothing_wanted", detail=detail)
    return {
        "by_crop": _by_crop(values, thinning_of(question, confidence), confidence) if question else None,
        "by_shoot_length": _by_length(values) if by_length else None,
    }


def _by_crop(values: Mapping[str, Any], answer: ThinningAnswer, confidence: float) -> dict[str, Any]:
    question = answer.question
    names = ("crop_load", "pruning_weight", "yield_per_vine", "yield_of_area", "area", "bearing_vines", "vine_spacing",
             "row_spacing", "missing_percent", "clusters", "shoots")  # fmt: skip
    units = {"missing_percent": "%"}
    inputs = [given(name, values[name], units.get(name, "1")) for name in names if name in values]
    inputs += shown("cluster_weight", values["cluster_weight"], question.weight, "kg")
    uncounted = NOT_COUNTED if question.counted is None else None
    prunings = values.get("pruning_weight")
    kilograms = float(to_canonical(prunings, "mass")) if prunings else 0.0
    return {
        **computed(question.method, inputs, answer.steps, more=[THINNING_CAUTION]),
        "confidence": confidence,
        "wanted_yield": figure(question.wanted_kg, "kg"),
        "cluster_weight": estimated(question.weight, "kg", confidence, unknown="the weight of a cluster"),
        "clusters_to_leave": figure(answer.leave, "1"),
        "clusters_to_leave_unrounded": answer.unrounded,
        "clusters_to_leave_between": (
            {"fewest": answer.between[0], "most": answer.between[1]} if answer.between else None
        ),
        "clusters_to_take_off": figure(answer.take_off, "1", reason=uncounted),
        "clusters_lacking": figure(answer.lacking, "1", reason=uncounted),
        "expected_yield": estimated(answer.expected, "kg", confidence, unknown="the weight of a cluster"),
        "expected_crop_load": figure(
            answer.expected.value / kilograms if kilograms else None, "1", reason=None if kilograms else NO_PRUNINGS
        ),
        "per_shoot": asdict(answer.share) if answer.share else None,
    }


def _by_length(values: Mapping[str, Any]) -> dict[str, Any]:
    for name in ("shoot_lengths", "rule"):
        if name not in values:
            detail = "Send shoot_lengths and rule together; printed rules differ, so none is a default."
            raise NotValid.at(name, code="lengths_with_rule", detail=detail)
    rule = thinning_rule(values["rule"])
    if rule is None:
        detail = f"There is no rule {values['rule']!r}. The list of codes is at /api/v1/thinning-rules."
        raise NotValid.at("rule", code="does_not_exist", detail=detail)
    metres = [to_canonical(each, "length") for each in values["shoot_lengths"]]
    for index, length in enumerate(metres):
        if not 0 <= length <= int(LONGEST_M):
            detail = f"A shoot is between 0 and {LONGEST_M:g} m long. Check the unit."
            raise NotValid.at("shoot_lengths", index, code="out_of_range", detail=detail)
    clusters = clusters_by_shoot_length([float(each) for each in metres], rule.rule())
    inputs = [given(f"shoot_lengths[{index}]", each) for index, each in enumerate(values["shoot_lengths"])]
    return {
        **computed(rule.method(), inputs, [by_length_step(clusters)], more=[THINNING_CAUTION]),
        "rule": rule_shown(rule),
        "clusters": clusters.tolist(),
        "total": int(clusters.sum()),
    }


def _example() -> dict[str, Any]:
    asked = ThinningQuestionIn(data=_ASKED)
    asked.is_valid(raise_exception=True)
    return answer_to(asked.validated_data)


class Thinning(OpenView):
    """The thinning of one vine, stored nowhere."""

    serializer_class = ThinningOut

    @extend_schema(
        summary="Compute the clusters to leave on a vine",
        description="For a wanted crop load (with the vine's pruning weight), a wanted yield of the vine, or of an "
        "area: whole clusters to leave, to take off, per shoot, the yield to expect, and what the uncertainty of the "
        "cluster weight leaves open. For table grapes also by the length of each shoot, by a printed rule that is "
        "named. Nothing is kept.",
        request=ThinningQuestionIn,
        responses=ThinningOut,
        tags=["yield and thinning"],
        examples=[
            OpenApiExample("Crop load of 10, and three shoots", value=_ASKED, request_only=True),
            OpenApiExample("48 clusters stay", value=_example(), response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = ThinningQuestionIn(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(answer_to(sent.validated_data))
