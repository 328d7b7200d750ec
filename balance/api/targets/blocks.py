"""Targets of a whole block."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np
import orjson
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.advice import CAUTIONS
from balance.api.table_json import Column, ids, members, numbers, rows_as_json, whole_numbers, words
from balance.api.targets.answers import LevelOut
from balance.api.targets.block_young_arms import (
    YoungArmsOfBlockOut,
    positions_among,
    young_arms_of_block_shown,
)
from balance.api.targets.outcomes import OUTCOMES, OutcomeOut
from balance.blocks import BlockTargets, targets_of_block
from balance.cordons.held_back import young_on
from balance.cordons.young_arms import Young, young_arms_of_block
from balance.models import TargetStatus
from balance.resolution import Resolved
from balance.walking import Vines
from records.api.catalogue import FORMULA_EXAMPLE, FormulaOut
from records.api.parameters import ROW_NUMBER, SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.models import Block
from records.services.vineyards import block_of

_VINE_EXAMPLE = {
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
    "row_number": 3,
    "place": 7,
    "label": "",
    "record": "01991b5e-0000-7000-8000-0000000d0001",
    "pruning_weight_kg": 1.270058636,
    "formula": 0,
    "status": "ok",
    "nodes": 48,
    "nodes_unrounded": 48,
    "nodes_retained": 38,
    "difference": -10,
    "tolerance": 3,
    "outcome": "too_few",
}
_EXAMPLE = {
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "season": 2027,
    "count": 1,
    "with_target": 1,
    "formulas": [{"level": "group", "formula": FORMULA_EXAMPLE}],
    "lost_nodes": 0,
    "young_arms": None,
    "cautions": list(CAUTIONS),
    "results": [_VINE_EXAMPLE],
}


class FormulaInUse(serializers.Serializer[Any]):
    """A formula that answers for vines of the block, and the level that named it."""

    level = LevelOut()
    formula = FormulaOut(allow_null=True)


class VineTarget(serializers.Serializer[Any]):
    """One vine's target and verdict."""

    vine = serializers.UUIDField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    record = serializers.UUIDField(allow_null=True, help_text="The dormant record; null: none for this season.")
    pruning_weight_kg = serializers.FloatField(allow_null=True, help_text="[kg]; null: not weighed.")
    formula = serializers.IntegerField(help_text="Position in `formulas`.")
    status = serializers.ChoiceField(choices=TargetStatus.choices)
    nodes = serializers.IntegerField(allow_null=True, help_text="Count nodes to retain [nodes].")
    nodes_unrounded = serializers.FloatField(allow_null=True, help_text="[nodes]")
    nodes_retained = serializers.IntegerField(allow_null=True, help_text="[nodes]; null: not counted.")
    difference = serializers.IntegerField(allow_null=True, help_text="Retained less target [nodes].")
    tolerance = serializers.IntegerField(help_text="[nodes]")
    outcome = OutcomeOut(help_text="Against the whole target; what young arms explain is said in `young_arms`.")
    young_arms = serializers.IntegerField(
        required=False,
        allow_null=True,
        help_text="Position in `young_arms.vines`; null: the vine has none. Left out where no vine has.",
    )


class BlockTargetsOut(serializers.Serializer[Any]):
    """The targets of every vine of a block, in walking order."""

    block = serializers.UUIDField()
    season = serializers.IntegerField(allow_null=True, help_text="Null: the block has no dormant record yet.")
    count = serializers.IntegerField(help_text="Vines.")
    with_target = serializers.IntegerField(help_text="Vines with a number.")
    formulas = FormulaInUse(many=True, help_text="The formulas in use; each vine names its position here.")
    lost_nodes = serializers.IntegerField(
        help_text="What young arms of the block cannot carry of its targets [nodes]; see `young_arms`."
    )
    young_arms = YoungArmsOfBlockOut(allow_null=True, help_text="Null: no arm was young in that winter.")
    cautions = serializers.ListField(child=serializers.CharField())
    results = VineTarget(many=True)


class Targets(FarmView):
    """The targets of a block."""

    serializer_class = BlockTargetsOut
    pagination_class = None

    @extend_schema(
        summary="Read the targets of a whole block",
        description="Every vine in walking order: weight, target, and the verdict on the count that was left. Arms "
        "that were young in that winter are listed with what they cannot carry. At most 20,000 vines are answered at "
        "once; a larger block is asked for row by row.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest that was recorded."),
            OpenApiParameter("row_number", ROW_NUMBER, description="Only this row."),
        ],
        responses=BlockTargetsOut,
        tags=["targets"],
        examples=[OpenApiExample("A block of one vine", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            row_number=StrictIntegerField(min_value=1, max_value=9999),
        )
        found = block_of(self.opened, block)
        computed = targets_of_block(self.opened, found, query.get("season"), query.get("row_number"))
        young = young_on(computed, young_arms_of_block(self.opened, found, computed.season))
        return Response(as_json(found, computed, young))


def as_json(block: Block, computed: BlockTargets, young: Mapping[int, Young]) -> bytes:
    """Write the answer: its head as any other, its vines as one table; ``young`` are young arms by position."""
    told = young_arms_of_block_shown(computed, young)
    head = {
        "block": block.pk,
        "season": computed.season,
        "count": len(computed.walked),
        "with_target": int(np.count_nonzero(~np.isnan(computed.targets.nodes))),
        "formulas": [{"level": each.level or None, "formula": _formula(each)} for each in computed.formulas],
        "lost_nodes": told["lost"] if told else 0,
        "young_arms": told,
        "cautions": CAUTIONS,
    }
    opened = orjson.dumps(head, default=as_plain_json)[:-1]
    parts = [standing_shown(computed.walked.vines), _measured(computed)]
    if young:  # where no arm is young, the rows cost what they cost without this
        parts.append(members({"young_arms": whole_numbers(positions_among(len(computed.walked), young))}))
    return b"".join((opened, b',"results":[', rows_as_json(*parts), b"]}"))


def _formula(resolved: Resolved) -> Any:
    return FormulaOut(resolved.formula).data if resolved.formula else None


@lru_cache(maxsize=16)
def standing_shown(vines: Vines) -> Column:
    """Write what stays the same of every vine; kept for as long as its block's vines are."""
    return members(
        {
            "vine": ids(vines.ids),
            "row_number": numbers(vines.row_numbers),
            "place": numbers(vines.places),
            "label": vines.labels,
        }
    )


def _measured(computed: BlockTargets) -> Column:
    walked, targets = computed.walked, computed.targets
    return members(
        {
            "record": ids(walked.records),
            "pruning_weight_kg": numbers(walked.weights_kg),
            "formula": numbers(computed.formula_of),
            "status": words(targets.status, TargetStatus.values),
            "nodes": whole_numbers(targets.nodes),
            "nodes_unrounded": numbers(targets.unrounded),
            "nodes_retained": whole_numbers(walked.retained),
            "difference": whole_numbers(computed.difference),
            "tolerance": whole_numbers(computed.tolerance),
            "outcome": words(computed.outcome, OUTCOMES),
        }
    )


def as_plain_json(value: Any) -> Any:
    """Give what orjson does not know: numbers of the catalogue, and mappings of the serializers."""
    return float(value) if hasattr(value, "as_tuple") else dict(value)
