"""How many cordons will have to be replaced in the winters ahead."""

from __future__ import annotations

import uuid
from typing import Any, Final

import numpy as np
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.cordons.asked_blocks import block_named
from balance.cordons.outlook import History, history_for, outlook_of
from balance.cordons.survival import AGE, CLOCKS
from balance.formulas.cordons.forecast import (
    CONFIDENCES,
    DRAWS,
    FORECAST,
    SEED,
    USUAL_CONFIDENCE,
    Expected,
    Outlook,
)
from balance.formulas.counting import counted
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain
from records.api.parameters import SEASON
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import FarmView

MOST_AHEAD: Final = 5
NO_WINTER_LIKE_IT: Final = (
    "The interval holds chance and how well the hazards are known. It does not hold a winter unlike those on record, "
    "such as one of great cold, nor a disease that spreads."
)
AS_SEEN: Final = (
    "Cordons count as standing until they are seen to fail, and failures as of the season in which they were noticed: "
    "looks that lie years apart put them late."
)
NOT_AGED: Final = (
    "{} left out because the age is not known; ask with clock=years_since_first_inspection to leave out none."
)


class ExpectedOut(serializers.Serializer[Any]):
    """Replacements expected, with their interval."""

    expected = FigureOut(help_text="Cordons.")
    low = serializers.IntegerField(allow_null=True, help_text="Null: no number.")
    high = serializers.IntegerField(allow_null=True)


class WinterAheadOut(ExpectedOut):
    """One winter ahead."""

    winter = serializers.IntegerField(help_text="1: the next one.")
    season = serializers.IntegerField(help_text="The harvest year that the winter belongs to.")
    up_to = ExpectedOut(help_text="Of all winters up to this one.")


class HazardOut(serializers.Serializer[Any]):
    """The chance of failing at one age."""

    age = serializers.IntegerField(help_text="Whole years on the clock.")
    standing = serializers.IntegerField(help_text="Cordons that go into the next winter at this age.")
    exposure = serializers.IntegerField(help_text="Cordon-winters that were followed.")
    failures = serializers.IntegerField(help_text="Failures among them.")
    hazard = serializers.FloatField(help_text="Of failing in one winter: the posterior's mean.")
    low = serializers.FloatField(help_text="Lower end of its interval.")
    high = serializers.FloatField()


class CordonOutlookOut(ComputedOut):
    """The outlook of a farm's cordons."""

    block = serializers.UUIDField(allow_null=True, help_text="Null: the whole farm.")
    season = serializers.IntegerField(help_text="What was known up to this season.")
    clock = serializers.ChoiceField(choices=CLOCKS, help_text="Years of age, or years since the first inspection.")
    confidence = serializers.FloatField(help_text="Of the intervals [%].")
    standing = serializers.IntegerField(help_text="Cordons followed that stand now.")
    left_out = serializers.IntegerField(help_text="Cordons that stand and whose age is not known.")
    found_failed = serializers.IntegerField(help_text="Failed when first looked at: no part of the history.")
    exposure = serializers.IntegerField(help_text="Cordon-winters that were followed.")
    failures = serializers.IntegerField(help_text="Failures among them.")
    draws = serializers.IntegerField()
    seed = serializers.IntegerField(help_text="Of the draws, so that they can be had again.")
    winters = WinterAheadOut(many=True)
    hazards = HazardOut(many=True, help_text="At each age that was followed or is foreseen.")


def outlook_shown(block: uuid.UUID | None, history: History, outlook: Outlook, winters: int, confidence: float) -> Any:
    """Give an outlook as the API shows it."""
    standing, exposure, failures = (int(each.sum()) for each in (history.standing, history.exposure, history.failures))
    more = [NOT_AGED.format(counted(history.left_out, "cordon is", "cordons are"))] if history.left_out else []
    inputs = [
        given("standing", standing),
        given("exposure", exposure),
        given("failures", failures),
        given("confidence", confidence, "%"),
    ]
    return {
        **computed(FORECAST, inputs, _steps(exposure, failures, outlook), more=[*more, NO_WINTER_LIKE_IT, AS_SEEN]),
        "block": block,
        "season": history.season,
        "clock": history.clock,
        "confidence": confidence,
        "standing": standing,
        "left_out": history.left_out,
        "found_failed": history.prevalent,
        "exposure": exposure,
        "failures": failures,
        "draws": DRAWS,
        "seed": SEED,
        "winters": [_winter(history, outlook, number) for number in range(1, winters + 1)],
        "hazards": _hazards(outlook, confidence),
    }


def _steps(exposure: int, failures: int, outlook: Outlook) -> list[Working]:
    rate = failures / exposure if exposure else None
    raw = Working(
        "failures a winter",
        "Failures ÷ cordon-winters followed, all ages together; the hazards below tell the ages apart.",
        f"{failures} ÷ {exposure}",
        rate,
        "1",
    )
    if not outlook.by_winter:
        return [raw]
    first = outlook.by_winter[0]
    ahead = Working(
        "the next winter",
        "Cordons standing at each age × the hazard at that age, summed.",
        "Σ standing × hazard",
        first.mean,
        "1",
    )
    return [raw, ahead]


def _expected(expected: Expected | None, reason: str | None) -> dict[str, Any]:
    if expected is None:
        return {"expected": figure(None, "1", reason=reason), "low": None, "high": None}
    return {"expected": figure(expected.mean, "1"), "low": expected.low, "high": expected.high}


def _winter(history: History, outlook: Outlook, number: int) -> dict[str, Any]:
    told = bool(outlook.by_winter)
    return {
        **_expected(outlook.by_winter[number - 1] if told else None, outlook.reason),
        "winter": number,
        "season": history.season + number,
        "up_to": _expected(outlook.up_to[number - 1] if told else None, outlook.reason),
    }


def _hazards(outlook: Outlook, confidence: float) -> list[dict[str, Any]]:
    hazards = outlook.hazards
    if hazards is None:
        return []
    tail = (100 - confidence) / 200
    low, high = np.quantile(hazards.draws, [tail, 1 - tail], axis=0)
    means = hazards.draws.mean(axis=0)
    return [
        {
            "age": age,
            "standing": int(outlook.standing[age]),
            "exposure": int(hazards.exposure[age]),
            "failures": int(hazards.failures[age]),
            "hazard": float(means[age]),
            "low": float(low[age]),
            "high": float(high[age]),
        }
        for age in range(len(means))
        if age < MOST_AHEAD or hazards.exposure[age] or outlook.standing[: age + 1][-MOST_AHEAD:].any()
    ]


def _example() -> dict[str, Any]:
    """Show an invented block: 200 cordons of 12 years, followed over six winters."""
    ages = np.zeros(101, dtype=np.int64)
    standing, exposure, failures = ages.copy(), ages.copy(), ages.copy()
    standing[12], exposure[6:12], failures[6:12] = 200, 200, [2, 3, 3, 4, 5, 4]
    history = History(2026, AGE, standing, exposure, failures, 0, 3)
    shown: dict[str, Any] = outlook_shown(None, history, outlook_of(history, 2), 2, USUAL_CONFIDENCE)
    return shown


CONFIDENCE: Final = OpenApiParameter(
    "confidence",
    {"type": "number", "minimum": CONFIDENCES[0], "maximum": CONFIDENCES[1]},
    description=f"Of the intervals [%]; {plain(USUAL_CONFIDENCE)} unless said.",
)
CLOCK: Final = OpenApiParameter(
    "clock",
    str,
    enum=list(CLOCKS),
    description="Years of age, or since the first inspection; without it age, where that of every cordon is known.",
)


def confidence_field() -> StrictDecimalField:
    """Give the field of a confidence in per cent."""
    low, high = (int(each) for each in CONFIDENCES)
    return StrictDecimalField(max_digits=27, decimal_places=12, min_value=low, max_value=high)


class CordonOutlook(FarmView):
    """The outlook of a farm's cordons, or a block's."""

    serializer_class = CordonOutlookOut
    pagination_class = None

    @extend_schema(
        summary="Read how many cordons will have to be replaced",
        description="Replacements expected in each of the next winters, with an interval, from the chance of failing "
        "at each age among the cordons that were followed. Ages lend each other strength; what was never followed "
        "says nothing, and without a followed cordon there is a reason and no number.",
        parameters=[
            OpenApiParameter("block", uuid.UUID, description="Only this block."),
            OpenApiParameter("season", SEASON, description="As known in this season; without it, the newest."),
            OpenApiParameter(
                "winters",
                {"type": "integer", "minimum": 1, "maximum": MOST_AHEAD},
                description="How far ahead; 5 unless said.",
            ),
            CONFIDENCE,
            CLOCK,
        ],
        responses=CordonOutlookOut,
        tags=["cordons"],
        examples=[OpenApiExample("An invented block", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            block=StrictUUIDField(),
            season=StrictIntegerField(min_value=1900, max_value=2100),
            winters=StrictIntegerField(min_value=1, max_value=MOST_AHEAD),
            confidence=confidence_field(),
            clock=serializers.ChoiceField(choices=CLOCKS),
        )
        block = block_named(self.opened, query.get("block"))
        winters, confidence = query.get("winters", MOST_AHEAD), float(query.get("confidence", USUAL_CONFIDENCE))
        history = history_for(self.opened, block, query.get("season"), query.get("clock"))
        outlook = outlook_of(history, winters, confidence)
        shown = outlook_shown(block.pk if block else None, history, outlook, winters, confidence)
        return Response(CordonOutlookOut(shown).data)
