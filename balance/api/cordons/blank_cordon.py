"""The share of blank cordon per block and year, as the farm's inspections say."""

from __future__ import annotations

import uuid
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.cordons.asked_blocks import blocks_asked
from balance.cordons.blank_share import BlankCordon, Sums, blank_cordon_of
from balance.cordons.cases import season_on
from balance.cordons.days import today_on
from balance.formulas.cordons.blank_share import METHOD, change_of_share
from balance.formulas.targets.explanation import plain
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import FarmView
from records.errors import NotValid

#: Seasons that are answered unless others are asked for.
USUAL_SEASONS: Final = 10

NOBODY_SAID: Final = "No cordon inspected in this season says both what is blank and what there is."
NONE_TO_SHARE: Final = "The cordons that say it have none at all, so there is nothing to take a share of."
NO_YEAR_BEFORE: Final = "The season before, or this one, has no such share."
NOT_THE_SAME: Final = "No cordon says it in both seasons."
OTHER_CORDONS: Final = (
    "Where not the same cordons were inspected in two seasons, part of a change may be theirs: read the change on the "
    "same cordons beside it."
)


class BlankShareOut(serializers.Serializer[Any]):
    """One share of blank cordon, over the cordons that say it."""

    cordons = serializers.IntegerField(help_text="Inspected cordons that say both sides of the share.")
    blank = serializers.FloatField(help_text="Positions, or length [m], blank on those.")
    whole = serializers.FloatField(help_text="Positions, or length [m], of those.")
    share = FigureOut(help_text="[%]")
    calculation = serializers.CharField(allow_null=True, help_text="The share as a sum.")
    change = FigureOut(help_text="From the block's share of the season before [percentage points].")
    cordons_in_both = serializers.IntegerField(help_text="Those that say it in the season before, too.")
    change_in_both = FigureOut(help_text="On those alone [percentage points].")


class BlankSeasonOut(serializers.Serializer[Any]):
    """One block in one season."""

    block = serializers.UUIDField()
    block_name = serializers.CharField()
    season = serializers.IntegerField()
    inspected = serializers.IntegerField(help_text="Cordons inspected in the season.")
    positions = BlankShareOut(help_text="By spur positions: blank ÷ (blank + living).")
    length = BlankShareOut(help_text="By length: blank ÷ length of the cordon.")


class BlankCordonOut(ComputedOut):
    """The share of blank cordon per block and year."""

    count = serializers.IntegerField()
    results = BlankSeasonOut(many=True)


def shown(found: BlankCordon, block_name: str) -> dict[str, Any]:
    """Give one block and season as the answer shows it."""
    return {
        "block": found.block_id,
        "block_name": block_name,
        "season": found.season,
        "inspected": found.inspected,
        "positions": _share_shown(found.positions, found.positions_before, ""),
        "length": _share_shown(found.length, found.length_before, " m"),
    }


def _share_shown(sums: Sums, before: float | None, unit: str) -> dict[str, Any]:
    share, change = sums.share, change_of_share(sums.share, before)
    none = NONE_TO_SHARE if sums.cordons else NOBODY_SAID
    written = f"{plain(sums.blank, 3)}{unit} ÷ {plain(sums.whole, 3)}{unit} × 100 = {plain(share or 0, 2)} %"
    return {
        "cordons": sums.cordons,
        "blank": sums.blank,
        "whole": sums.whole,
        "share": figure(share, "%", reason=none if share is None else None),
        "calculation": None if share is None else written,
        "change": figure(change, "%", reason=NO_YEAR_BEFORE if change is None else None),
        "cordons_in_both": sums.cordons_in_both,
        "change_in_both": figure(
            sums.change_in_both, "%", reason=NOT_THE_SAME if sums.change_in_both is None else None
        ),
    }


def _answer(found: list[BlankCordon], names: dict[uuid.UUID, str], first: int, last: int) -> dict[str, Any]:
    placed = {block: place for place, block in enumerate(names)}
    found = sorted(found, key=lambda it: (placed[it.block_id], it.season))
    return {
        **computed(METHOD, [given("from", first, "a"), given("to", last, "a")], [], more=[OTHER_CORDONS]),
        "count": len(found),
        "results": [shown(it, names[it.block_id]) for it in found],
    }


def _example() -> dict[str, Any]:
    block = uuid.UUID("01991b5e-0000-7000-8000-0000000b10c1")
    positions = Sums(3, 9, 30, 2, 7, 20, 5, 20)
    length = Sums(2, 0.9, 2.4, 0, 0, 0, 0, 0)
    body = _answer([BlankCordon(block, 2026, 4, positions, length, 25.0)], {block: "Lower Terrace (invented)"},
                   2026, 2026)  # fmt: skip
    body["results"][0]["block"] = str(block)
    return body


class BlankCordonView(FarmView):
    """The share of blank cordon per block and year."""

    serializer_class = BlankCordonOut
    pagination_class = None

    @extend_schema(
        summary="Read the share of blank cordon per block and year",
        description="By spur positions, blank ÷ (blank + living), and by length, blank ÷ length of the cordon. The "
        "newest inspection of each cordon in a season counts; a cordon that did not say both sides of a share is no "
        "part of it, and how many said it stands beside it. With the change against the season before: of the block's "
        "share, and on the cordons that say it in both seasons alone. There is no verdict: no source prints a share at "
        "which to act. Of the last ten seasons unless others are asked for; at most 300,000 inspections are read and "
        "5,000 blocks and seasons answered at once.",
        parameters=[
            OpenApiParameter("block", uuid.UUID, description="Only this block."),
            OpenApiParameter("from", SEASON, description="First season; without it, nine before the last."),
            OpenApiParameter("to", SEASON, description="Last season; without it, the one that today belongs to."),
        ],
        responses=BlankCordonOut,
        tags=["cordons"],
        examples=[OpenApiExample("Four cordons of a block", value=_example(), response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        asked: dict[str, Any] = {  # "from" is no name in Python
            "block": StrictUUIDField(),
            "from": StrictIntegerField(min_value=1900, max_value=2100),
            "to": StrictIntegerField(min_value=1900, max_value=2100),
        }
        query = StrictQuery.of(request, **asked)
        last = query.get("to") or season_on(self.opened.farm, today_on(self.opened.farm))
        first = query.get("from") or last - USUAL_SEASONS + 1
        if first > last:
            raise NotValid.at(
                "from", code="out_of_range", detail=f"The first season, {first}, lies after the last, {last}."
            )
        names = blocks_asked(self.opened, query.get("block"))
        found = blank_cordon_of(self.opened, names, first, last)
        return Response(BlankCordonOut(_answer(found, names, first, last)).data)
