"""How long cordons live until they have to be replaced."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.cordons.asked_blocks import block_named
from balance.cordons.lives import GROUPINGS, MOST_LIVES
from balance.cordons.survival import AGE, CLOCKS, MOST_GROUPS, GroupedSurvival, survival_of
from balance.formulas.cordons.survival import METHOD, kaplan_meier, medians
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain
from records.api.strict import StrictDecimalField, StrictQuery, StrictUUIDField
from records.api.views import FarmView

CONFIDENCES: Final = (50, 99)
USUAL_CONFIDENCE: Final = 95
NOBODY: Final = "No cordon of this group was followed: each was seen in one season only, or its age is not known."
NO_EVENT: Final = "No case was noticed for the cordons of this group while they were followed."
NOT_REACHED: Final = "More than half were still living at the last year on the clock."
NO_LIMIT: Final = "This limit of survival did not come down to a half."
AS_NOTICED: Final = (
    "An event counts in the season in which a case was noticed; looks that lie years apart put it late. "
    "A part of a cordon, a cordon and a whole vine count alike, and so does an arm that failed."
)
NET: Final = (
    "Cordons of vines that were found missing, replanted or retrained are censored as if that said nothing of the "
    "cordon. Where the same disease takes vines and cordons, cordons live less long than this says."
)
FEW_AT_RISK: Final = (
    "Where few cordons are at risk, as at ages before most were first inspected, one event moves all that follows. "
    "Read the numbers at risk beside survival."
)
USED_UP: Final = (
    "In {} nobody was left at risk at a time after which other cordons were first inspected: survival is 0 from there "
    "on, and says nothing of those. Ask with clock=years_since_first_inspection."
)


class YearOut(serializers.Serializer[Any]):
    """One year on the clock in which a case was noticed or a cordon was seen for the last time."""

    year = serializers.IntegerField(help_text="On the clock that was asked for [a].")
    at_risk = serializers.IntegerField(help_text="Cordons followed and not yet ended before this year.")
    events = serializers.IntegerField(help_text="Cases noticed in it.")
    censored = serializers.IntegerField(help_text="Cordons seen in it for the last time, without a case.")
    survival = serializers.FloatField(help_text="Share that lives beyond this year.")
    low = serializers.FloatField(allow_null=True, help_text="Null where survival is 1 or 0: no interval can be had.")
    high = serializers.FloatField(allow_null=True)


class GroupSurvivalOut(serializers.Serializer[Any]):
    """The survival of one group of cordons."""

    group = serializers.CharField(help_text="A block's id, a cultivar's code, a name; empty: all, or not stated.")
    label = serializers.CharField()  # type: ignore[assignment]
    n = serializers.IntegerField(help_text="Cordons that were followed; one that was renewed counts once in each life.")
    events = serializers.IntegerField(help_text="Of them, those for which a case was noticed.")
    censored = serializers.IntegerField(help_text="Of them, those without one when they were last seen.")
    seen_once = serializers.IntegerField(help_text="Left out: not seen again after the season of the first look.")
    found_failed = serializers.IntegerField(help_text="Left out: the case was noticed in the season of the first look.")
    age_not_known = serializers.IntegerField(help_text="Left out: nobody said when they were planted.")
    median = FigureOut(help_text="Year by which half have ended [a].")
    median_low = FigureOut(help_text="Lower end of its interval [a].")
    median_high = FigureOut(help_text="Upper end of its interval [a].")
    years = YearOut(many=True)


class CordonSurvivalOut(ComputedOut):
    """The survival of a farm's cordons."""

    block = serializers.UUIDField(allow_null=True, help_text="Null: the whole farm.")
    by = serializers.ChoiceField(choices=GROUPINGS)
    clock = serializers.ChoiceField(choices=CLOCKS)
    confidence = serializers.FloatField(help_text="Of the intervals [%].")
    results = GroupSurvivalOut(many=True)


def survival_shown(
    found: GroupedSurvival, *, block: uuid.UUID | None, by: str, clock: str, confidence: float
) -> dict[str, Any]:
    """Give survival as the API shows it."""
    inputs = [
        given("cordons", int(found.counted.sum())),
        given("events", int(found.events.sum())),
        given("confidence", confidence, "%"),
    ]
    more = [*_used_up(found), AS_NOTICED, NET, FEW_AT_RISK]
    return {
        **computed(METHOD, inputs, _steps(confidence), more=more),
        "block": block,
        "by": by,
        "clock": clock,
        "confidence": confidence,
        "results": [_group(found, at) for at in range(len(found.keys))],
    }


def _steps(confidence: float) -> Iterator[Working]:
    yield Working(
        "survival",
        "Each year takes the share that ends of the cordons at risk in it. A cordon is at risk from the season after "
        "its first look, an arm from the one in which it was laid down, until its case or the last look.",
        "Π (1 - events ÷ at risk)",
        None,
        "1",
    )
    yield Working(
        "interval",
        f"Greenwood's variance, on the scale of ln(-ln S), at {plain(confidence)} %.",
        "S ^ exp(± z · √Σ events ÷ (at risk · (at risk - events)) ÷ ln S)",
        None,
        "1",
    )


def _group(found: GroupedSurvival, at: int) -> dict[str, Any]:
    n, events = int(found.counted[at]), int(found.events[at])
    none = NOBODY if not n else NO_EVENT if not events else None
    ends = found.medians
    return {
        "group": found.keys[at],
        "label": found.labels[at],
        "n": n,
        "events": events,
        "censored": n - events,
        "seen_once": int(found.seen_once[at]),
        "found_failed": int(found.prevalent[at]),
        "age_not_known": int(found.age_not_known[at]),
        "median": _years(ends.median[at], none or NOT_REACHED),
        "median_low": _years(ends.low[at], none or NO_LIMIT),
        "median_high": _years(ends.high[at], none or NO_LIMIT),
        "years": list(_table(found, at)),
    }


def _years(value: float, reason: str) -> dict[str, Any]:
    known = not np.isnan(value)
    return figure(float(value) if known else None, "a", reason=None if known else reason)


def _table(found: GroupedSurvival, at: int) -> Iterator[dict[str, Any]]:
    table, sets = found.table, found.table.sets
    rows = slice(*sets.begins[at : at + 2])
    columns = (sets.times, sets.at_risk, sets.events, sets.censored, table.survival, table.low, table.high)
    told = (each[rows].tolist() for each in columns)
    for year, at_risk, events, censored, survival, low, high in zip(*told, strict=True):
        yield {
            "year": int(year),
            "at_risk": at_risk,
            "events": events,
            "censored": censored,
            "survival": survival,
            "low": None if np.isnan(low) else low,
            "high": None if np.isnan(high) else high,
        }


def _used_up(found: GroupedSurvival) -> list[str]:
    """Say so where survival is 0 although cordons were followed at later years on the clock."""
    table, sets = found.table, found.table.sets
    later = np.zeros(len(sets), dtype=np.bool_)
    later[1:] = (table.survival[:-1] == 0) & (sets.groups[1:] == sets.groups[:-1])
    groups = np.unique(sets.groups[later])
    return (
        [USED_UP.format(f"{len(groups)} of the groups" if len(found.keys) > 1 else "this group")] if len(groups) else []
    )


def _example() -> dict[str, Any]:
    """Show the invented scenario: twelve cordons planted in one year and followed for seven."""
    table = kaplan_meier([13, 14, 14, 15, 16, 16, *[17] * 6], [1, 1, 0, 1, 1, 0, *[0] * 6], entry=[10] * 12)
    one = np.array([12])
    none = np.array([0])
    found = GroupedSurvival([""], [""], one, np.array([4]), none, np.array([1]), none, table, medians(table))
    return survival_shown(found, block=None, by="none", clock=AGE, confidence=USUAL_CONFIDENCE)


class CordonSurvival(FarmView):
    """The survival of a farm's cordons, or a block's."""

    serializer_class = CordonSurvivalOut
    pagination_class = None

    @extend_schema(
        summary="Read how long cordons live",
        description="Share of cordons that live beyond each year, by Kaplan and Meier with Greenwood's interval: until "
        "a case of replacement is noticed, or else censored when they were last inspected. Cordons count from the "
        "season after their first inspection (delayed entry), arms that a case laid down from that season. Years are "
        "counted from when the arm was laid down or the vine planted (age), or from the first inspection. Withdrawn "
        f"records and cases count nowhere. At most {MOST_LIVES:,} cordons and {MOST_GROUPS} groups are answered for at "
        "once; ask block by block beyond.",
        parameters=[
            OpenApiParameter("block", uuid.UUID, description="Only this block."),
            OpenApiParameter("by", str, enum=list(GROUPINGS), description="What tells groups apart; none unless said."),
            OpenApiParameter("clock", str, enum=list(CLOCKS), description="What years count from; age unless said."),
            OpenApiParameter(
                "confidence",
                {"type": "number", "minimum": CONFIDENCES[0], "maximum": CONFIDENCES[1]},
                description=f"Of the intervals [%]; {USUAL_CONFIDENCE} unless said.",
            ),
        ],
        responses=CordonSurvivalOut,
        tags=["cordons"],
        examples=[OpenApiExample("Twelve cordons", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            block=StrictUUIDField(),
            by=serializers.ChoiceField(choices=GROUPINGS),
            clock=serializers.ChoiceField(choices=CLOCKS),
            confidence=StrictDecimalField(
                max_digits=27, decimal_places=12, min_value=CONFIDENCES[0], max_value=CONFIDENCES[1]
            ),
        )
        block = block_named(self.opened, query.get("block"))
        by, clock = query.get("by", "none"), query.get("clock", AGE)
        confidence = float(query.get("confidence", USUAL_CONFIDENCE))
        found = survival_of(self.opened, block, by=by, clock=clock, confidence=confidence / 100)
        shown = survival_shown(found, block=block.pk if block else None, by=by, clock=clock, confidence=confidence)
        return Response(CordonSurvivalOut(shown).data)
