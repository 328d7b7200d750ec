"""Bud injury of a block: its samples of one winter pooled, and what becomes of the nodes of its vines."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.buds.block_bud_answers import BlockInjuryAnswer
from balance.api.buds.bud_adjustments import CODE, LONGEST_NAME, AdjustmentField
from balance.api.buds.bud_injury import EXAMPLE as OF_A_SAMPLE
from balance.api.buds.bud_shown import (
    adjusted_shown,
    cautions_on,
    injury_shown,
    potential_shown,
    sampling_shown,
)
from balance.api.figures import computed, figure, given
from balance.buds.likeness import USUAL_MARGIN, Likeness, likeness_of
from balance.buds.pooled_samples import NormalTargets, PooledSamples, normal_targets, samples_of_block
from balance.buds.published import newest_adjustments
from balance.formulas.buds.adjusted_targets import adjusted_nodes
from balance.formulas.buds.bud_adjustments import Adjustment, judge_injury
from balance.formulas.buds.bud_explanation import injury_steps
from balance.formulas.buds.bud_injury import INJURY, bud_injury
from balance.formulas.proportions import MOST_EXAMINED, Share
from records.api.parameters import SEASON
from records.api.strict import StrictDecimalField, StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.models import Block
from records.services.vineyards import block_of

NAMED: Final = {"type": "string", "maxLength": LONGEST_NAME, "pattern": CODE}
PERCENT: Final = {"type": "string", "pattern": r"^(100(\.0{1,6})?|[0-9]{1,2}(\.[0-9]{1,6})?)$"}
_NO_SAMPLE: Final = "No bud sample of this block was read{when}. Send one to /farms/{{farm}}/bud-samples."


_EXAMPLE: Final[dict[str, Any]] = {
    **OF_A_SAMPLE,
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "season": 2027,
    "sample_count": 1,
    "not_read": 0,
    "samples": [
        {
            "id": "01991b5e-0000-7000-8000-0000000d0002",
            "vine": None,
            "observed_at": "2027-02-03T20:30:00Z",
            "cut_where": "low ground by the brook",
            "nodes_examined": 100,
            "primaries_alive": 65,
            "secondaries_alive": 88,
            "injury": 35,
            "low": OF_A_SAMPLE["interval"]["low"],
            "high": OF_A_SAMPLE["interval"]["high"],
        }
    ],
    "likeness": {"chance": None, "unlike": None, "sentence": "There are no two samples to compare."},
    "normal": {"vines_with_target": 100, "mean_target": figure(40, "1"), "nodes": figure(4000, "1")},
    "adjustments": [{**each, "nodes_of_block": figure(5400, "1")} for each in OF_A_SAMPLE["adjustments"]],
}


class BlockInjury(FarmView):
    """The bud injury of a block."""

    serializer_class = BlockInjuryAnswer
    pagination_class = None

    @extend_schema(
        summary="Read the bud injury of a block and its adjusted targets",
        description="The block's bud samples of one winter, pooled and each by itself, with a warning where they "
        "differ by more than chance; what a published adjustment makes of the injury, of the mean target of the "
        "block's vines and of the nodes of all of them. Name an adjustment, or see all side by side; none is mixed "
        "with another.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest with a bud sample."),
            OpenApiParameter("adjustment", NAMED, description="Code from /bud-adjustments; without it all are listed."),
            OpenApiParameter(
                "secondary_fruitfulness", PERCENT, description="What a secondary bud bears [% of a primary]; else off."
            ),
        ],
        responses=BlockInjuryAnswer,
        tags=["bud samples"],
        examples=[OpenApiExample("35 of 100 dead in a block of 100 vines", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            adjustment=AdjustmentField(),
            secondary_fruitfulness=StrictDecimalField(max_digits=27, decimal_places=12, min_value=0, max_value=100),
        )
        found = block_of(self.opened, block)
        pooled = samples_of_block(self.opened, found, query.get("season"))
        normal = normal_targets(self.opened, found, pooled.season)
        methods = [query["adjustment"]] if "adjustment" in query else newest_adjustments()
        fruitfulness = query.get("secondary_fruitfulness")
        return Response(
            BlockInjuryAnswer(
                _answer(found, pooled, normal, methods, None if fruitfulness is None else float(fruitfulness))
            ).data
        )


def _answer(
    block: Block,
    pooled: PooledSamples,
    normal: NormalTargets,
    methods: Sequence[Adjustment],
    fruitfulness: float | None,
) -> dict[str, Any]:
    sampled = 0 < pooled.nodes_examined <= MOST_EXAMINED
    injury = bud_injury(pooled.nodes_examined, pooled.primaries_alive) if sampled else None
    when = f" in season {pooled.season}" if pooled.season else ""
    inputs = [
        given("nodes_examined", pooled.nodes_examined if injury else None),
        given("primaries_alive", pooled.primaries_alive if injury else None),
        given("secondary_fruitfulness", fruitfulness, "%"),
    ]
    cultivar = block.cultivar.code if block.cultivar else None
    likeness = likeness_of(pooled)
    return {
        **computed(INJURY, inputs, injury_steps(injury) if injury else [], more=_cautions(injury, likeness)),
        **injury_shown(injury, None if injury else _NO_SAMPLE.format(when=when)),
        "block": block.pk,
        "season": pooled.season,
        "sample_count": pooled.count,
        "not_read": pooled.not_read,
        "samples": [_sample(row) for row in pooled.listed],
        "likeness": asdict(likeness),
        "normal": _normal(normal),
        "adjustments": [_adjusted(method, injury, normal) for method in methods] if injury else [],
        "crop_potential": potential_shown(pooled.with_secondaries, fruitfulness, cultivar),
        "sampling": sampling_shown(injury, USUAL_MARGIN),
    }


def _cautions(injury: Share | None, likeness: Likeness) -> Iterator[str]:
    if likeness.unlike:
        yield likeness.sentence
    yield from cautions_on(injury)


def _sample(row: dict[str, Any]) -> dict[str, Any]:
    injury = bud_injury(row["nodes_examined"], row["primary_alive"])
    shown = injury_shown(injury)["interval"]
    return {
        **row,
        "vine": row["vine_id"],
        "primaries_alive": row["primary_alive"],
        "secondaries_alive": row["secondary_alive"],
        "injury": injury.percent,
        "low": shown["low"],
        "high": shown["high"],
    }


def _normal(normal: NormalTargets) -> dict[str, Any]:
    nodes = None if normal.reason else float(normal.known.sum())
    return {
        "vines_with_target": int(normal.known.size),
        "mean_target": figure(normal.mean, "1", reason=normal.reason),
        "nodes": figure(nodes, "1", reason=normal.reason),
    }


def _adjusted(method: Adjustment, injury: Share, normal: NormalTargets) -> dict[str, Any]:
    shown = adjusted_shown(method, injury, normal.mean, why_no_target=normal.reason or "")
    factor = judge_injury(method, injury.percent).factor
    nodes = None if normal.reason or factor is None else float(adjusted_nodes(normal.known, factor).sum())
    return {**shown, "nodes_of_block": figure(nodes, "1", reason=shown["target"]["reason"])}
