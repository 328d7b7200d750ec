"""Recall of a formula on one farm: which targets it led to, and whether their records still say the same."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.targets.answers import LevelOut
from balance.models import PruningTarget, TargetStatus
from balance.recall import targets_told_by, with_records
from records.api.own_catalogue import FORMULA_NAMED
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.models import PruningFormula
from records.services.own_catalogue import usable_by, version_named

_EXAMPLE: Final = {
    "id": "01991b5e-0000-7000-8000-00000000d401",
    "told_at": "2027-01-16T15:02:07Z",
    "season": 2027,
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
    "record": "01991b5e-0000-7000-8000-0000000d0001",
    "record_version": 1,
    "current_version": 2,
    "changed_since": True,
    "weight_changed_since": False,
    "withdrawn": False,
    "level": "group",
    "status": "ok",
    "nodes": 48,
}


class ToldTargetOut(serializers.Serializer[Any]):
    """A target as it was told, and whether its record has changed since."""

    id = serializers.UUIDField(source="target.pk", help_text="Of the told target.")
    told_at = serializers.DateTimeField(source="target.received_at", help_text="When it was first told.")
    season = serializers.IntegerField(source="record.season", help_text="Harvest year that the target is for.")
    block = serializers.UUIDField(source="record.block_id")
    vine = serializers.UUIDField(source="record.vine_id")
    record = serializers.UUIDField(source="target.dormant_record_id", help_text="The dormant record.")
    record_version = serializers.IntegerField(source="target.record_version", help_text="It was computed from this.")
    current_version = serializers.IntegerField(source="record.version", help_text="The record stands at this now.")
    changed_since = serializers.BooleanField(help_text="Anything of the record, the count that was left too.")
    weight_changed_since = serializers.BooleanField(help_text="The pruning weight itself.")
    withdrawn = serializers.SerializerMethodField(help_text="The record was withdrawn since.")
    level = LevelOut(source="target.level")
    status = serializers.ChoiceField(source="target.status", choices=TargetStatus.choices)
    nodes = serializers.IntegerField(source="target.nodes", allow_null=True, help_text="Count nodes to keep, as told.")

    def get_withdrawn(self, told: Any) -> bool:
        return told.record.withdrawn_at is not None


class ToldTargets(FarmView):
    """The targets of a farm that one version of a formula led to."""

    keyset = ("-received_at", "-id")
    serializer_class = ToldTargetOut

    def get_queryset(self) -> QuerySet[PruningTarget]:
        return PruningTarget.objects.none()  # which formula and season, the request says

    @extend_schema(
        summary="Recall a formula: the targets that it led to",
        description="Every target that was told on this farm by one version of a formula, the last told first: for "
        "when a formula turns out to be wrong. Each version of a record that was told a target is a row; what was told "
        "by another formula stands under that. What the table of a block shows is computed at each reading and kept "
        "nowhere: it goes by whichever formula is named then.",
        parameters=[
            FORMULA_NAMED,
            OpenApiParameter("season", SEASON, description="Only targets for this harvest year."),
        ],
        responses=ToldTargetOut(many=True),
        tags=["targets"],
        examples=[OpenApiExample("One target", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, formula: str) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, paged=True, season=StrictIntegerField(min_value=1900, max_value=2100))
        named = version_named(usable_by(PruningFormula, self.opened.farm), formula)
        page = self.paginate_queryset(targets_told_by(self.opened, named, query.get("season"))) or []
        told = with_records(self.opened, page)
        return self.get_paginated_response(self.get_serializer(list(told), many=True).data)
