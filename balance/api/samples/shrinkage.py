"""Means of small samples drawn towards the mean of alike groups, for anybody."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.figures import FigureOut, given
from balance.api.samples.shrunken_out import DrawnTogetherOut, ShrunkenOut, mean_shown, together_shown, weight_shown
from balance.api.statistics import UNITS
from balance.formulas.counting import counted
from balance.formulas.samples.shrinkage import Group, shrink
from records.api.fields import MassIn
from records.api.strict import StrictCharField, StrictIntegerField, StrictQuery, StrictSerializer
from records.api.views import OpenView
from records.errors import NotValid
from records.units import Quantity, to_canonical

HEAVIEST_KG: Final = 1000
ONE_FARM: Final = "The groups are of one farm, so there is no mean beyond it."
_GROUPS: Final[list[dict[str, Any]]] = [
    {
        "name": name,
        "n": n,
        "mean": {"value": mean, "unit": "[lb_av]"},
        "standard_deviation": {"value": 0.9, "unit": "[lb_av]"},
        "vines": 350,
    }
    for name, n, mean in (("Lower Terrace", 4, 1.9), ("Upper Terrace", 40, 2.6), ("Tarn Field", 38, 2.9))
]


class GroupIn(StrictSerializer):
    """What was weighed of one block, or of any group of vines."""

    name = StrictCharField(max_length=120, help_text="Your name for it; the answer bears it.")
    n = StrictIntegerField(min_value=1, max_value=1_000_000, help_text="Values that the mean is of.")
    mean = MassIn(help_text="Mean weight per vine, 0 to 1000 kg.")
    standard_deviation = MassIn(
        required=False,
        allow_null=True,
        help_text="Of the sample (divisor n − 1); without it the group tells no spread.",
    )
    vines = StrictIntegerField(
        min_value=1,
        max_value=10_000_000,
        required=False,
        allow_null=True,
        help_text="Vines of the group in all; where every one was weighed, the mean is known and stays.",
    )
    farm = StrictCharField(
        max_length=120, required=False, help_text="Groups of one farm name it alike; all name one, or none."
    )


class ShrinkageQuestion(StrictSerializer):
    """Groups whose means are drawn together."""

    groups = serializers.ListField(child=GroupIn(), min_length=1, max_length=1000)
    unit = serializers.ChoiceField(choices=UNITS, required=False, help_text="Unit of the answer; kg unless said.")


class ShrunkenGroupOut(ShrunkenOut):
    """One group's means."""

    name = serializers.CharField()
    farm = serializers.CharField(allow_null=True)
    n = serializers.IntegerField()
    farm_mean = FigureOut(help_text="The mean of its farm, each group weighted by how well it is known.")


class ShrinkageOut(DrawnTogetherOut):
    """All means, and what they were drawn towards."""

    results = ShrunkenGroupOut(many=True)


def answer(values: Mapping[str, Any]) -> dict[str, Any]:
    """Give the answer to a question.

    Raises
    ------
    NotValid
        A number lies outside its range, or some groups name a farm and others none.
    """
    groups, unit = values["groups"], values.get("unit") or "kg"
    farms = _farms(groups)
    told = shrink([_group(sent, index, farms) for index, sent in enumerate(groups)])
    because = " ".join(told.reasons)
    results = [
        {
            "name": sent["name"],
            "farm": sent.get("farm"),
            "n": sent["n"],
            **mean_shown(mean, unit),
            "farm_mean": weight_shown((told.farm_means or {}).get(farms[sent.get("farm")]), unit, because),
        }
        for sent, mean in zip(groups, told.means, strict=True)
    ]
    inputs = [given(f"groups/{index}/mean", sent["mean"]) for index, sent in enumerate(groups)]
    return {**together_shown(told, inputs, unit, because or ONE_FARM), "results": results}


def _farms(groups: Sequence[Mapping[str, Any]]) -> dict[str | None, int]:
    named = [sent.get("farm") for sent in groups]
    if None in named and any(named):
        first = named.index(None)
        detail = "Name a farm for every group, or none."
        raise NotValid.at("groups", first, "farm", code="farm_for_all_or_none", detail=detail)
    return {farm: number for number, farm in enumerate(dict.fromkeys(named))}


def _group(sent: Mapping[str, Any], index: int, farms: Mapping[str | None, int]) -> Group:
    deviation = sent.get("standard_deviation")
    population = sent.get("vines")
    if population is not None and sent["n"] > population:
        detail = f"{sent['n']:,} values of {counted(population, 'vine')}: more than there are. Correct one of the two."
        raise NotValid.at("groups", index, "vines", code="out_of_range", detail=detail)
    if deviation is not None and sent["n"] == 1:
        detail = "One value has no standard deviation. Leave it out."
        raise NotValid.at("groups", index, "standard_deviation", code="out_of_range", detail=detail)
    return Group(
        n=sent["n"],
        mean=_kilograms(sent["mean"], index, "mean"),
        standard_deviation=None if deviation is None else _kilograms(deviation, index, "standard_deviation"),
        population=population,
        farm=farms[sent.get("farm")],
    )


def _kilograms(quantity: Quantity, index: int, member: str) -> float:
    kilograms = to_canonical(quantity, "mass")
    if not 0 <= kilograms <= HEAVIEST_KG:
        detail = f"A weight per vine lies between 0 and {HEAVIEST_KG} kg. Check the unit."
        raise NotValid.at("groups", index, member, code="out_of_range", detail=detail)
    return float(kilograms)


def _example() -> dict[str, Any]:
    def pounds(sent: Mapping[str, Any]) -> Quantity:
        return Quantity(Decimal(str(sent["value"])), sent["unit"])

    groups = [
        {**each, "mean": pounds(each["mean"]), "standard_deviation": pounds(each["standard_deviation"])}
        for each in _GROUPS
    ]
    return answer({"groups": groups, "unit": "[lb_av]"})


class ShrinkageOf(OpenView):
    """Shrunken means, stored nowhere."""

    serializer_class = ShrinkageOut

    @extend_schema(
        summary="Draw means of small samples towards the mean of alike blocks",
        description="Empirical Bayes: each mean is drawn towards the mean of its farm, and that towards the mean of "
        "all farms, the more so the fewer the weights and the more alike the blocks. The plain mean stands beside it, "
        "with what each level weighs. Fewer than three groups, or no group with two weights: the plain means and "
        "a reason.",
        request=ShrinkageQuestion,
        responses=ShrinkageOut,
        tags=["sampling"],
        examples=[
            OpenApiExample(
                "Three blocks, one of four weights", value={"groups": _GROUPS, "unit": "[lb_av]"}, request_only=True
            ),
            OpenApiExample("The block of four weights is drawn in", value=_example(), response_only=True),
        ],
    )
    def post(self, request: Request) -> Response:
        StrictQuery.of(request)
        sent = ShrinkageQuestion(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(answer(sent.validated_data))
