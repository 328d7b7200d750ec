"""The thinning of a whole block, vine by vine, from its own records."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import asdict
from decimal import Decimal
from typing import Any, Final

import numpy as np
import orjson
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, MethodOut, computed, given
from balance.api.samples.samples_in import cluster_kg, kilograms
from balance.api.statistics import UNITS
from balance.api.table_json import Column, members, numbers, rows_as_json, whole_numbers, words
from balance.api.targets.blocks import as_plain_json, standing_shown
from balance.api.yields.block_yields import SEASON_OF_COUNT
from balance.api.yields.estimates_out import USUAL_CONFIDENCE, EstimatedOut, estimated
from balance.api.yields.thinning import THINNING_CAUTION
from balance.formulas.methods import Working
from balance.formulas.targets.explanation import plain
from balance.formulas.yields.estimates import Estimate
from balance.formulas.yields.lag_phase import DEFAULT_METHOD
from balance.formulas.yields.thinning import VINE_KG, thin, yield_by_crop_load
from balance.walking import Vines, walk
from balance.yields.block_thinning import STATUSES, BlockThinning, Wanted, thinning_of_block
from balance.yields.block_yields import newest_count
from balance.yields.cluster_weight_ways import WayToWeight
from records.api.parameters import ROW_NUMBER, SEASON
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.errors import NotValid
from records.services.vineyards import block_of
from records.units import Quantity

LAST_WINTER: Final = (
    "The crop load is reckoned with LAST winter's pruning weight: the prunings of the dormant season that follows the "
    "harvest, by which crop load is defined, are not known yet. Where a vine gains or loses size it will come out "
    "otherwise."
)
#: A thousandth in any of the units is less than any vine bears, and is written without an exponent.
_LEAST: Final = Decimal("0.001")
_NUMBER: Final = {"type": "number", "minimum": float(_LEAST)}
_UNIT: Final = {"type": "string", "enum": list(UNITS)}
_PARAMETERS: Final = [
    SEASON_OF_COUNT,
    OpenApiParameter("row_number", ROW_NUMBER, description="Only this row."),
    OpenApiParameter(
        "crop_load",
        {"type": "number", "minimum": 0.1, "maximum": 100},
        description="Wanted yield ÷ pruning weight; this or yield_per_vine.",
    ),
    OpenApiParameter("yield_per_vine", {**_NUMBER, "maximum": 5_000_000}, description="Wanted of every vine, in unit."),
    OpenApiParameter("unit", _UNIT, description="Of yield_per_vine; kg unless said."),
    OpenApiParameter(
        "cluster_weight",
        {**_NUMBER, "maximum": 20_000},
        description="Of one cluster at harvest, in cluster_weight_unit; without it from the block's records.",
    ),
    OpenApiParameter("cluster_weight_unit", _UNIT, description="Of cluster_weight; g unless said."),
]


class VineToThin(serializers.Serializer[Any]):
    """One vine: what it has, what to leave and to take off."""

    vine = serializers.UUIDField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    status = serializers.ChoiceField(choices=STATUSES)
    pruning_weight_kg = serializers.FloatField(allow_null=True, help_text="Of last winter [kg]; null: not weighed.")
    clusters_counted = serializers.IntegerField(allow_null=True, help_text="Null: not counted.")
    wanted_yield_kg = serializers.FloatField(allow_null=True, help_text="[kg]")
    clusters_to_leave = serializers.IntegerField(allow_null=True)
    clusters_to_take_off = serializers.IntegerField(allow_null=True, help_text="Null: not counted, or no number.")
    clusters_lacking = serializers.IntegerField(allow_null=True, help_text="Too few for the wanted yield.")
    expected_yield_kg = serializers.FloatField(allow_null=True, help_text="After thinning [kg].")


class WeightWayOut(serializers.Serializer[Any]):
    """The weight of a cluster by one way."""

    method = MethodOut()
    cluster_weight = EstimatedOut(help_text="[kg]")


class BlockThinningOut(ComputedOut):
    """The thinning of every vine of a block, in walking order."""

    block = serializers.UUIDField()
    season = serializers.IntegerField(allow_null=True)
    cluster_weight = WeightWayOut(help_text="The weight that was used.")
    other_weights = WeightWayOut(many=True, help_text="Every way that the block's records have something for, or not.")
    count = serializers.IntegerField(help_text="Vines.")
    with_number = serializers.IntegerField(help_text="Vines with a number of clusters to leave.")
    results = VineToThin(many=True)


def _number(high: int, low: Decimal = _LEAST) -> StrictDecimalField:
    return StrictDecimalField(max_digits=27, decimal_places=12, min_value=low, max_value=high)


def _wanted(query: Mapping[str, Any]) -> Wanted:
    if ("crop_load" in query) == ("yield_per_vine" in query):
        raise NotValid.at("crop_load", code="one_wanted", detail="Send exactly one of crop_load and yield_per_vine.")
    if "crop_load" in query:
        return Wanted(float(query["crop_load"]), None)
    quantity = Quantity(query["yield_per_vine"], query.get("unit", "kg"))
    return Wanted(None, kilograms(quantity, VINE_KG, "yield_per_vine"))


def _cluster_kg(query: Mapping[str, Any]) -> float | None:
    if "cluster_weight" not in query:
        return None
    return cluster_kg(Quantity(query["cluster_weight"], query.get("cluster_weight_unit", "g")), "cluster_weight")


def _as_json(head: dict[str, Any], vines: Vines, thinning: BlockThinning) -> bytes:
    """Write the answer: its head as any other, its vines as one table."""
    opened = orjson.dumps(head, default=as_plain_json)[:-1]
    return b"".join((opened, b',"results":[', rows_as_json(standing_shown(vines), _measured(thinning)), b"]}"))


def _inputs(query: Mapping[str, Any]) -> list[dict[str, Any]]:
    units = {"yield_per_vine": query.get("unit", "kg"), "cluster_weight": query.get("cluster_weight_unit", "g")}
    names = ("crop_load", "yield_per_vine", "cluster_weight")
    return [given(name, query[name], units.get(name, "1")) for name in names if name in query]


def _head(block: Any, thinning: BlockThinning, wanted: Wanted, inputs: list[dict[str, Any]]) -> dict[str, Any]:
    stand_in = [LAST_WINTER] if wanted.crop_load is not None else []
    return {
        **computed(wanted.method, inputs, [_rule(thinning.weight)], more=[*stand_in, THINNING_CAUTION]),
        "block": block,
        "season": thinning.season,
        "cluster_weight": _weight(thinning.way),
        "other_weights": [_weight(way) for way in thinning.ways],
        "count": len(thinning.counted),
        "with_number": int(np.count_nonzero(~np.isnan(thinning.thinned.leave))),
    }


def _rule(weight: Estimate | None) -> Working:
    """Give the one step that every vine's clusters follow from."""
    kilograms = "weight of a cluster" if weight is None else f"{plain(weight.value, 6)} kg"
    return Working(
        "clusters to leave",
        "Each vine's wanted yield ÷ the weight of a cluster, to the nearest whole cluster, a half towards fewer.",
        f"wanted_yield_kg ÷ {kilograms} → clusters_to_leave",
        None if weight is None else weight.value,
        "kg",
    )


def _weight(way: WayToWeight) -> dict[str, Any]:
    shown = estimated(
        way.weight, "kg", USUAL_CONFIDENCE, reason=way.reason, unknown="the weight of a cluster by this way"
    )
    return {"method": asdict(way.method), "cluster_weight": shown}


def _measured(thinning: BlockThinning) -> Column:
    thinned = thinning.thinned
    return members(
        {
            "status": words(thinning.status, STATUSES),
            "pruning_weight_kg": numbers(thinning.pruning_weights_kg),
            "clusters_counted": whole_numbers(thinning.counted),
            "wanted_yield_kg": numbers(thinning.wanted_kg),
            "clusters_to_leave": whole_numbers(thinned.leave),
            "clusters_to_take_off": whole_numbers(thinned.take_off),
            "clusters_lacking": whole_numbers(thinned.lacking),
            "expected_yield_kg": numbers(thinned.expected_kg),
        }
    )


def _example() -> dict[str, Any]:
    """Show one vine of the invented scenario: 2.8 lb of prunings, 84 clusters, a crop load of 7."""
    prunings, counted, weight = np.array([1.270058636]), np.array([84.0]), Estimate(0.116, 0.0042, 9, 10)
    wanted = Wanted(7.0, None)
    wanted_kg = yield_by_crop_load(prunings, 7.0)
    way = WayToWeight(DEFAULT_METHOD, (weight,), None)
    thinned = thin(counted, wanted_kg, weight.value)
    found = BlockThinning(2027, prunings, way, (way,), counted, wanted_kg, thinned, np.array(["ok"]))
    vine = {
        "vine": "01991b5e-0000-7000-8000-00000000b1e7",
        "row_number": 3,
        "place": 7,
        "label": "",
        **orjson.loads(b"{" + bytes(_measured(found)[0]) + b"}"),
    }
    block = "01991b5e-0000-7000-8000-0000000b10c1"
    return {**_head(block, found, wanted, [given("crop_load", 7.0)]), "results": [vine]}


class ThinningOfBlock(FarmView):
    """The thinning of a block."""

    serializer_class = BlockThinningOut
    pagination_class = None

    @extend_schema(
        summary="Read what to thin on every vine of a block",
        description="For a wanted crop load, by each vine's own pruning weight, or for one wanted yield a vine: "
        "clusters counted, to leave and to take off, in walking order. A crop load is reckoned with last winter's "
        "pruning weight, which stands in for the next one. At most 20,000 vines are answered at once; a larger block "
        "is asked for row by row.",
        parameters=_PARAMETERS,
        responses=BlockThinningOut,
        tags=["yield and thinning"],
        examples=[OpenApiExample("A block of one vine", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=SEASON["minimum"], max_value=SEASON["maximum"]),
            row_number=StrictIntegerField(min_value=1, max_value=9999),
            crop_load=_number(100, Decimal("0.1")),
            yield_per_vine=_number(5_000_000),
            unit=serializers.ChoiceField(choices=UNITS),
            cluster_weight=_number(20_000),
            cluster_weight_unit=serializers.ChoiceField(choices=UNITS),
        )
        found = block_of(self.opened, block)
        season = query.get("season") or newest_count(self.opened, found)
        wanted = _wanted(query)
        walked = walk(self.opened, found, season, query.get("row_number"))
        thinning = thinning_of_block(self.opened, found, walked, season, wanted, sent_kg=_cluster_kg(query))
        head = _head(found.pk, thinning, wanted, _inputs(query))
        return Response(_as_json(head, walked.vines, thinning))
