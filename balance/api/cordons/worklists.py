"""The work that cordons ask for in a winter or a summer, in walking order or by urgency, as JSON or CSV."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Iterable
from typing import Any, Final

from django.http import HttpResponseBase
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.advice import CAUTIONS
from balance.cordons.models import Scope, Step
from balance.cordons.worklist import Wanted, Work, hours_of, part_of_year_of, worklist
from balance.formulas.cordons.reminders import PARTS_OF_YEAR, SUMMER, TASKS
from balance.samples.sampling import season_ahead
from records.api.forms import CSV, CsvRenderer, InForms, attachment, form_asked, form_field, form_parameter, in_forms
from records.api.forms import renderers as renderers_with
from records.api.parameters import ROW_NUMBER, SEASON
from records.api.strict import StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import FarmView
from records.exporting.cells import line_of

ORDERS: Final = ("walking", "urgency")
_ROW: Final[dict[str, Any]] = {
    "task": "unwrap",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "block_name": "Lower Terrace (invented)",
    "row_number": 3,
    "place": 7,
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
    "label": "",
    "case": "01991b5e-0000-7000-8000-00000000ca5e",
    "scope": "cordon",
    "cordon": "left",
    "step": "laid_down",
    "step_on": "2026-02-03",
    "due_season": 2027,
    "overdue": 0,
    "minutes": 6,
    "reason": "left cordon: the candidate is laid down since 2026-02-03",
    "sentence": "Unwrap the arm that was laid down a winter ago: left wrapped, it girdles.",
    "source": "Oregon State Univ., How to renew a grapevine cordon (READ)",
}
_EXAMPLE: Final = {
    "season": 2027,
    "part_of_year": "winter",
    "order": "walking",
    "vines": 1,
    "hours": 0.1,
    "without_minutes": 0,
    "count": 1,
    "by_task": [{"task": "unwrap", "count": 1}],
    "results": [_ROW],
    "cautions": list(CAUTIONS),
}


class WorkOut(serializers.Serializer[Any]):
    """One task on one vine."""

    task = serializers.ChoiceField(choices=TASKS)
    block = serializers.UUIDField()
    block_name = serializers.CharField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    vine = serializers.UUIDField()
    label = serializers.CharField()  # type: ignore[assignment]
    case = serializers.UUIDField(help_text="The case that asks for it.")
    scope = serializers.ChoiceField(choices=Scope.choices)
    cordon = serializers.CharField(help_text="Empty: the whole vine.")
    step = serializers.ChoiceField(choices=Step.choices)
    step_on = serializers.DateField()
    due_season = serializers.IntegerField(help_text="The first season in whose winter or summer it was to be done.")
    overdue = serializers.IntegerField(help_text="Seasons gone by since.")
    minutes = serializers.FloatField(allow_null=True, help_text="What the farm says it takes; null: not said.")
    reason = serializers.CharField(help_text="What stands, and since when.")
    sentence = serializers.CharField(help_text="What to do.")
    source = serializers.CharField()  # type: ignore[assignment]


class OfATask(serializers.Serializer[Any]):
    """How many tasks of one kind."""

    task = serializers.ChoiceField(choices=TASKS)
    count = serializers.IntegerField()


class WorklistOut(serializers.Serializer[Any]):
    """The work of one winter or summer."""

    season = serializers.IntegerField()
    part_of_year = serializers.ChoiceField(choices=PARTS_OF_YEAR)
    order = serializers.ChoiceField(choices=ORDERS)
    vines = serializers.IntegerField(help_text="Vines that the work is on.")
    hours = serializers.FloatField(allow_null=True, help_text="Where the farm said how long tasks take [h].")
    without_minutes = serializers.IntegerField(help_text="Tasks for which it did not.")
    count = serializers.IntegerField(help_text="Tasks.")
    by_task = OfATask(many=True)
    results = WorkOut(many=True)
    cautions = serializers.ListField(child=serializers.CharField())


class CordonWorklist(InForms, FarmView):
    """The worklist of a farm, a block or a row."""

    serializer_class = WorklistOut
    pagination_class = None
    renderer_classes = renderers_with(CsvRenderer)

    @extend_schema(
        summary="Read the work that cordons ask for",
        description="What the cases of replacement ask for in one winter or summer: look for a candidate, lay it down, "
        "unwrap it a winter later, look at its ties, keep fewer nodes on it, take the old arm off. In walking order, "
        "or what is longest overdue first. At most 5,000 cases are answered for at once; ask block by block beyond.",
        parameters=[
            form_parameter("csv"),
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the winter or summer ahead."),
            OpenApiParameter(
                "part_of_year", str, enum=list(PARTS_OF_YEAR), description="Without it, what it is on the farm now."
            ),
            OpenApiParameter("block", uuid.UUID, description="Only this block."),
            OpenApiParameter("row_number", ROW_NUMBER, description="Only this row."),
            OpenApiParameter("order", str, enum=list(ORDERS), description="walking unless said."),
        ],
        responses=in_forms(WorklistOut, csv=OpenApiTypes.STR),
        tags=["cordons"],
        examples=[
            OpenApiExample("A winter's work", value=_EXAMPLE, response_only=True, media_type="application/json"),
        ],
    )
    def get(self, request: Request, farm: uuid.UUID) -> HttpResponseBase:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            part_of_year=serializers.ChoiceField(choices=PARTS_OF_YEAR),
            block=StrictUUIDField(),
            row_number=StrictIntegerField(min_value=1, max_value=9999),
            order=serializers.ChoiceField(choices=ORDERS),
            **{"as": form_field("csv")},
        )
        wanted = self._wanted(query)
        works = worklist(self.opened, wanted)
        if form_asked(request) == CsvRenderer.format:
            return attachment(as_csv(works), CSV, f"cordons-{wanted.season}-{wanted.part_of_year}.csv")
        hours, without = hours_of(works)
        counts = Counter(work.task.code for work in works)
        body = {
            "season": wanted.season,
            "part_of_year": wanted.part_of_year,
            "order": ORDERS[wanted.by_urgency],
            "vines": len({work.vine.pk for work in works}),
            "hours": hours,
            "without_minutes": without,
            "count": len(works),
            "by_task": [{"task": task, "count": counts[task]} for task in TASKS if counts[task]],
            "results": [shown(work) for work in works],
            "cautions": CAUTIONS,
        }
        return Response(WorklistOut(body).data)

    def _wanted(self, query: dict[str, Any]) -> Wanted:
        farm, now = self.opened.farm, timezone.now()
        part = query.get("part_of_year") or part_of_year_of(farm, now.date())
        season = query.get("season")
        if season is None:
            ahead = season_ahead(farm, now)
            season = ahead if part != SUMMER else now.date().year
        return Wanted(season, part, query.get("block"), query.get("row_number"), query.get("order") == "urgency")


def shown(work: Work) -> dict[str, Any]:
    """Give one task as the answer shows it."""
    case, vine = work.case, work.vine
    return {
        "task": work.task.code,
        "block": work.block.pk,
        "block_name": work.block.name,
        "row_number": vine.row_number,
        "place": vine.place,
        "vine": vine.pk,
        "label": vine.label,
        "case": case.pk,
        "scope": case.scope,
        "cordon": case.cordon,
        "step": case.step,
        "step_on": case.step_on,
        "due_season": work.task.due_season,
        "overdue": work.task.overdue,
        "minutes": work.minutes,
        "reason": work.reason,
        "sentence": work.sentence,
        "source": work.source,
    }


#: What a person in the row needs, in the order in which they need it.
_COLUMNS: Final = {
    "block_name": False,
    "row_number": True,
    "place": True,
    "label": False,
    "cordon": False,
    "task": False,
    "overdue": True,
    "minutes": True,
    "reason": False,
    "sentence": False,
    "case": False,
}


def as_csv(works: Iterable[Work]) -> str:
    """Write the list as CSV, with nothing that a spreadsheet takes for a formula."""
    lines = [line_of((name, False) for name in _COLUMNS)]
    for work in works:
        row = shown(work)
        cells = ((None if row[name] is None else str(row[name]), number) for name, number in _COLUMNS.items())
        lines.append(line_of(cells))
    return "\ufeff" + "".join(lines)
