"""How many of the arms that were laid down came to bear."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.cordons.durations import BY_BLOCK
from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.api.yields.estimates_out import CONFIDENCE_PARAMETER, USUAL_CONFIDENCE, confidence_field
from balance.cordons.step_histories import MOST_GROUPS, MOST_STEPS, ORIGIN, Grouping
from balance.cordons.successes import GROUPINGS, GroupSuccesses, successes_of
from balance.formulas.cordons.attempts import METHOD
from balance.formulas.methods import Working
from balance.formulas.proportions import Share, exact_share
from records.api.strict import StrictQuery, StrictUUIDField
from records.api.views import FarmView

NONE_ENDED: Final = "No attempt has ended yet: none came to bear, and none failed."
#: Shown to so many decimals: what lies behind them is noise of binary numbers.
_DECIMALS: Final = 6
_SUM: Final = Working(
    "share",
    "Of the attempts that ended, those that came to bear; what was taken back or is under way says neither.",
    "came_to_bear ÷ (came_to_bear + failed)",
    None,
    "%",
)


class SuccessShareOut(FigureOut):
    """A share with its exact binomial interval, or the reason why there is none."""

    low = serializers.FloatField(allow_null=True, help_text="[%]")
    high = serializers.FloatField(allow_null=True, help_text="[%]")
    n = serializers.IntegerField(help_text="Attempts that ended.")


class GroupSuccessesOut(serializers.Serializer[Any]):
    """What came of the attempts of one group."""

    group = serializers.CharField(help_text="An origin, a cultivar's code, a rootstock, a block's id; or empty.")
    label = serializers.CharField()  # type: ignore[assignment]
    attempts = serializers.IntegerField(help_text="Each time an arm was laid down.")
    came_to_bear = serializers.IntegerField(help_text="It bears, or bore until it failed.")
    lost_again = serializers.IntegerField(help_text="Of those that came to bear: failed later.")
    failed = serializers.IntegerField(help_text="It failed, or its case was given up while it lay.")
    given_up = serializers.IntegerField(help_text="Of those that failed: the case was given up while the arm lay.")
    taken_back = serializers.IntegerField(help_text="A step back put another shoot or another arm in its place.")
    under_way = serializers.IntegerField()
    share = SuccessShareOut(help_text="Of those that came to bear or failed [%].")


class CordonSuccessesOut(ComputedOut):
    """How many of the arms that were laid down came to bear."""

    block = serializers.UUIDField(allow_null=True, help_text="Null: the whole farm.")
    by = serializers.ChoiceField(choices=GROUPINGS)
    confidence = serializers.FloatField(help_text="Of the intervals [%].")
    results = GroupSuccessesOut(many=True)


def successes_shown(groups: Iterable[GroupSuccesses], wanted: Grouping, confidence: float) -> dict[str, Any]:
    """Give the successes as the API shows them; ``confidence`` in per cent."""
    results = [_group(group) for group in groups]
    inputs = [given("attempts", sum(group["attempts"] for group in results)), given("confidence", confidence, "%")]
    return {
        **computed(METHOD, inputs, [_SUM]),
        "block": wanted.block_id,
        "by": wanted.by,
        "confidence": confidence,
        "results": results,
    }


def _group(group: GroupSuccesses) -> dict[str, Any]:
    return {
        "group": group.key,
        "label": group.label,
        "attempts": group.attempts,
        "came_to_bear": group.came_to_bear,
        "lost_again": group.lost_again,
        "failed": group.failed,
        "given_up": group.given_up,
        "taken_back": group.taken_back,
        "under_way": group.under_way,
        "share": _share(group.share),
    }


def _share(share: Share | None) -> dict[str, Any]:
    if share is None:
        return {**figure(None, "%", reason=NONE_ENDED), "low": None, "high": None, "n": 0}
    return {
        **figure(round(share.percent, _DECIMALS), "%"),
        "low": round(share.low_percent, _DECIMALS),
        "high": round(share.high_percent, _DECIMALS),
        "n": share.of,
    }


def _example() -> dict[str, Any]:
    """Show the invented scenario: of 21 arms from the head, 14 came to bear and 3 failed."""
    head = GroupSuccesses("head", "head", 21, 14, 3, 1, 3, 1, 0, exact_share(14, 17))
    return successes_shown([head], Grouping(ORIGIN), USUAL_CONFIDENCE)


class CordonSuccesses(FarmView):
    """The successes of a farm's attempts."""

    serializer_class = CordonSuccessesOut
    pagination_class = None

    @extend_schema(
        summary="Read how many of the arms laid down came to bear",
        description="Each time an arm is laid down is an attempt. By where the shoot sprang from, as it was last said "
        "while the arm stood, or by cultivar, rootstock (the vine's own, else the block's) or block; of those that "
        "ended, the share that came to bear, with the exact binomial interval (Clopper and Pearson). An attempt whose "
        "case is given up while the arm lies failed; one that a step back took away counts as neither. Withdrawn cases "
        f"count nowhere. At most {MOST_STEPS:,} steps and {MOST_GROUPS} groups are answered for at once; ask block by "
        "block beyond.",
        parameters=[
            BY_BLOCK,
            OpenApiParameter(
                "by", str, enum=list(GROUPINGS), description="What tells groups apart; origin unless said."
            ),
            CONFIDENCE_PARAMETER,
        ],
        responses=CordonSuccessesOut,
        tags=["cordons"],
        examples=[OpenApiExample("A farm", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            block=StrictUUIDField(),
            by=serializers.ChoiceField(choices=GROUPINGS),
            confidence=confidence_field(),
        )
        confidence = float(query.get("confidence", USUAL_CONFIDENCE))
        wanted = Grouping(query.get("by", ORIGIN), query.get("block"))
        found = successes_of(self.opened, wanted, round(confidence / 100, 9))
        return Response(CordonSuccessesOut(successes_shown(found, wanted, confidence)).data)
