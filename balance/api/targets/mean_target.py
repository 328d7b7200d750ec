"""The target of a block's mean vine, with how far it may be off: from the sample, and from the scale."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

import numpy as np
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from balance.advice import CAUTIONS, NO_FORMULA
from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.api.samples.sample_plans import wanted_fields
from balance.api.samples.sample_progress import NOBODY_WEIGHED
from balance.api.targets.competing import NOT_YET
from balance.blocks import newest_season
from balance.formulas.methods import Method, Working
from balance.formulas.samples.sample_estimate import AT_RANDOM, FEW, METHOD, MeanEstimate, estimate_mean
from balance.formulas.targets.explanation import plain, symbol
from balance.formulas.targets.node_targets import (
    FIXED,
    OK,
    PER_UNIT,
    NodeFormula,
    NodeTargets,
    node_targets,
    nodes_worth_of,
)
from balance.resolution import resolve_for_block
from balance.samples.sampling import frame_of
from balance.targets import Bounds, node_formula, reason_for
from records.api.parameters import SEASON
from records.api.strict import StrictIntegerField, StrictQuery
from records.api.views import FarmView
from records.errors import NotValid
from records.models import PruningFormula
from records.services.vineyards import block_of

NODE = "{node}"


def method_of(formula: PruningFormula) -> Method:
    """Tell a catalogue formula as the method of an answer."""
    unit = f"{plain(formula.weight_unit_value)} {symbol(formula.weight_unit)}"
    first, further = plain(formula.first_nodes), plain(formula.further_nodes)
    expression = {
        FIXED: f"{first} nodes",
        PER_UNIT: f"{further} nodes × weight ÷ {unit}",
    }.get(formula.kind, f"{first} nodes + {further} nodes × (weight ÷ {unit} − 1)")
    return Method(
        code=formula.code,
        version=formula.formula_version,
        label=formula.label,
        expression=expression,
        source=formula.source,
        mark=formula.source_mark,
        note=formula.note,
    )


class MeanTargetOut(ComputedOut):
    """The nodes to keep on a mean vine of the block; a guide for the block, no number for a single vine."""

    block = serializers.UUIDField()
    season = serializers.IntegerField()
    weighed = serializers.IntegerField(help_text="Vines that were weighed.")
    population = serializers.IntegerField(help_text="Vines that the mean is about.")
    mean_weight = FigureOut()
    low_weight = FigureOut(help_text="The lower end of the mean's interval.")
    high_weight = FigureOut(help_text="The upper end.")
    nodes = FigureOut(help_text="The target at the mean weight, with the bounds that are set.")
    low_nodes = FigureOut(help_text="At the lower end of the interval.")
    high_nodes = FigureOut(help_text="At the upper end.")
    scale_worth = FigureOut(help_text="What the coarsest scale's step is worth; the same way on every vine at worst.")


_FIGURE = {"value": 48.0, "unit": NODE, "reason": None, "range": None, "verdict": None}
_WEIGHT = {**_FIGURE, "value": 1.27, "unit": "kg"}
_EXAMPLE = {
    "block": "01991b5e-0000-7000-8000-0000000b10c1",
    "season": 2027,
    "weighed": 20,
    "population": 300,
    "mean_weight": _WEIGHT,
    "low_weight": {**_WEIGHT, "value": 1.17},
    "high_weight": {**_WEIGHT, "value": 1.37},
    "nodes": _FIGURE,
    "low_nodes": {**_FIGURE, "value": 46},
    "high_nodes": {**_FIGURE, "value": 50},
    "scale_worth": {**_FIGURE, "value": 3},
    "method": {
        "code": "american-30-10-lb",
        "version": 1,
        "label": "30+10 per lb",
        "expression": "30 nodes + 10 nodes × (weight ÷ 1 lb − 1)",
        "source": "Ohio State Univ., 2023 Grape Pruning Primer, Table 1",
        "mark": "READ",
        "note": "",
    },
    "inputs": [{"name": "confidence", "value": 95, "unit": "%"}],
    "steps": [
        {
            "label": "mean weight",
            "sentence": "20 vines weigh 1.27 kg on the average, 1.17 to 1.37 at 95 %.",
            "calculation": "1.27 ± 0.1",
            "value": 1.27,
            "unit": "kg",
        }
    ],
    "cautions": [AT_RANDOM, *CAUTIONS],
}


class MeanTarget(FarmView):
    """The target of a block's mean vine."""

    serializer_class = MeanTargetOut
    pagination_class = None

    @extend_schema(
        summary="Read the target of a block's mean vine",
        description="The formula at the mean of the weights of a season and at the ends of its interval by Student's "
        "t with the finite correction: how far a target for the whole block may be off because only some vines were "
        "weighed. For a single vine, read its own target.",
        parameters=[
            OpenApiParameter("season", SEASON, description="Harvest year; without it, the newest that was recorded."),
            OpenApiParameter(
                "confidence", {"type": "integer", "minimum": 50, "maximum": 99}, description="[%]; 95 unless said."
            ),
        ],
        responses=MeanTargetOut,
        tags=["targets"],
        examples=[OpenApiExample("Twenty of three hundred vines", value=_EXAMPLE, response_only=True)],
    )
    def get(self, request: Request, farm: uuid.UUID, block: uuid.UUID) -> Response:  # noqa: ARG002
        query = StrictQuery.of(
            request,
            season=StrictIntegerField(min_value=1900, max_value=2100),
            confidence=wanted_fields()["confidence"],
        )
        found = block_of(self.opened, block)
        season = query.get("season") or newest_season(self.opened, found)
        resolved = resolve_for_block(self.opened.farm, found)
        if season is None:
            raise NotValid.at("season", code="nothing_recorded", detail=NOT_YET)
        frame = frame_of(self.opened, found, season)
        confidence = float(query.get("confidence", 95))
        estimate = estimate_mean(frame.walked.weights_kg, confidence, frame.population)
        steps = np.nanmax(frame.walked.resolutions_kg) if (~np.isnan(frame.walked.resolutions_kg)).any() else None
        chosen = resolved.formula
        return Response(
            {
                **computed(
                    METHOD if chosen is None else method_of(chosen),
                    [given("confidence", confidence, "%"), given("scale_resolution", steps, "kg")],
                    list(_steps(estimate, confidence)),
                    more=[AT_RANDOM],
                ),
                "block": found.pk,
                "season": season,
                "weighed": estimate.n,
                "population": estimate.population,
                **_shown(estimate, None if chosen is None else node_formula(chosen, Bounds.of(found)), steps),
            }
        )


def _shown(estimate: MeanEstimate, formula: NodeFormula | None, step_kg: float | None) -> dict[str, Any]:
    nothing = NOBODY_WEIGHED if estimate.mean is None else None
    few = nothing or (FEW if estimate.low is None else None)
    ends = (max(0.0, estimate.low), estimate.high) if estimate.low is not None else (None, None)
    weights = [np.nan if weight is None else weight for weight in (estimate.mean, *ends)]
    return {
        "mean_weight": figure(estimate.mean, "kg", reason=nothing),
        "low_weight": figure(ends[0], "kg", reason=few),
        "high_weight": figure(ends[1], "kg", reason=few),
        **_targets(weights, formula, nothing, few),
        "scale_worth": _worth(formula, step_kg),
    }


def _worth(formula: NodeFormula | None, step_kg: float | None) -> dict[str, Any]:
    if formula is None or step_kg is None:
        return figure(None, NODE, reason=NO_FORMULA if formula is None else "No record says the scale's step.")
    return figure(nodes_worth_of(step_kg, formula)[1], NODE)


def _targets(
    weights: list[float], formula: NodeFormula | None, nothing: str | None, few: str | None
) -> dict[str, dict[str, Any]]:
    names = {"nodes": nothing, "low_nodes": few, "high_nodes": few}
    if formula is None:
        return {name: figure(None, NODE, reason=NO_FORMULA) for name in names}
    told = node_targets(weights, formula)
    return {name: _nodes(told, at, formula, missing) for at, (name, missing) in enumerate(names.items())}


def _nodes(told: NodeTargets, at: int, formula: NodeFormula, missing: str | None) -> dict[str, Any]:
    if told.status[at] == OK:
        return figure(float(told.nodes[at]), NODE)
    return figure(None, NODE, reason=missing or reason_for(str(told.status[at]), formula))


def _steps(estimate: MeanEstimate, confidence: float) -> Iterator[Working]:
    if estimate.mean is None:
        return
    mean = plain(estimate.mean)
    if estimate.low is None or estimate.high is None or estimate.half_width is None:
        yield Working("mean weight", f"One vine weighs {mean} kg.", mean, estimate.mean, "kg")
        return
    sentence = (
        f"{estimate.n} vines weigh {mean} kg on the average, {plain(max(0.0, estimate.low))} to {plain(estimate.high)} "
        f"at {plain(confidence)} %."
    )
    yield Working("mean weight", sentence, f"{mean} ± {plain(estimate.half_width)}", estimate.mean, "kg")
