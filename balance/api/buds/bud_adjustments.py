"""The published adjustments to bud injury, for anybody: each with its source, none of them a default."""

from __future__ import annotations

from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.fields import empty
from rest_framework.request import Request
from rest_framework.response import Response

from balance.buds.published import adjustment_named, adjustments
from balance.formulas.buds.bud_adjustments import RULES, Adjustment, Band
from records.api.strict import StrictCharField, StrictQuery
from records.api.views import OpenView

LONGEST_NAME: Final = 60
CODE: Final = r"^[A-Za-z0-9][A-Za-z0-9_.-]*(@[1-9][0-9]{0,3})?$"
EXAMPLE: Final[dict[str, Any]] = {
    "code": "cornell-nny-2014",
    "version": 1,
    "label": "Cornell 2014: leave the same percentage more",
    "source": "Cornell Cooperative Extension, northern New York grape update, 28 Feb 2014",
    "region": "Northern New York",
    "year": 2014,
    "bands": [
        {
            "from_percent": 20,
            "from_included": True,
            "to_percent": 80,
            "to_included": True,
            "rule": "add_injury_percent",
            "value": None,
            "expression": "normal target × (1 + injury ÷ 100)",
            "mark": "READ",
            "note": "The source's own example: 35 % injured, 35 % more buds",
        }
    ],
}


@extend_schema_field({"type": "string", "maxLength": LONGEST_NAME, "pattern": CODE})
class AdjustmentField(StrictCharField):
    """An adjustment by its code: its newest version, unless ``code@version`` names another."""

    default_error_messages = {
        "does_not_exist": "There is no adjustment {name!r}. The list is at /api/v1/bud-adjustments.",
    }

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            max_length=LONGEST_NAME,
            help_text="Code from /bud-adjustments; `code@version` names a version. Without it all are listed side by "
            "side, each by itself.",
            **kwargs,
        )

    def run_validation(self, data: Any = empty) -> Adjustment | None:
        name = super().run_validation(data)
        found = adjustment_named(name) if name is not None else None
        if name is not None and found is None:
            self.fail("does_not_exist", name=name)
        return found


class BandOut(serializers.Serializer[Any]):
    """What a source says of injuries from one percentage to another, as printed."""

    from_percent = serializers.FloatField(help_text="[% of primary buds dead]")
    from_included = serializers.BooleanField(help_text="Whether the source counts this end.")
    to_percent = serializers.FloatField(help_text="[% of primary buds dead]")
    to_included = serializers.BooleanField(help_text="Whether the source counts this end.")
    rule = serializers.ChoiceField(choices=[*RULES], help_text="The last two have no number.")
    value = serializers.FloatField(allow_null=True, help_text="What `add_percent` adds [%].")
    expression = serializers.CharField(help_text="The rule as people write it.")
    mark = serializers.CharField(help_text="How well the source is known.")
    note = serializers.CharField()


class AdjustmentOut(serializers.Serializer[Any]):
    """One published adjustment, with the gaps and overlaps of its bands as they are printed."""

    code = serializers.CharField()
    version = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    source = serializers.CharField()  # type: ignore[assignment]
    region = serializers.CharField()
    year = serializers.IntegerField(allow_null=True, help_text="Null: not known.")
    bands = BandOut(many=True)


def band_shown(band: Band) -> dict[str, Any]:
    """Give a band as the API shows it."""
    names = ("from_percent", "from_included", "to_percent", "to_included", "rule", "value", "expression", "note")
    return {**{name: getattr(band, name) for name in names}, "mark": band.source_mark}


class Adjustments(OpenView):
    """The adjustments."""

    pagination_class = None
    serializer_class = AdjustmentOut

    @extend_schema(
        summary="List adjustments to bud injury",
        description="The published ways to leave more nodes after buds have died, in every version. They contradict "
        "each other, so you name one: there is no default, and none is ever mixed with another. A band is as printed; "
        "where bands overlap or leave a gap, and above the last number, the service gives a reason and no number.",
        responses=AdjustmentOut(many=True),
        tags=["catalogues"],
        examples=[OpenApiExample("Cornell 2014", value=EXAMPLE, response_only=True)],
    )
    def get(self, request: Request) -> Response:
        StrictQuery.of(request)
        return Response([_shown(each) for each in adjustments()])


def _shown(adjustment: Adjustment) -> dict[str, Any]:
    first = adjustment.bands[0]
    names = ("code", "version", "label", "source", "region", "year")
    return {**{name: getattr(first, name) for name in names}, "bands": [band_shown(band) for band in adjustment.bands]}
