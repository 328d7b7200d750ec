"""A yield by counting clusters, stored nowhere, for anybody."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import given
from balance.api.samples.samples_in import CountsIn, WeighedIn, cluster_kg, counted, shown, weighed
from balance.api.yields.estimates_out import USUAL_CONFIDENCE, confidence_field
from balance.api.yields.ground_in import ground, spacings
from balance.api.yields.yield_answers import YieldOut, yield_shown
from balance.formulas.yields.estimates import Estimate, share_of
from balance.formulas.yields.planting_density import whole_vines
from balance.formulas.yields.yield_estimates import bearing_vines
from balance.yields.cluster_weight_ways import SeasonWeights, YieldQuestion, yields_of
from records.api.fields import AreaIn, LengthIn, MassIn
from records.api.strict import StrictCharField, StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import OpenView
from records.errors import NotValid

MOST_PLACES = 10_000_000
_ASKED: dict[str, Any] = {
    "vine_spacing": {"value": 6, "unit": "[ft_i]"},
    "row_spacing": {"value": 9, "unit": "[ft_i]"},
    "area": {"value": 1, "unit": "4840.[syd_i]"},
    "missing": {"inspected": 200, "missing": 10},
    "clusters_per_vine": {"counts": [38, 42, 36, 44, 40, 41, 39, 40]},
    "lag_phase_weight": {"mean": {"value": 54, "unit": "g"}, "standard_error": {"value": 2, "unit": "g"}, "n": 60},
    "earlier_seasons": [
        {
            "season": 2025,
            "final_weight": {"value": 0.24, "unit": "[lb_av]"},
            "lag_phase_weight": {"value": 52, "unit": "g"},
        },
        {
            "season": 2026,
            "final_weight": {"value": 0.26, "unit": "[lb_av]"},
            "lag_phase_weight": {"value": 57, "unit": "g"},
        },
    ],
}


class MissingIn(StrictSerializer):
    """Places that were looked at, and those of them without a bearing vine."""

    inspected = StrictIntegerField(min_value=1, max_value=MOST_PLACES, help_text="Places looked at.")
    missing = StrictIntegerField(min_value=0, max_value=MOST_PLACES, help_text="Of them, without a bearing vine.")


class EarlierSeasonIn(StrictSerializer):
    """The mean weights of a cluster in one earlier season."""

    season = StrictIntegerField(min_value=1900, max_value=2100, help_text="Harvest year.")
    final_weight = MassIn(help_text="Mean weight of one cluster at harvest.")
    lag_phase_weight = MassIn(required=False, allow_null=True, help_text="The same in the lag phase.")


class YieldQuestionIn(StrictSerializer):
    """Vines, clusters and weights that a yield is estimated from."""

    places = StrictIntegerField(
        min_value=1, max_value=MOST_PLACES, required=False, help_text="Places for vines; without it from the spacing."
    )
    area = AreaIn(required=False, allow_null=True, help_text="Area that they stand on, 1 m2 to 10,000 ha.")
    vine_spacing = LengthIn(required=False, allow_null=True, help_text="In the row, 0.3 to 12 m.")
    row_spacing = LengthIn(required=False, allow_null=True, help_text="From row to row, 0.5 to 12 m.")
    missing = MissingIn(required=False, allow_null=True, help_text="Without it no missing vines are subtracted.")
    clusters_per_vine = CountsIn(help_text="After thinning, on vines that bear.")
    cluster_weight = WeighedIn(required=False, allow_null=True, help_text="Of clusters cut this season near harvest.")
    lag_phase_weight = WeighedIn(required=False, allow_null=True, help_text="Of clusters cut in this lag phase.")
    earlier_seasons = serializers.ListField(child=EarlierSeasonIn(), max_length=50, required=False)
    cultivar = StrictCharField(
        max_length=60, required=False, help_text="Code of /cluster-weights: what is printed of it, for its spread."
    )
    confidence = confidence_field()


def answer_to(values: Mapping[str, Any]) -> dict[str, Any]:
    """Give the whole answer to a question as sent.

    Raises
    ------
    NotValid
    """
    confidence = float(values.get("confidence", USUAL_CONFIDENCE))
    question = question_from(values)
    samples = {
        "clusters_per_vine": (question.clusters, "1"),
        "cluster_weight": (question.this_season, "kg"),
        "lag_phase_weight": (question.lag_phase, "kg"),
    }
    ground_units = {"places": "1", "area": "m2", "vine_spacing": "m", "row_spacing": "m"}
    inputs = [given(name, values.get(name), unit) for name, unit in ground_units.items()]
    inputs += [given(f"missing.{name}", each) for name, each in (values.get("missing") or {}).items()]
    for name, (estimate, unit) in samples.items():
        inputs += shown(name, values.get(name), estimate, unit)
    for each in values.get("earlier_seasons", []):
        inputs += [
            given(f"earlier_seasons {each['season']}: {name}", each.get(name), "kg")
            for name in ("final_weight", "lag_phase_weight")
        ]
    return yield_shown(yields_of(question), confidence, inputs)


def question_from(values: Mapping[str, Any]) -> YieldQuestion:
    """Give a question in canonical numbers.

    Raises
    ------
    NotValid
        Something is missing, or is none that a vineyard has.
    """
    each_m = spacings(values)
    places = _places(values, each_m)
    missing = _missing(values.get("missing"), places)
    bearing = round(bearing_vines(places, missing).value)
    area = ground(values, "area")
    if area is None and each_m is not None:
        area = places * each_m[0] * each_m[1]
    return YieldQuestion(
        places=places,
        missing=missing,
        clusters=counted(values["clusters_per_vine"], max(bearing, 1), "clusters_per_vine"),
        this_season=_weighed(values, "cluster_weight"),
        lag_phase=_weighed(values, "lag_phase_weight"),
        seasons=_seasons(values.get("earlier_seasons", [])),
        cultivar=values.get("cultivar"),
        area_m2=area,
    )


def _places(values: Mapping[str, Any], each_m: tuple[float, float] | None) -> int:
    if "places" in values:
        return int(values["places"])
    area = ground(values, "area")
    if area is None or each_m is None:
        detail = "Send places, or area with vine_spacing and row_spacing."
        raise NotValid.at("places", code="places_or_spacing", detail=detail)
    places = whole_vines(area / (each_m[0] * each_m[1]))
    if not 1 <= places <= MOST_PLACES:
        detail = f"On this area there is room for {places} vines; there must be 1 to {MOST_PLACES}. Check the units."
        raise NotValid.at("area", code="out_of_range", detail=detail)
    return places


def _missing(sent: Mapping[str, int] | None, places: int) -> Estimate | None:
    if sent is None:
        return None
    for name, most, whose in (("inspected", places, "places"), ("missing", sent["inspected"], "places looked at")):
        if sent[name] > most:
            detail = f"{name} is {sent[name]}, more than the {most} {whose}."
            raise NotValid.at("missing", name, code="out_of_range", detail=detail)
    return share_of(sent["missing"], sent["inspected"], places)


def _weighed(values: Mapping[str, Any], name: str) -> Estimate | None:
    sent = values.get(name)
    return None if sent is None else weighed(sent, name)


def _seasons(sent: list[dict[str, Any]]) -> tuple[SeasonWeights, ...]:
    seen: set[int] = set()
    seasons = []
    for index, each in enumerate(sent):
        at: tuple[str | int, ...] = ("earlier_seasons", index)
        if each["season"] in seen:
            detail = f"Season {each['season']} was sent twice; send its mean weights once."
            raise NotValid.at(*at, "season", code="season_twice", detail=detail)
        seen.add(each["season"])
        early = each.get("lag_phase_weight")
        seasons.append(
            SeasonWeights(
                each["season"],
                cluster_kg(each["final_weight"], *at, "final_weight"),
                None if early is None else cluster_kg(early, *at, "lag_phase_weight"),
            )
        )
    return tuple(seasons)


def _example() -> dict[str, Any]:
    asked = YieldQuestionIn(data=_ASKED)
    asked.is_valid(raise_exception=True)
    return answer_to(asked.validated_data)


class YieldEstimates(OpenView):
    """One yield estimate, stored nowhere."""

    serializer_class = YieldOut

    @extend_schema(
        summary="Estimate a yield by counting clusters",
        description="Bearing vines × clusters per vine × weight of a cluster, with the interval by propagated "
        "variance. The weight comes from this season, from earlier seasons, and from the lag phase by the factor 2 "
        "and by the block's own factor: every way is shown, each with a number or the reason why there is none. "
        "Printed weights of the cultivar give two ends, and only where nothing else is known. Nothing is kept.",
        request=YieldQuestionIn,
        responses=YieldOut,
        tags=["yield and thinning"],
        examples=[
            OpenApiExample("An acre of 807 places", value=_ASKED, request_only=True),
            OpenApiExample("By every way", value=_example(), response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = YieldQuestionIn(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(answer_to(sent.validated_data))
