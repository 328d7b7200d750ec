"""The timeline of a vine and of a cordon."""

from __future__ import annotations

import uuid
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.cordons.models import CordonCase, Step
from balance.cordons.timelines import DATES, KINDS, MOST_ENTRIES, Asked, Entry, Timeline, timeline_of
from records.api.fields import LengthOut, quantity_of
from records.api.parameters import SEASON
from records.api.strict import StrictBooleanField, StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.kinds.definitions import CORDONS
from records.models import CordonInspection

_STEP: Final[dict[str, Any]] = {
    "case": "01991b5e-0000-7000-8000-00000000ca5e",
    "number": 3,
    "step": "laid_down",
    "inspection": None,
    "photo_reference": "2026/02/03/row-3-vine-7.jpg",
}
_ENTRY: Final[dict[str, Any]] = {
    "kind": "cordon_step",
    "id": "01991b5e-0000-7000-8000-00000000ca51",
    "season": 2026,
    "date": "2026-02-03",
    "date_is": "happened",
    "cordon": "left",
    "sentence": "Left cordon: the candidate is laid down, 12 nodes, 1 turn round the wire.",
    "note": "",
    "recorded_by": "01991b5e-0000-7000-8000-0000000000a2",
    "app_name": "Example field app (invented)",
    "withdrawn": False,
    "step": _STEP,
}
_SEEN: Final[dict[str, Any]] = {
    "cordon": "left",
    "inspection": "01991b5e-0000-7000-8000-00000000c0d0",
    "looks": 1,
    "living_positions": 4,
    "blank_positions": 5,
    "cordon_length": {"value": 1.2, "unit": "m", "m": 1.2},
    "blank_length": {"value": 0.6, "unit": "m", "m": 0.6},
    "dieback_length": None,
    "creep": None,
    "tie_too_tight": False,
}
_EXAMPLE: Final[dict[str, Any]] = {
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "row_number": 3,
    "place": 7,
    "label": "",
    "cordon": None,
    "count": 1,
    "results": [_ENTRY],
    "seasons": [{"season": 2026, "seen": [_SEEN]}],
}


class TakenStepOut(serializers.Serializer[Any]):
    """Which step of which case it was, and what shows it."""

    case = serializers.UUIDField()
    number = serializers.IntegerField()
    step = serializers.ChoiceField(choices=Step.choices)
    inspection = serializers.UUIDField(allow_null=True, help_text="The cordon inspection that shows it.")
    photo_reference = serializers.CharField(help_text="Where the farm keeps a photo; empty: none.")


class EntryOut(serializers.Serializer[Any]):
    """One thing known of the vine."""

    kind = serializers.ChoiceField(choices=KINDS)
    id = serializers.UUIDField(help_text="Of the record, or of the step.")
    season = serializers.IntegerField(help_text="The harvest year that the record or the day of the step belongs to.")
    date = serializers.DateField(allow_null=True, help_text="Null: the record has none; it stands first in its season.")
    date_is = serializers.ChoiceField(
        choices=DATES, allow_null=True, help_text="The day on which it happened, or on which it was seen."
    )
    cordon = serializers.CharField(allow_null=True, help_text="Null: about no cordon. Empty: a case of the whole vine.")
    sentence = serializers.CharField()
    note = serializers.CharField()
    recorded_by = serializers.UUIDField(allow_null=True, help_text="The person; null: not known any more.")
    app_name = serializers.CharField()
    withdrawn = serializers.BooleanField(help_text="The record, or the case of the step, was withdrawn as a mistake.")
    step = TakenStepOut(allow_null=True, help_text="Of a cordon_step only.")


class CordonSeenOut(serializers.Serializer[Any]):
    """What was seen of one cordon in one season: its newest look, and nothing from an older one."""

    cordon = serializers.ChoiceField(choices=CORDONS)
    inspection = serializers.UUIDField()
    looks = serializers.IntegerField(help_text="Inspections of it in this season.")
    living_positions = serializers.IntegerField(allow_null=True, help_text="Null: not counted.")
    blank_positions = serializers.IntegerField(allow_null=True, help_text="Null: not counted.")
    cordon_length = LengthOut(allow_null=True)
    blank_length = LengthOut(allow_null=True)
    dieback_length = LengthOut(allow_null=True)
    creep = LengthOut(allow_null=True)
    tie_too_tight = serializers.BooleanField(allow_null=True, help_text="Null: nobody looked.")


class SeasonSeenOut(serializers.Serializer[Any]):
    """What was seen in one season; nothing where nobody looked."""

    season = serializers.IntegerField()
    seen = CordonSeenOut(many=True)


class TimelineOut(serializers.Serializer[Any]):
    """What is known of a vine or a cordon, oldest first."""

    vine = serializers.UUIDField()
    block = serializers.UUIDField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    cordon = serializers.CharField(allow_null=True, help_text="Null: the whole vine was asked for.")
    count = serializers.IntegerField(help_text="Entries.")
    results = EntryOut(many=True)
    seasons = SeasonSeenOut(many=True, help_text="Each season from the first entry's to the last one's.")


class VineTimeline(FarmView):
    """The timeline of a vine."""

    serializer_class = TimelineOut
    pagination_class = None

    @extend_schema(
        summary="Read the timeline of a vine or a cordon",
        description="In the order of the days on which things happened: what happened to the plant, inspections of its "
        "cordons, the steps of its replacements, its dormant records and its harvests. With a cordon: its own "
        "inspections and replacements, those of the whole vine, and what happened to the plant. A record without a "
        "date stands at the beginning of its season. Beside it, what was seen of each cordon season by season: "
        f"nothing is carried over from an older look. At most {MOST_ENTRIES:,} entries are answered at once; ask "
        "season by season beyond.",
        parameters=[
            OpenApiParameter("cordon", str, enum=list(CORDONS), description="Only this cordon."),
            OpenApiParameter("season", SEASON, description="Only what belongs to this harvest year."),
            OpenApiParameter(
                "withdrawn", bool, description="Show also what was withdrawn as a mistake; left out unless true."
            ),
        ],
        responses=TimelineOut,
        tags=["cordons"],
        examples=[OpenApiExample("A vine with one step", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, vine: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            cordon=serializers.ChoiceField(choices=CORDONS),
            season=StrictIntegerField(min_value=1900, max_value=2100),
            withdrawn=StrictBooleanField(),
        )
        asked = Asked(query.get("cordon"), query.get("season"), withdrawn=query.get("withdrawn", False))
        return Response(TimelineOut(_shown(timeline_of(self.opened, vine, asked), asked.cordon)).data)


def _shown(timeline: Timeline, cordon: str | None) -> dict[str, Any]:
    vine = timeline.vine
    return {
        "vine": vine.pk,
        "block": vine.block_id,
        "row_number": vine.row_number,
        "place": vine.place,
        "label": vine.label,
        "cordon": cordon,
        "count": len(timeline.entries),
        "results": [_entry(entry) for entry in timeline.entries],
        "seasons": [
            {"season": season, "seen": [_seen(look, looks) for look, looks in seen]}
            for season, seen in timeline.seasons
        ],
    }


def _entry(entry: Entry) -> dict[str, Any]:
    row = entry.row
    return {
        "kind": entry.kind,
        "id": row.pk,
        "season": entry.season,
        "date": entry.day,
        "date_is": entry.day_is,
        "cordon": entry.cordon,
        "sentence": entry.sentence,
        "note": row.note,
        "recorded_by": row.recorded_by_id,
        "app_name": row.app_name,
        "withdrawn": entry.withdrawn,
        "step": None if entry.case is None else _step(entry.case, row),
    }


def _step(case: CordonCase, step: Any) -> dict[str, Any]:
    return {
        "case": case.pk,
        "number": step.number,
        "step": step.step,
        "inspection": step.inspection_id,
        "photo_reference": step.photo_reference,
    }


def _seen(look: CordonInspection, looks: int) -> dict[str, Any]:
    lengths = ("cordon_length", "blank_length", "dieback_length", "creep")
    return {
        "cordon": look.cordon,
        "inspection": look.pk,
        "looks": looks,
        "living_positions": look.living_positions,
        "blank_positions": look.blank_positions,
        "tie_too_tight": look.tie_too_tight,
        **{name: quantity_of(look, name, "length") for name in lengths},
    }
