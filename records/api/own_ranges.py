"""Ranges of a farm's or a program's own, beside the shared ones."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.fields import cultivar_field, cultivar_group_field
from records.api.own_catalogue import (
    CULTIVAR,
    GROUP,
    OWNER,
    OWNERS,
    RANGE_NAMED,
    SAYS_OF_VERSIONS,
    FarmsCodeField,
    OfAFarm,
    OfAProgram,
    ProgramsCodeField,
    answer_added,
)
from records.api.ranges import MEASURE, RANGE_EXAMPLE, BalanceRangeOut
from records.api.strict import (
    AnyField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
    StrictQuery,
    StrictSerializer,
)
from records.models import BalanceRange, Measure
from records.models.ranges import Canopy
from records.models.vineyards import Use
from records.services.own_catalogue import add_to_farm, add_to_program
from records.services.own_ranges import MOST, range_columns

_NEW: Final = {
    "code": "own-juice-crop-load",
    "label": "Crop load that we aim at (invented)",
    "measure": "yield_to_pruning_weight",
    "low": 10,
    "high": 15,
    "unit": "1",
    "cultivar": "concord",
    "use": "juice",
    "source": "Our adviser, after five harvests (invented)",
}
_EXAMPLE: Final = {
    **RANGE_EXAMPLE,
    **_NEW,
    "owner": "farm",
    "group": None,
    "region": "",
    "year": None,
    "source_mark": "farm",
}
_OF_PROGRAM: Final = {"code": "program-juice-crop-load", "source": "The program's advisers (invented)"}
_PROGRAMS: Final = OpenApiExample(
    "A program's", value={**_EXAMPLE, **_OF_PROGRAM, "owner": "program"}, response_only=True
)


def _limit(**kwargs: Any) -> StrictDecimalField:
    return StrictDecimalField(
        max_digits=12, decimal_places=5, min_value=0, max_value=int(MOST), required=False, allow_null=True, **kwargs
    )


class NewRange(StrictSerializer):
    """A range to add, with one limit or both."""

    label = StrictCharField(max_length=120, help_text="How people call it.")  # type: ignore[assignment]
    measure = serializers.ChoiceField(choices=Measure.choices, help_text="What it is about.")
    low = _limit(help_text="The lower limit; left out: none.")
    high = _limit(help_text="The upper limit; left out: none.")
    unit = StrictCharField(
        max_length=20,
        help_text="UCUM code of the measure's unit: 1 for yield to pruning weight, kg/m, g, m2/kg, m2/m, /m, {Brix}. A "
        "range in mass or soluble solids may be sent in any unit of these; it is kept in the measure's own.",
    )
    group = cultivar_group_field(required=False, allow_null=True, help_text="Code from /cultivar-groups.")
    cultivar = cultivar_field(required=False, allow_null=True, help_text="Code from /cultivars.")
    use = serializers.ChoiceField(
        choices=Use.choices, required=False, allow_blank=True, help_text="Empty: any use of the fruit."
    )
    canopy = serializers.ChoiceField(
        choices=Canopy.choices, required=False, allow_blank=True, help_text="Empty: single and divided."
    )
    region = StrictCharField(max_length=120, required=False, allow_blank=True, help_text="No closer than a district.")
    year = StrictIntegerField(min_value=1700, max_value=2100, required=False, allow_null=True)
    source = StrictCharField(max_length=1000, help_text="Where it comes from: a publication, an adviser, a trial.")  # type: ignore[assignment]
    note = StrictCharField(max_length=4000, required=False, allow_blank=True, multiline=True)


class FarmRangeIn(NewRange):
    """A range that a farm adds for itself."""

    code = FarmsCodeField(help_text="Of one's own: it begins with own-.")


class ProgramRangeIn(NewRange):
    """A range that a program adds for the farms that take part."""

    code = ProgramsCodeField(help_text="The program's own: it begins with program-.")


_ASKED: Final[dict[str, Callable[[], AnyField]]] = {
    "measure": lambda: serializers.ChoiceField(choices=Measure.choices),
    "group": lambda: StrictCharField(max_length=40),
    "cultivar": lambda: StrictCharField(max_length=60),
}


class FarmRanges(OfAFarm):
    """The ranges that a farm may use."""

    model = BalanceRange
    keyset = ("code", "range_version")
    serializer_class = BalanceRangeOut

    @extend_schema(
        summary="List the ranges that a farm may use",
        description="The shared ones, those of the program that the farm takes part in, and its own, each version.",
        parameters=[OWNER, MEASURE, GROUP, CULTIVAR],
        responses=BalanceRangeOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("Its own", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        asked: dict[str, AnyField] = {name: field() for name, field in _ASKED.items()}
        owner = serializers.ChoiceField(choices=OWNERS)
        return self.listed(StrictQuery.of(request, paged=True, owner=owner, **asked))

    @extend_schema(
        summary="Add a range of the farm's own",
        description="Choose it for a block or for the farm at /range-choices: it holds for none unasked. The service "
        f"marks its source `farm`: nobody else looked at it. {SAYS_OF_VERSIONS}",
        request=FarmRangeIn,
        responses={200: BalanceRangeOut, 201: BalanceRangeOut},
        tags=["catalogues"],
        examples=[
            OpenApiExample("A crop load to aim at", value=_NEW, request_only=True),
            OpenApiExample("The range", value=_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = FarmRangeIn(data=request.data)
        sent.is_valid(raise_exception=True)
        added = add_to_farm(self.opened, BalanceRange, range_columns(sent.validated_data))
        return answer_added(self, added, added.row.range_version, "farm-range", farm=farm)


class FarmRange(OfAFarm):
    """One version of a range that a farm may use."""

    model = BalanceRange
    serializer_class = BalanceRangeOut

    @extend_schema(
        summary="Read a range that a farm may use",
        description="One version, by `code@version`: shared, its program's or its own.",
        parameters=[RANGE_NAMED],
        responses=BalanceRangeOut,
        tags=["catalogues"],
        examples=[OpenApiExample("Its own", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, range: str) -> Response:  # noqa: A002, ARG002
        StrictQuery.of(request)
        return self.one(range)


class ProgramRanges(OfAProgram):
    """The ranges of a program's own."""

    model = BalanceRange
    keyset = ("code", "range_version")
    serializer_class = BalanceRangeOut

    @extend_schema(
        summary="List the ranges of a program's own",
        description="For its leads and for farms that take part in it, each version.",
        parameters=[MEASURE, GROUP, CULTIVAR],
        responses=BalanceRangeOut(many=True),
        tags=["catalogues"],
        examples=[_PROGRAMS],
    )
    def get(self, request: Request, program: uuid.UUID) -> Response:  # noqa: ARG002
        asked: dict[str, AnyField] = {name: field() for name, field in _ASKED.items()}
        return self.listed(StrictQuery.of(request, paged=True, **asked))

    @extend_schema(
        summary="Add a range of a program's own",
        description="For its leads. Farms that take part may choose it for a block or for the farm. The service marks "
        f"its source `farm`: nobody else looked at it. {SAYS_OF_VERSIONS}",
        request=ProgramRangeIn,
        responses={200: BalanceRangeOut, 201: BalanceRangeOut},
        tags=["catalogues"],
        examples=[
            OpenApiExample("A crop load to aim at", value={**_NEW, **_OF_PROGRAM}, request_only=True),
            _PROGRAMS,
        ],
    )
    def post(self, request: Request, program: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = ProgramRangeIn(data=request.data)
        sent.is_valid(raise_exception=True)
        added = add_to_program(self.caller, program, BalanceRange, range_columns(sent.validated_data))
        return answer_added(self, added, added.row.range_version, "program-range", program=program)


class ProgramRange(OfAProgram):
    """One version of a range of a program's own."""

    model = BalanceRange
    serializer_class = BalanceRangeOut

    @extend_schema(
        summary="Read a range of a program's own",
        description="One version, by `code@version`, for the program's leads and for farms that take part in it.",
        parameters=[RANGE_NAMED],
        responses=BalanceRangeOut,
        tags=["catalogues"],
        examples=[_PROGRAMS],
    )
    def get(self, request: Request, program: uuid.UUID, range: str) -> Response:  # noqa: A002, ARG002
        StrictQuery.of(request)
        return self.one(range)
