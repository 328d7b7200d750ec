"""Yields as they are shown: by every way to the weight of a cluster, side by side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from rest_framework import serializers

from balance.api.figures import ComputedOut, FigureOut, MethodOut, WorkingOut, computed, figure
from balance.api.yields.estimates_out import EstimatedOut, estimated, no_spread
from balance.api.yields.thinning_catalogues import ClusterWeightOut
from balance.formulas.yields.lag_phase import DEFAULT_FACTOR, DEFAULT_METHOD
from balance.formulas.yields.yield_estimates import BY_COUNT, FROM_CATALOGUE, TONNES_PER_HECTARE, YieldEstimate
from balance.yields.cluster_weight_ways import (
    NO_COUNT,
    NO_EARLIER,
    NO_LAG_PHASE,
    NO_OWN_FACTOR,
    WayToYield,
    YieldAnswer,
    vines_step,
)

NO_AREA = "Neither the area nor the spacing of vines and rows is known."
NOT_COUNTED = "Missing vines were not counted."
PRINTED_NOT_USED = (
    "Not used: the block has weights of its own. What is printed is shown for its spread: the same cultivar differs "
    "by a factor of five between sites."
)
PRINTED_USED = "Used, because the block has no weight of its own: two ends, and no number between them."
PRINTED_NONE = "The catalogue has no weight for this cultivar, or no cultivar was named."


class WayOut(serializers.Serializer[Any]):
    """The yield by one way to the weight of a cluster."""

    method = MethodOut()
    cluster_weight = EstimatedOut(help_text="Of one cluster at harvest [kg].")
    per_vine = EstimatedOut(help_text="Of one bearing vine [kg].")
    per_hectare = EstimatedOut(help_text="[t/har]")
    total = EstimatedOut(help_text="Of all bearing vines [kg].")
    steps = WorkingOut(many=True)


class SeasonOut(serializers.Serializer[Any]):
    """The weights of one earlier season."""

    season = serializers.IntegerField()
    final_kg = serializers.FloatField(allow_null=True, help_text="Mean weight of a cluster at harvest [kg].")
    lag_phase_kg = serializers.FloatField(allow_null=True, help_text="The same in the lag phase [kg].")
    factor = serializers.FloatField(allow_null=True, help_text="The one ÷ the other; null: not both were taken.")


class FactorsOut(serializers.Serializer[Any]):
    """The two factors from the lag phase to harvest, side by side."""

    default_factor = FigureOut()
    default_source = serializers.CharField()
    own_factor = EstimatedOut(help_text="The block's own, as a prediction for the season ahead.")
    own_standard_deviation = serializers.FloatField(allow_null=True, help_text="Between seasons.")


class PrintedOut(serializers.Serializer[Any]):
    """What is printed of the cultivar's clusters, and the yield at both ends where nothing else is known."""

    method = MethodOut()
    used = serializers.BooleanField(help_text="Only where the block has no weight of its own.")
    sentence = serializers.CharField()
    lowest_g = serializers.FloatField(allow_null=True, help_text="[g]")
    highest_g = serializers.FloatField(allow_null=True, help_text="[g]")
    per_vine_low = FigureOut()
    per_vine_high = FigureOut()
    total_low = FigureOut()
    total_high = FigureOut()
    rows = ClusterWeightOut(many=True)


class YieldOut(ComputedOut):
    """A yield by counting clusters, by every way to the weight of a cluster."""

    confidence = serializers.FloatField(help_text="Of the intervals [%].")
    places = serializers.IntegerField(help_text="Places for vines.")
    missing_share = EstimatedOut(help_text="Of the places, without a bearing vine.")
    bearing_vines = EstimatedOut()
    clusters_per_vine = EstimatedOut()
    lag_phase_weight = EstimatedOut(help_text="Of one cluster in the lag phase of this season [kg].")
    factors = FactorsOut()
    earlier_seasons = SeasonOut(many=True)
    weight_of_earlier_seasons = EstimatedOut(help_text="Of one cluster at harvest, for the season ahead [kg].")
    estimates = WayOut(many=True, help_text="Every way, each with a number or the reason why there is none.")
    printed_weights = PrintedOut()


def yield_shown(answer: YieldAnswer, confidence: float, inputs: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Give a yield as the API shows it."""
    question = answer.question
    return {
        **computed(BY_COUNT, inputs, [vines_step(answer)], more=answer.cautions),
        "confidence": confidence,
        "places": question.places,
        "missing_share": estimated(question.missing, "1", confidence, reason=NOT_COUNTED, unknown="the missing share"),
        "bearing_vines": estimated(answer.vines, "1", confidence, unknown="the missing share"),
        "clusters_per_vine": estimated(
            question.clusters, "1", confidence, reason=NO_COUNT, unknown="clusters per vine"
        ),
        "lag_phase_weight": estimated(
            question.lag_phase, "kg", confidence, reason=NO_LAG_PHASE, unknown="the weight in the lag phase"
        ),
        "factors": _factors(answer, confidence),
        "earlier_seasons": _seasons(answer),
        "weight_of_earlier_seasons": estimated(
            answer.earlier, "kg", confidence, reason=NO_EARLIER, unknown="the weight of one season"
        ),
        "estimates": [_way(way, answer, confidence) for way in answer.ways],
        "printed_weights": _printed(answer),
    }


def _factors(answer: YieldAnswer, confidence: float) -> dict[str, Any]:
    own = answer.own
    return {
        "default_factor": figure(DEFAULT_FACTOR, "1"),
        "default_source": DEFAULT_METHOD.source,
        "own_factor": estimated(
            own.estimate if own else None, "1", confidence, reason=NO_OWN_FACTOR, unknown="the factor of one season"
        ),
        "own_standard_deviation": own.standard_deviation if own else None,
    }


def _seasons(answer: YieldAnswer) -> list[dict[str, Any]]:
    return [
        {
            **asdict(each),
            "factor": each.final_kg / each.lag_phase_kg if each.final_kg and each.lag_phase_kg else None,
        }
        for each in answer.question.seasons
    ]


def _way(way: WayToYield, answer: YieldAnswer, confidence: float) -> dict[str, Any]:
    found, reason = way.estimate, way.reason
    unknown = _unknown(answer, found)
    no_area = reason or NO_AREA
    parts = {
        "cluster_weight": estimated(
            found.weight if found else None, "kg", confidence, reason=reason, unknown="the weight of a cluster"
        ),
        "per_vine": estimated(found.per_vine if found else None, "kg", confidence, reason=reason),
        "per_hectare": estimated(found.per_hectare if found else None, TONNES_PER_HECTARE, confidence, reason=no_area),
        "total": estimated(found.total if found else None, "kg", confidence, reason=reason),
    }
    for name in ("per_vine", "per_hectare", "total"):
        if parts[name]["value"] is not None and parts[name]["no_interval"]:
            parts[name]["no_interval"] = no_spread(unknown)
    return {"method": asdict(way.method), **parts, "steps": [asdict(step) for step in way.steps]}


def _unknown(answer: YieldAnswer, found: YieldEstimate | None) -> list[str]:
    """Name the factors of a yield that nothing tells the spread of."""
    if found is None:
        return []
    named = {
        "bearing vines": answer.vines,
        "clusters per vine": answer.question.clusters,
        "the weight of a cluster": found.weight,
    }
    return [name for name, part in named.items() if part is not None and part.standard_error is None]


def _printed(answer: YieldAnswer) -> dict[str, Any]:
    rows, ends = answer.printed, answer.printed_ends
    sentence = PRINTED_USED if ends else (PRINTED_NOT_USED if rows else PRINTED_NONE)
    reason = None if ends else sentence
    return {
        "method": asdict(FROM_CATALOGUE),
        "used": ends is not None,
        "sentence": sentence,
        "lowest_g": min((row.low_g for row in rows), default=None),
        "highest_g": max((row.high_g for row in rows), default=None),
        "per_vine_low": figure(ends[0].per_vine.value if ends else None, "kg", reason=reason),
        "per_vine_high": figure(ends[1].per_vine.value if ends else None, "kg", reason=reason),
        "total_low": figure(ends[0].total.value if ends else None, "kg", reason=reason),
        "total_high": figure(ends[1].total.value if ends else None, "kg", reason=reason),
        "rows": [asdict(row) for row in rows],
    }
