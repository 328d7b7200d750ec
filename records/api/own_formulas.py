"""Pruning formulas of a farm's or a program's own, beside the shared ones."""

from __future__ import annotations

import uuid
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from records.api.catalogue import FORMULA_EXAMPLE, FormulaOut
from records.api.fields import MassIn, cultivar_field, cultivar_group_field
from records.api.own_catalogue import (
    CULTIVAR,
    FORMULA_NAMED,
    GROUP,
    OWNER,
    OWNERS,
    SAYS_OF_VERSIONS,
    FarmsCodeField,
    OfAFarm,
    OfAProgram,
    ProgramsCodeField,
    answer_added,
)
from records.api.strict import (
    AnyField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
    StrictQuery,
    StrictSerializer,
)
from records.models import PruningFormula
from records.models.catalogue import FormulaKind
from records.services.own_catalogue import add_to_farm, add_to_program
from records.services.own_formulas import formula_columns, kilograms_of_one_unit

_NEW: Final = {
    "code": "own-upper-terrace",
    "label": "33+11 per 500 g",
    "kind": "first_and_further",
    "first_nodes": 33,
    "further_nodes": 11,
    "weight_unit": {"value": 500, "unit": "g"},
    "maximum_nodes": 90,
    "source": "Our own trial on the upper terrace, winters 2024 to 2026 (invented)",
    "note": "For vines on own roots.",
}
_EXAMPLE: Final = {
    **FORMULA_EXAMPLE,
    **_NEW,
    "weight_unit": {"value": 500, "unit": "g", "kg": 0.5},
    "owner": "farm",
    "group": None,
    "is_default": False,
    "cluster_thinning": "",
    "region": "",
    "year": None,
    "source_mark": "farm",
}
_OF_PROGRAM: Final = {"code": "program-harrow-vale", "source": "Trial of the program, 2024 to 2026 (invented)"}


def _nodes(**kwargs: Any) -> StrictDecimalField:
    return StrictDecimalField(max_digits=6, decimal_places=2, min_value=0, max_value=500, **kwargs)


def _units(**kwargs: Any) -> StrictDecimalField:
    return StrictDecimalField(
        max_digits=7, decimal_places=3, min_value=0, max_value=1000, required=False, allow_null=True, **kwargs
    )


def _limit(**kwargs: Any) -> StrictIntegerField:
    return StrictIntegerField(min_value=1, max_value=1000, required=False, allow_null=True, **kwargs)


class NewFormula(StrictSerializer):
    """A formula to add; its numbers belong to its own unit of weight."""

    label = StrictCharField(max_length=120, help_text="How people call it.")  # type: ignore[assignment]
    kind = serializers.ChoiceField(choices=FormulaKind.choices, help_text="How it turns weight into nodes.")
    first_nodes = _nodes(required=False, help_text="A, or the fixed number [nodes], at least 1; not with per_unit.")
    further_nodes = _nodes(required=False, help_text="B, or the nodes for each unit; not with fixed.")
    weight_unit = MassIn(required=False, help_text="One unit of weight, 1 g to 100 kg. Only fixed goes without.")
    lowest_units = _units(help_text="It holds from this many units on. Left out: from one; fixed, at any weight.")
    highest_units = _units(help_text="It holds up to here.")
    minimum_nodes = _limit(help_text="Never fewer than this [nodes].")
    maximum_nodes = _limit(help_text="Never more than this [nodes].")
    group = cultivar_group_field(required=False, allow_null=True, help_text="Code from /cultivar-groups.")
    cultivar = cultivar_field(required=False, allow_null=True, help_text="Code from /cultivars.")
    cluster_thinning = serializers.ChoiceField(
        choices=("yes", "no", "yes/no"),
        required=False,
        allow_blank=True,
        help_text="Whether clusters are thinned with it; empty: not said.",
    )
    region = StrictCharField(max_length=120, required=False, allow_blank=True, help_text="No closer than a district.")
    year = StrictIntegerField(min_value=1700, max_value=2100, required=False, allow_null=True)
    source = StrictCharField(max_length=1000, help_text="Where it comes from: a publication, an adviser, a trial.")  # type: ignore[assignment]
    note = StrictCharField(max_length=4000, required=False, allow_blank=True, multiline=True)


class FarmFormulaIn(NewFormula):
    """A formula that a farm adds for itself."""

    code = FarmsCodeField(help_text="Of one's own: it begins with own-.")


class ProgramFormulaIn(NewFormula):
    """A formula that a program adds for the farms that take part."""

    code = ProgramsCodeField(help_text="The program's own: it begins with program-.")


class FarmFormulas(OfAFarm):
    """The formulas that a farm may use."""

    model = PruningFormula
    keyset = ("code", "formula_version")
    serializer_class = FormulaOut

    @extend_schema(
        summary="List the formulas that a farm may use",
        description="The shared ones, those of the program that the farm takes part in, and its own, each version.",
        parameters=[OWNER, GROUP, CULTIVAR],
        responses=FormulaOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("Its own", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID) -> Response:  # noqa: ARG002
        asked: dict[str, AnyField] = {
            "owner": serializers.ChoiceField(choices=OWNERS),
            "group": StrictCharField(max_length=40),
            "cultivar": StrictCharField(max_length=60),
        }
        return self.listed(StrictQuery.of(request, paged=True, **asked))

    @extend_schema(
        summary="Add a formula of the farm's own",
        description="Name it on the farm, a block or a vine by its code: it answers for none unasked. The service "
        f"marks its source `farm`: nobody else looked at it. {SAYS_OF_VERSIONS}",
        request=FarmFormulaIn,
        responses={200: FormulaOut, 201: FormulaOut},
        tags=["catalogues"],
        examples=[
            OpenApiExample("From a trial of one's own", value=_NEW, request_only=True),
            OpenApiExample("The formula", value=_EXAMPLE, response_only=True),
        ],
    )
    def post(self, request: Request, farm: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = FarmFormulaIn(data=request.data)
        sent.is_valid(raise_exception=True)
        columns = formula_columns(sent.validated_data)
        derived = {"weight_unit_kg": kilograms_of_one_unit(columns)}
        added = add_to_farm(self.opened, PruningFormula, columns, **derived)
        return answer_added(self, added, added.row.formula_version, "farm-formula", farm=farm)


class FarmFormula(OfAFarm):
    """One version of a formula that a farm may use."""

    model = PruningFormula
    serializer_class = FormulaOut

    @extend_schema(
        summary="Read a formula that a farm may use",
        description="One version, by `code@version`: shared, its program's or its own.",
        parameters=[FORMULA_NAMED],
        responses=FormulaOut,
        tags=["catalogues"],
        examples=[OpenApiExample("Its own", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, formula: str) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        return self.one(formula)


class ProgramFormulas(OfAProgram):
    """The formulas of a program's own."""

    model = PruningFormula
    keyset = ("code", "formula_version")
    serializer_class = FormulaOut

    @extend_schema(
        summary="List the formulas of a program's own",
        description="For its leads and for farms that take part in it, each version.",
        parameters=[GROUP, CULTIVAR],
        responses=FormulaOut(many=True),
        tags=["catalogues"],
        examples=[
            OpenApiExample("A program's", value={**_EXAMPLE, **_OF_PROGRAM, "owner": "program"}, response_only=True)
        ],
    )
    def get(self, request: Request, program: uuid.UUID) -> Response:  # noqa: ARG002
        asked: dict[str, AnyField] = {
            "group": StrictCharField(max_length=40),
            "cultivar": StrictCharField(max_length=60),
        }
        return self.listed(StrictQuery.of(request, paged=True, **asked))

    @extend_schema(
        summary="Add a formula of a program's own",
        description="For its leads. Farms that take part may name it on the farm, a block or a vine. The service "
        f"marks its source `farm`: nobody else looked at it. {SAYS_OF_VERSIONS}",
        request=ProgramFormulaIn,
        responses={200: FormulaOut, 201: FormulaOut},
        tags=["catalogues"],
        examples=[
            OpenApiExample("From a program's trial", value={**_NEW, **_OF_PROGRAM}, request_only=True),
            OpenApiExample("The formula", value={**_EXAMPLE, **_OF_PROGRAM, "owner": "program"}, response_only=True),
        ],
    )
    def post(self, request: Request, program: uuid.UUID) -> Response:
        StrictQuery.of(request)
        sent = ProgramFormulaIn(data=request.data)
        sent.is_valid(raise_exception=True)
        columns = formula_columns(sent.validated_data)
        derived = {"weight_unit_kg": kilograms_of_one_unit(columns)}
        added = add_to_program(self.caller, program, PruningFormula, columns, **derived)
        return answer_added(self, added, added.row.formula_version, "program-formula", program=program)


class ProgramFormula(OfAProgram):
    """One version of a formula of a program's own."""

    model = PruningFormula
    serializer_class = FormulaOut

    @extend_schema(
        summary="Read a formula of a program's own",
        description="One version, by `code@version`, for the program's leads and for farms that take part in it.",
        parameters=[FORMULA_NAMED],
        responses=FormulaOut,
        tags=["catalogues"],
        examples=[
            OpenApiExample("A program's", value={**_EXAMPLE, **_OF_PROGRAM, "owner": "program"}, response_only=True)
        ],
    )
    def get(self, request: Request, program: uuid.UUID, formula: str) -> Response:  # noqa: ARG002
        StrictQuery.of(request)
        return self.one(formula)
