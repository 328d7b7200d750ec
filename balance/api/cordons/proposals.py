"""What the farm's own thresholds propose for replacement, ready to be opened as cases."""

from __future__ import annotations

import uuid
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import ComputedOut, computed
from balance.cordons.asked_blocks import blocks_asked
from balance.cordons.cases import season_on
from balance.cordons.days import today_on
from balance.cordons.models import Reason, Scope
from balance.cordons.proposals import Proposal, proposals_of
from balance.cordons.thresholds import NOTHING_SET, thresholds_for
from balance.formulas.cordons.replacement_scope import METHOD
from records.api.parameters import ROW_NUMBER, SEASON
from records.api.strict import StrictIntegerField, StrictQuery, StrictUUIDField
from records.api.views import FarmView
from records.kinds.definitions import CORDONS

_CASE: Final[dict[str, Any]] = {
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
    "scope": "cordon",
    "cordon": "left",
    "noticed_on": "2026-01-17",
    "reasons": ["blank_share"],
    "inspection": "01991b5e-0000-7000-8000-0000000d0006",
}
_PROPOSAL: Final[dict[str, Any]] = {
    "vine": _CASE["vine"],
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "block_name": "Lower Terrace (invented)",
    "row_number": 3,
    "place": 7,
    "label": "",
    "scope": "cordon",
    "cordon": "left",
    "season": 2026,
    "inspection": _CASE["inspection"],
    "settings": "01991b5e-0000-7000-8000-000000005e77",
    "reasons": [
        {
            "reason": "blank_share",
            "cordon": "left",
            "measured": {"value": 50, "unit": "%"},
            "threshold": {"value": 40, "unit": "%"},
            "inspection": _CASE["inspection"],
            "season": 2026,
            "source": "the farm's own threshold",
            "sentence": "left cordon, season 2026: 50 % of the spur positions blank (proposed from 40 % on)",
        }
    ],
    "sentence": "left cordon, season 2026: 50 % of the spur positions blank (proposed from 40 % on)",
    "case": _CASE,
}
_EXAMPLE: Final[dict[str, Any]] = {
    **computed(METHOD, [], []),
    "season": 2026,
    "blocks": 1,
    "blocks_without_thresholds": 0,
    "says": None,
    "count": 1,
    "results": [_PROPOSAL],
}


class AmountOut(serializers.Serializer[Any]):
    """A number with its unit, as somebody sent it."""

    value = serializers.FloatField()
    unit = serializers.CharField(help_text="UCUM code.")


class GroundOut(serializers.Serializer[Any]):
    """One reason for a proposal, with what was measured and the threshold."""

    reason = serializers.ChoiceField(choices=Reason.choices)
    cordon = serializers.CharField(help_text="Empty: it is said of the vine.")
    measured = AmountOut()
    threshold = AmountOut(help_text="As it was set.")
    inspection = serializers.UUIDField(allow_null=True, help_text="The inspection that shows it.")
    season = serializers.IntegerField(allow_null=True, help_text="Of that inspection.")
    source = serializers.CharField(help_text="Whose threshold it is.")  # type: ignore[assignment]
    sentence = serializers.CharField()


class ProposedCaseOut(serializers.Serializer[Any]):
    """What to send to open the case, as it is."""

    vine = serializers.UUIDField()
    scope = serializers.ChoiceField(choices=Scope.choices)
    cordon = serializers.ChoiceField(choices=CORDONS, required=False, help_text="Left out for the whole vine.")
    noticed_on = serializers.DateField(help_text="The day of the inspection; where none is known, when it came in.")
    reasons = serializers.ListField(child=serializers.ChoiceField(choices=Reason.choices))
    inspection = serializers.UUIDField()


class ProposalOut(serializers.Serializer[Any]):
    """One cordon, or one whole vine, that the thresholds propose for replacement."""

    vine = serializers.UUIDField()
    block = serializers.UUIDField()
    block_name = serializers.CharField()
    row_number = serializers.IntegerField()
    place = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    scope = serializers.ChoiceField(choices=Scope.choices, help_text="Never a part of a cordon.")
    cordon = serializers.CharField(help_text="Empty: the whole vine.")
    season = serializers.IntegerField(help_text="Of the newest inspection that shows it.")
    inspection = serializers.UUIDField(help_text="The newest inspection that shows it.")
    settings = serializers.UUIDField(help_text="The settings that the thresholds stand in.")
    reasons = GroundOut(many=True)
    sentence = serializers.CharField(help_text="All reasons in one line.")
    case = ProposedCaseOut(help_text="Send it to `cordon-cases` as it is to open the case.")


class ProposalsOut(ComputedOut):
    """What the thresholds propose."""

    season = serializers.IntegerField(help_text="Inspections up to this harvest year count.")
    blocks = serializers.IntegerField(help_text="Blocks that were asked about.")
    blocks_without_thresholds = serializers.IntegerField(help_text="Those of them for which nothing can be proposed.")
    says = serializers.CharField(allow_null=True, help_text="Why nothing can be proposed, and what to set.")
    count = serializers.IntegerField()
    results = ProposalOut(many=True)


class CordonProposals(FarmView):
    """What the farm's thresholds propose for replacement."""

    serializer_class = ProposalsOut
    pagination_class = None

    @extend_schema(
        summary="Read which cordons the farm's own thresholds propose for replacement",
        description="From the newest inspection of each cordon up to a season, held against the thresholds of the "
        "block, or else of the farm (`cordon-settings`). There is no threshold but the farm's own. Each proposal shows "
        "what was measured beside the threshold, and its member `case` can be sent to `cordon-cases` as it is. One "
        "cordon is proposed by itself; more than one of a vine, the whole vine, unless another is being replaced "
        "already.\n\nLeft out: vines that are missing; cordons with an open case, or whose whole vine has one. After "
        "a case that was given up or whose arm bears it takes an inspection of a later day than the last step (of a "
        "later season where no day is known). Inspections from before the vine was planted, replanted or retrained, "
        "or up to the day on which a new arm bore, are of what stood there before.\n\nYears in decline are inspected "
        "seasons running, up to the newest, in which fewer positions lived than in the inspected season before; a "
        "season without an inspection, or whose positions nobody counted, neither counts nor ends them.\n\nIn walking "
        "order; at most 20,000 vines are asked about and 5,000 cordons proposed at once; ask block by block beyond.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the one that today belongs to."),
            OpenApiParameter("block", uuid.UUID, description="Only this block."),
            OpenApiParameter("row_number", ROW_NUMBER, description="Only this row."),
        ],
        responses=ProposalsOut,
        tags=["cordons"],
        examples=[OpenApiExample("A left cordon, half of it blank", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            block=StrictUUIDField(),
            row_number=StrictIntegerField(min_value=1, max_value=9999),
        )
        blocks = blocks_asked(self.opened, query.get("block"))
        season = query.get("season") or season_on(self.opened.farm, today_on(self.opened.farm))
        without = len(blocks) - len(thresholds_for(self.opened, blocks))
        found = proposals_of(
            self.opened, block_id=query.get("block"), row_number=query.get("row_number"), season=season
        )
        body = {
            **computed(METHOD, [], []),
            "season": season,
            "blocks": len(blocks),
            "blocks_without_thresholds": without,
            "says": NOTHING_SET.format(farm=self.opened.farm.pk) if without == len(blocks) else None,
            "count": len(found),
            "results": [shown(proposal) for proposal in found],
        }
        return Response(ProposalsOut(body).data)


def shown(proposal: Proposal) -> dict[str, Any]:
    """Give one proposal as the answer shows it."""
    return {
        "vine": proposal.vine_id,
        "block": proposal.block_id,
        "block_name": proposal.block_name,
        "row_number": proposal.row_number,
        "place": proposal.place,
        "label": proposal.label,
        "scope": proposal.scope,
        "cordon": proposal.cordon,
        "season": proposal.season,
        "inspection": proposal.inspection_id,
        "settings": proposal.settings_id,
        "reasons": [
            {
                "reason": ground.reason,
                "cordon": ground.cordon,
                "measured": {"value": ground.measured.value, "unit": ground.measured.unit},
                "threshold": {"value": ground.threshold.value, "unit": ground.threshold.unit},
                "inspection": ground.inspection_id,
                "season": ground.season,
                "source": ground.source,
                "sentence": ground.sentence,
            }
            for ground in proposal.grounds
        ],
        "sentence": proposal.sentence,
        "case": proposal.as_case(),
    }
