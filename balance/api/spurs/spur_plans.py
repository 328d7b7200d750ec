"""Which nodes to keep on which cane of a vine, for anybody."""

from __future__ import annotations

from typing import Any

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from balance.api.spurs.spur_plan_answers import SpurPlanOut, answer
from balance.api.spurs.spur_plan_questions import Asked, SpurPlanQuestion, asked
from balance.drawings.vine import vine_svg
from balance.formulas.spur_plan.plan import SpurPlan
from records.api.forms import (
    SVG,
    InForms,
    SvgRenderer,
    attachment,
    form_asked,
    form_field,
    form_parameter,
    in_forms,
    renderers,
)
from records.api.strict import StrictQuery
from records.api.views import OpenView


def _cane(name: str, at_cm: int, nodes: int, **more: Any) -> dict[str, Any]:
    return {"name": name, "arm": "left", "position": {"value": at_cm, "unit": "cm"}, "nodes": nodes, **more}


def _thick(millimetres: float) -> dict[str, Any]:
    return {"value": millimetres, "unit": "mm"}


_EXAMPLE: dict[str, Any] = {
    "target": 6,
    "form": "spur",
    "arms": [{"name": "left", "space": {"value": 42, "unit": "cm"}}],
    "canes": [
        _cane("1", 7, 6, diameter=_thick(8.5), angle=0, from_cordon={"value": 1, "unit": "cm"}),
        _cane("2", 20, 7, diameter=_thick(9), angle=-20),
        _cane("3", 23, 8, diameter=_thick(5), angle=80),
        _cane("4", 35, 4, kind="water_shoot"),
    ],
}


def _answered(body: Any) -> tuple[SpurPlan, Asked, dict[str, Any]]:
    sent = SpurPlanQuestion(data=body)
    sent.is_valid(raise_exception=True)
    question = asked(sent.validated_data)
    plan, shown = answer(question)
    return plan, question, shown


class SpurPlans(InForms, OpenView):
    """A spur plan, stored nowhere."""

    serializer_class = SpurPlanOut
    renderer_classes = renderers(SvgRenderer)
    forms_of = frozenset({"POST"})

    @extend_schema(
        summary="Plan the nodes to keep on each cane of a vine",
        description="From the candidate canes of one vine and the target: how many nodes to keep on each, with the "
        "reason in words. The plan is exactly the cheapest by points for evenness along the cordon, pencil-thick wood, "
        "sideways or downward angles, growth near the cordon, renewal spurs where growth has crept, and balance of the "
        "arms; nothing is kept beyond the halfway line. The points are ours; what each term asks for has its source "
        "where one was read. The optimum of every total from zero to the target comes from the same pass. A target "
        "that no plan has is never cut silently: the nearest total is shown with the reason. With `as=svg`, a drawing.",
        request=SpurPlanQuestion,
        parameters=[form_parameter("svg")],
        responses=in_forms(SpurPlanOut, svg=OpenApiTypes.STR),
        tags=["targets"],
        examples=[
            OpenApiExample("Four canes, six nodes", value=_EXAMPLE, request_only=True),
            OpenApiExample(
                "Two nodes on three of them",
                value=_answered(_EXAMPLE)[2],
                response_only=True,
                media_type="application/json",
            ),
            OpenApiExample(
                "A drawing",
                value='<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 936 488"/>',
                response_only=True,
                media_type=SVG,
            ),
        ],
    )
    def post(self, request: Request) -> HttpResponseBase:
        StrictQuery.of(request, paged=False, **{"as": form_field("svg")})
        plan, question, shown = _answered(request.data)
        if form_asked(request) == SvgRenderer.format:
            return attachment(vine_svg(plan, question.canes, question.arms), SVG, "spur-plan.svg")
        return Response(shown)
