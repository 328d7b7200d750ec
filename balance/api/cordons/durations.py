"""How long cases of replacement take."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.cordons.durations import GROUPINGS, AtStep, Duration, GroupDurations, durations_of
from balance.cordons.models import Step
from balance.cordons.step_histories import MOST_GROUPS, MOST_STEPS, NONE, Grouping
from balance.formulas.cordons.durations import METHOD
from balance.formulas.methods import Working
from records.api.strict import StrictQuery, StrictUUIDField
from records.api.views import FarmView

BY_BLOCK: Final = OpenApiParameter("block", uuid.UUID, description="Only this block.")
NO_WAIT: Final = "No case came to this step."
NO_CASE: Final = "There is no case."
STILL_WAITING: Final = "Too many still wait for so many to be over."
_SUM: Final = Working(
    "quartiles",
    "Days are counted up by Kaplan and Meier: each day on which waits end takes the share that ends of those that "
    "still wait. A quartile is the first day by which so many are over.",
    "Π (1 - gone ÷ at risk)",
    None,
    "1",
)


class DurationOut(serializers.Serializer[Any]):
    """How long something took, those still waiting counted in."""

    count = serializers.IntegerField(help_text="Waits, over or lasting.")
    over = serializers.IntegerField()
    waiting = serializers.IntegerField(help_text="Not over (right censored).")
    lower_quartile = FigureOut(help_text="[d]")
    median = FigureOut(help_text="[d]")
    upper_quartile = FigureOut(help_text="[d]")


class FollowedOut(serializers.Serializer[Any]):
    """What followed a step."""

    step = serializers.ChoiceField(choices=Step.choices)
    count = serializers.IntegerField()
    median_days = serializers.FloatField(help_text="Of these alone; those still waiting have no part in it [d].")


class AtStepOut(DurationOut):
    """How long cases stood at one step, whatever followed."""

    step = serializers.ChoiceField(choices=Step.choices)
    followed_by = FollowedOut(many=True)


class ToBearingOut(DurationOut):
    """How long cases took from noticed to the first day on which an arm bore."""

    given_up = serializers.IntegerField(help_text="Of those not over: given up, and counted up to that day.")


class GroupDurationsOut(serializers.Serializer[Any]):
    """The durations of one group."""

    group = serializers.CharField(help_text="What names it: a block's id, a cultivar's code, an origin; or empty.")
    label = serializers.CharField()  # type: ignore[assignment]
    cases = serializers.IntegerField()
    steps = AtStepOut(many=True)
    to_bearing = ToBearingOut()


class CordonDurationsOut(ComputedOut):
    """How long cases of replacement take, step by step."""

    block = serializers.UUIDField(allow_null=True, help_text="Null: the whole farm.")
    by = serializers.ChoiceField(choices=GROUPINGS)
    results = GroupDurationsOut(many=True)


def durations_shown(groups: Iterable[GroupDurations], wanted: Grouping) -> dict[str, Any]:
    """Give the durations as the API shows them."""
    results = [_group(group) for group in groups]
    return {
        **computed(METHOD, [given("cases", sum(group["cases"] for group in results))], [_SUM]),
        "block": wanted.block_id,
        "by": wanted.by,
        "results": results,
    }


def _group(group: GroupDurations) -> dict[str, Any]:
    return {
        "group": group.key,
        "label": group.label,
        "cases": group.cases,
        "steps": [_at_step(each) for each in group.steps],
        "to_bearing": {**_duration(group.to_bearing, NO_CASE), "given_up": group.given_up},
    }


def _at_step(each: AtStep) -> dict[str, Any]:
    followed = [{"step": step, "count": count, "median_days": days} for step, (count, days) in each.followed_by.items()]
    return {**_duration(each.duration, NO_WAIT), "step": each.step, "followed_by": followed}


def _duration(duration: Duration, none: str) -> dict[str, Any]:
    def days(value: float | None) -> dict[str, Any]:
        reason = None if value is not None else STILL_WAITING if duration.count else none
        return figure(value, "d", reason=reason)

    return {
        "count": duration.count,
        "over": duration.over,
        "waiting": duration.waiting,
        "lower_quartile": days(duration.lower),
        "median": days(duration.median),
        "upper_quartile": days(duration.upper),
    }


def _example() -> dict[str, Any]:
    """Show the invented scenario: 24 cases of which 9 came to bear."""
    noticed = AtStep("noticed", Duration(24, 22, 150.0, 172.0, 410.0), {"candidate_chosen": (22, 168.0)})
    group = GroupDurations("", "", 24, [noticed], Duration(24, 9, 830.0, 968.0, None), 2)
    return durations_shown([group], Grouping())


class CordonDurations(FarmView):
    """The durations of a farm's cases."""

    serializer_class = CordonDurationsOut
    pagination_class = None

    @extend_schema(
        summary="Read how long cases of replacement take",
        description="Days from each step to the next and from noticed to the first day on which a new arm bore: "
        "median and quartiles by Kaplan and Meier, so that cases that still wait count for as long as they have "
        "waited. Steps back count as they are: each time a case comes to a step is a wait of its own, ended by "
        "whatever follows. By origin, a wait counts with the candidate that was known when it began. Withdrawn cases "
        f"count nowhere. At most {MOST_STEPS:,} steps and {MOST_GROUPS} groups are answered for at once; ask block by "
        "block beyond.",
        parameters=[
            BY_BLOCK,
            OpenApiParameter("by", str, enum=list(GROUPINGS), description="What tells groups apart; none unless said."),
        ],
        responses=CordonDurationsOut,
        tags=["cordons"],
        examples=[OpenApiExample("A farm", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, block=StrictUUIDField(), by=serializers.ChoiceField(choices=GROUPINGS))
        wanted = Grouping(query.get("by", NONE), query.get("block"))
        return Response(CordonDurationsOut(durations_shown(durations_of(self.opened, wanted), wanted)).data)
