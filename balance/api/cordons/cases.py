"""Cases of replacement: open one, see where it stands, take the next step, withdraw it."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.cordons.cases import Move, Opening, case_of, move_case, open_case, steps_of, withdraw_case
from balance.cordons.models import RIPENESS, SPRINGS_FROM, CordonCase, CordonStep, Reason, Scope, Step
from balance.formulas.cordons.candidate_advice import Shoot, advice_on
from balance.formulas.cordons.replacement_steps import FOLLOWING, OPEN
from records.access import Right
from records.api.fields import LengthIn, LengthOut, quantity_of
from records.api.kind_fields import DayField
from records.api.parameters import SEASON, text_of
from records.api.preconditions import answer, expected_version, place_of
from records.api.strict import (
    StrictBooleanField,
    StrictCharField,
    StrictIntegerField,
    StrictQuery,
    StrictSerializer,
    StrictUUIDField,
)
from records.api.views import READ_AND_RECORD, FarmView
from records.kinds.definitions import CORDONS

CASE_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-00000000ca5e",
    "vine": "01991b5e-0000-7000-8000-00000000b1e7",
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "scope": "cordon",
    "cordon": "left",
    "reasons": ["blank_share", "seen"],
    "noticed_on": "2026-01-17",
    "step": "candidate_chosen",
    "step_number": 2,
    "step_on": "2026-07-08",
    "step_season": 2026,
    "laid_down_season": None,
    "candidate": {
        "springs_from": "head",
        "diameter": {"value": 9, "unit": "mm", "m": 0.009},
        "length": {"value": 1.4, "unit": "m", "m": 1.4},
        "ripeness": "",
        "above_graft_union": True,
    },
    "nodes_laid_down": None,
    "wraps": None,
    "note": "",
    "next_steps": ["noticed", "laid_down", "failed", "given_up"],
    "withdrawn_at": None,
    "version": 2,
    "received_at": "2026-01-17T15:04:05Z",
    "changed_at": "2026-07-08T13:20:00Z",
}
STEP_EXAMPLE: Final[dict[str, Any]] = {
    "id": "01991b5e-0000-7000-8000-00000000ca51",
    "number": 1,
    "step": "noticed",
    "happened_on": "2026-01-17",
    "season": 2026,
    "inspection": None,
    "photo_reference": "",
    "note": "blank from the third post on",
    "candidate": {"springs_from": "", "diameter": None, "length": None, "ripeness": "", "above_graft_union": None},
    "nodes_laid_down": None,
    "wraps": None,
    "recorded_by": "01991b5e-0000-7000-8000-0000000000a2",
    "app_name": "Example field app (invented)",
    "received_at": "2026-01-17T15:04:05Z",
}
ADVICE_EXAMPLE: Final = {
    "code": "thickness",
    "warning": False,
    "sentence": "The shoot is 9 mm thick near its base: pencil-thick or more.",
    "source": "A pencil: Univ. Illinois Extension (READ)",
}
WHOLE_EXAMPLE: Final = {**CASE_EXAMPLE, "steps": [STEP_EXAMPLE], "advice": [ADVICE_EXAMPLE]}
CASE_RIGHTS: Final = {**READ_AND_RECORD, "DELETE": Right.RECORD}


class CandidateIn(StrictSerializer):
    """The shoot that is to take the cordon's place; what is left out stays as it was said before."""

    springs_from = serializers.ChoiceField(choices=SPRINGS_FROM, required=False, help_text="Where it springs from.")
    diameter = LengthIn(required=False, allow_null=True, help_text="Near its base, 0 to 100 mm.")
    length = LengthIn(required=False, allow_null=True, help_text="0 to 20 m.")
    ripeness = serializers.ChoiceField(choices=RIPENESS, required=False, help_text="Of its wood.")
    above_graft_union = StrictBooleanField(required=False, allow_null=True)


class CaseIn(StrictSerializer):
    """A case to be opened."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    vine = StrictUUIDField(help_text="Which vine.")
    scope = serializers.ChoiceField(choices=Scope.choices, help_text="How much is to be replaced.")
    cordon = serializers.ChoiceField(
        choices=CORDONS, required=False, help_text="Which one, seen from the side on which the row is worked."
    )
    noticed_on = DayField(help_text="The day on which it was noticed, on the farm.")
    reasons = serializers.ListField(
        child=serializers.ChoiceField(choices=Reason.choices),
        required=False,
        max_length=7,
        help_text="Why; left out: somebody saw it.",
    )
    inspection = StrictUUIDField(required=False, allow_null=True, help_text="The cordon inspection that shows it.")
    photo_reference = StrictCharField(max_length=400, required=False, allow_blank=True)
    note = StrictCharField(max_length=4000, required=False, allow_blank=True, multiline=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if (attrs["scope"] == Scope.VINE) == bool(attrs.get("cordon")):
            raise serializers.ValidationError(
                {"cordon": "Name the cordon for a cordon or a part of one, and none for the whole vine."},
                code="scope_mismatch",
            )
        return attrs


class StepIn(StrictSerializer):
    """The next step of a case."""

    id = StrictUUIDField(required=False, help_text="Made by the client, so that sending again is safe.")
    step = serializers.ChoiceField(choices=Step.choices, help_text="Which step; `next_steps` says what can follow.")
    happened_on = DayField(help_text="The day of the step, on the farm.")
    candidate = CandidateIn(required=False)
    nodes_laid_down = StrictIntegerField(
        min_value=0, max_value=200, required=False, allow_null=True, help_text="Nodes of the arm that was laid down."
    )
    wraps = StrictIntegerField(
        min_value=0, max_value=20, required=False, allow_null=True, help_text="Turns round the wire."
    )
    inspection = StrictUUIDField(required=False, allow_null=True, help_text="The cordon inspection that shows it.")
    photo_reference = StrictCharField(max_length=400, required=False, allow_blank=True)
    note = StrictCharField(max_length=4000, required=False, allow_blank=True, multiline=True)


class CandidateOut(serializers.Serializer[Any]):
    """The shoot that is to take the cordon's place."""

    springs_from = serializers.ChoiceField(choices=["", *SPRINGS_FROM], help_text="Empty: not said.")
    diameter = LengthOut(allow_null=True)
    length = LengthOut(allow_null=True)
    ripeness = serializers.ChoiceField(choices=["", *RIPENESS], help_text="Empty: not said.")
    above_graft_union = serializers.BooleanField(allow_null=True)


def candidate_shown(row: CordonCase | CordonStep) -> dict[str, Any]:
    """Show what is known of the candidate."""
    return {
        "springs_from": row.candidate_springs_from,
        "diameter": quantity_of(row, "candidate_diameter", "length"),
        "length": quantity_of(row, "candidate_length", "length"),
        "ripeness": row.candidate_ripeness,
        "above_graft_union": row.candidate_above_graft_union,
    }


class CaseOut(serializers.ModelSerializer[CordonCase]):
    """A case of replacement, as it stands."""

    vine = serializers.UUIDField(source="vine_id")
    block = serializers.UUIDField(source="block_id")
    reasons = serializers.ListField(child=serializers.ChoiceField(choices=Reason.choices))
    candidate = serializers.SerializerMethodField()
    next_steps = serializers.SerializerMethodField(help_text="What can follow.")

    class Meta:
        model = CordonCase
        fields = [*CASE_EXAMPLE]

    @extend_schema_field(CandidateOut)
    def get_candidate(self, case: CordonCase) -> dict[str, Any]:
        return candidate_shown(case)

    @extend_schema_field({"type": "array", "items": {"type": "string", "enum": Step.values}})
    def get_next_steps(self, case: CordonCase) -> list[str]:
        return [] if case.withdrawn_at else list(FOLLOWING[case.step])


class CordonStepOut(serializers.ModelSerializer[CordonStep]):
    """One step of a case, as it was taken."""

    inspection = serializers.UUIDField(source="inspection_id", allow_null=True)
    recorded_by = serializers.UUIDField(source="recorded_by_id", allow_null=True)
    candidate = serializers.SerializerMethodField(help_text="What was said of it at this step.")

    class Meta:
        model = CordonStep
        fields = [*STEP_EXAMPLE]

    @extend_schema_field(CandidateOut)
    def get_candidate(self, step: CordonStep) -> dict[str, Any]:
        return candidate_shown(step)


class CandidateAdviceOut(serializers.Serializer[Any]):
    """What a source says of the candidate; advice, nothing is refused."""

    code = serializers.CharField()
    warning = serializers.BooleanField(help_text="The candidate does not agree with it.")
    sentence = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]


class WholeCaseOut(CaseOut):
    """A case with its steps and what sources say of the candidate."""

    steps = serializers.SerializerMethodField()
    advice = serializers.SerializerMethodField()

    class Meta:
        model = CordonCase
        fields = [*WHOLE_EXAMPLE]

    @extend_schema_field(CordonStepOut(many=True))
    def get_steps(self, case: CordonCase) -> list[dict[str, Any]]:
        return list(CordonStepOut(steps_of(self.context["view"].opened, case), many=True).data)

    @extend_schema_field(CandidateAdviceOut(many=True))
    def get_advice(self, case: CordonCase) -> list[dict[str, Any]]:
        diameter = case.candidate_diameter_m
        shoot = Shoot(
            diameter_m=None if diameter is None else float(diameter),
            springs_from=case.candidate_springs_from,
            ripeness=case.candidate_ripeness,
            above_graft_union=case.candidate_above_graft_union,
            nodes_laid_down=case.nodes_laid_down,
            wraps=case.wraps,
        )
        return list(CandidateAdviceOut(advice_on(shoot), many=True).data)


class CordonCases(FarmView):
    """The cases of a farm."""

    rights = READ_AND_RECORD
    keyset = ("noticed_on", "id")
    serializer_class = CaseOut

    def get_queryset(self) -> QuerySet[CordonCase]:
        cases: QuerySet[CordonCase] = CordonCase.objects.for_farm(self.opened.farm).filter(withdrawn_at=None)
        return cases

    @extend_schema(
        summary="List cases of replacement",
        description="By the day on which each was noticed; withdrawn ones are left out.",
        parameters=[
            OpenApiParameter("block", uuid.UUID, description="Only this block."),
            OpenApiParameter("vine", uuid.UUID, description="Only this vine."),
            OpenApiParameter("step", str, enum=Step.values, description="Only cases at this step."),
            OpenApiParameter("open", bool, description="Only cases that ask for work, or only closed ones."),
            OpenApiParameter("laid_down_season", SEASON, description="Only arms laid down in this season."),
        ],
        responses=CaseOut(many=True),
        tags=["cordons"],
        examples=[OpenApiExample("A case", value=CASE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            paged=True,
            block=StrictUUIDField(),
            vine=StrictUUIDField(),
            step=serializers.ChoiceField(choices=Step.choices),
            open=StrictBooleanField(),
            laid_down_season=StrictIntegerField(min_value=1900, max_value=2100),
        )
        rows = self.get_queryset()
        if "open" in query:
            rows = rows.filter(step__in=OPEN) if query.pop("open") else rows.exclude(step__in=OPEN)
        names = {"block": "block_id", "vine": "vine_id"}
        page = self.paginate_queryset(rows.filter(**{names.get(name, name): value for name, value in query.items()}))
        return self.get_paginated_response(self.get_serializer(page, many=True).data)

    @extend_schema(
        summary="Open a case of replacement",
        description="For a cordon, a part of one, or the whole vine; one open case for each. With an id of the "
        "client's own, sending it again is safe.",
        request=CaseIn,
        responses={200: CaseOut, 201: CaseOut},
        tags=["cordons"],
        examples=[
            OpenApiExample(
                "A blank left cordon",
                value={
                    "vine": CASE_EXAMPLE["vine"],
                    "scope": "cordon",
                    "cordon": "left",
                    "noticed_on": "2026-01-17",
                    "note": "blank from the third post on",
                },
                request_only=True,
            ),
            OpenApiExample("The case", value=CASE_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = CaseIn(data=request.data)
        sent.is_valid(raise_exception=True)
        told = dict(sent.validated_data)
        case_id = told.pop("id", None)
        opening = Opening(
            vine_id=told.pop("vine"),
            inspection_id=told.pop("inspection", None),
            reasons=tuple(told.pop("reasons", ())) or (Reason.SEEN,),
            **told,
        )
        stored = open_case(self.opened, case_id, opening)
        location = place_of(request, "cordon-case", farm=farm, case=stored.row.pk) if stored.created else None
        return answer(CaseOut(stored.row).data, stored.row, created=stored.created, location=location)


_REASON: Final = OpenApiParameter("reason", text_of(400), description="Why; kept with the version that it replaces.")


class OneCordonCase(FarmView):
    """One case."""

    rights = CASE_RIGHTS
    serializer_class = CaseOut

    @extend_schema(
        summary="Read a case of replacement",
        description="With all its steps, what can follow, and what sources say of the candidate.",
        responses=WholeCaseOut,
        tags=["cordons"],
        examples=[OpenApiExample("A case", value=WHOLE_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, case: uuid.UUID) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        found = case_of(self.opened, case)
        return answer(WholeCaseOut(found, context={"view": self}).data, found)

    @extend_schema(
        summary="Withdraw a case of replacement",
        description="For a case that was a mistake; one that came to nothing is given up instead. Its steps stay.",
        parameters=[_REASON],
        responses={200: CaseOut},
        tags=["cordons"],
        examples=[
            OpenApiExample(
                "Withdrawn",
                value={**CASE_EXAMPLE, "next_steps": [], "withdrawn_at": "2026-07-09T08:00:00Z", "version": 3},
                response_only=True,
            )
        ],
    )
    def delete(self, request: Request, farm: uuid.UUID, case: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(request, reason=StrictCharField(max_length=400))
        found = withdraw_case(self.opened, case, version=expected_version(request), reason=query.get("reason", ""))
        return answer(CaseOut(found).data, found)


class CordonCaseSteps(FarmView):
    """The next step of a case."""

    rights = {"POST": Right.RECORD}
    serializer_class = CaseOut
    takes_if_match = True

    @extend_schema(
        summary="Take the next step of a case",
        description="Forward or back: noticed, candidate chosen, laid down, filling, bearing, failed, given up. From "
        "the version of the case that the caller knows: of two people who move it at once, one wins, and the other is "
        "shown the case as it stands. A step that cannot follow is refused with those that can.",
        request=StepIn,
        responses={200: WholeCaseOut, 201: WholeCaseOut},
        tags=["cordons"],
        examples=[
            OpenApiExample(
                "A candidate",
                value={
                    "step": "candidate_chosen",
                    "happened_on": "2026-07-08",
                    "candidate": {
                        "springs_from": "head",
                        "diameter": {"value": 9, "unit": "mm"},
                        "length": {"value": 1.4, "unit": "m"},
                        "above_graft_union": True,
                    },
                },
                request_only=True,
            ),
            OpenApiExample("The case", value=WHOLE_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID, case: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = StepIn(data=request.data)
        sent.is_valid(raise_exception=True)
        told = dict(sent.validated_data)
        stored = move_case(self.opened, case, told.pop("id", None), _move(told), version=expected_version(request))
        body = WholeCaseOut(stored.row, context={"view": self}).data
        location = place_of(request, "cordon-case", farm=farm, case=case) if stored.created else None
        return answer(body, stored.row, created=stored.created, location=location)


def _move(told: Mapping[str, Any]) -> Move:
    candidate = {f"candidate_{name}": value for name, value in told.get("candidate", {}).items()}
    candidate |= {name: told[name] for name in ("nodes_laid_down", "wraps") if name in told}
    return Move(
        step=told["step"],
        happened_on=told["happened_on"],
        inspection_id=told.get("inspection"),
        photo_reference=told.get("photo_reference", ""),
        note=told.get("note", ""),
        candidate=candidate,
    )
