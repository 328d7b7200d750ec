"""Targets and verdicts as they are shown."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from balance.advice import CAUTIONS, WHAT_COUNTS
from balance.api.figures import InputOut
from balance.api.figures import given as shown_input
from balance.api.targets.young_arm_answers import ExplainedOut, YoungArmsOut, explained_shown, young_arms_shown
from balance.formulas.targets.explanation import SentWeight
from balance.formulas.targets.node_checks import LENGTH_SOURCE
from balance.formulas.targets.retained_counts import Verdict
from balance.models import Level, TargetStatus
from balance.targets import Answer, Question
from records.api.catalogue import FORMULA_EXAMPLE, FormulaOut


@extend_schema_field({"type": ["string", "null"], "enum": [*Level.values, None]})
class LevelOut(serializers.CharField):
    """The level that named a formula; null where none does."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(allow_null=True, help_text="Where the formula was named; null: nowhere.", **kwargs)


TARGET_EXAMPLE: dict[str, Any] = {
    "status": "ok",
    "nodes": 48,
    "nodes_unrounded": 48,
    "nodes_uncapped": 48,
    "reason": None,
    "level": "group",
    "formula": FORMULA_EXAMPLE,
    "inputs": [
        {"name": "pruning_weight", "value": 2.8, "unit": "[lb_av]"},
        {"name": "scale_resolution", "value": 0.25, "unit": "[lb_av]"},
        {"name": "seasons_grown", "value": 18, "unit": "a"},
        {"name": "living_positions", "value": None, "unit": "1"},
        {"name": "canopy_length", "value": 2.4384, "unit": "m"},
        {"name": "minimum_nodes", "value": None, "unit": "{node}"},
        {"name": "maximum_nodes", "value": None, "unit": "{node}"},
    ],
    "weight_in_formula_units": 2.8,
    "valid_from_units": 1,
    "valid_to_units": None,
    "what_counts": WHAT_COUNTS,
    "scale": {"nodes_unrounded": 2.5, "nodes": 3},
    "steps": [
        {
            "label": "first unit of weight",
            "sentence": "The first 1 lb gives 30 nodes.",
            "calculation": "30",
            "nodes": 30,
        },
        {
            "label": "further weight",
            "sentence": "The further 1.8 lb give 10 nodes for each 1 lb.",
            "calculation": "1.8 × 10 = 18",
            "nodes": 18,
        },
        {"label": "sum", "sentence": "Together 48 nodes.", "calculation": "30 + 18 = 48", "nodes": 48},
        {
            "label": "what the scale is worth",
            "sentence": "The scale's ±0.25 lb is worth ±2.5 nodes, so ±3.",
            "calculation": "0.25 × 10 = 2.5",
            "nodes": None,
        },
    ],
    "checks": [
        {
            "code": "nodes_per_metre",
            "warning": False,
            "sentence": "48 nodes on 2.44 m of canopy: 19.7 a metre; 13.1 to 19.7 a metre are printed.",
            "value": 19.685039,
            "low": 13.123360,
            "high": 19.685039,
            "unit": "/m",
            "source": LENGTH_SOURCE,
        }
    ],
    "young_arms": None,
    "cautions": list(CAUTIONS),
}
VERDICT_EXAMPLE: dict[str, Any] = {
    "outcome": "too_few",
    "difference": -10,
    "tolerance": 3,
    "sentence": "38 nodes were left, 10 too few: the target is 48 ± 3.",
    "slips": [
        {
            "code": "one_further_unit_left_out",
            "nodes": 38,
            "sentence": '38 is what comes out when the first 10 of the "+10" is left out: 30 + 0.8 × 10. '
            "The further weight is 1.8, not 0.8.",
        }
    ],
    "young_arms": None,
}


class StepOut(serializers.Serializer[Any]):
    """One step of the sum."""

    label = serializers.CharField()  # type: ignore[assignment]
    sentence = serializers.CharField(help_text="The step in words.")
    calculation = serializers.CharField(help_text="The step as a sum.")
    nodes = serializers.FloatField(
        allow_null=True, help_text="What it leads to [nodes]; null for a weight or a margin."
    )


class ScaleOut(serializers.Serializer[Any]):
    """What the scale's smallest step is worth."""

    nodes_unrounded = serializers.FloatField(help_text="[nodes]")
    nodes = serializers.IntegerField(help_text="Rounded up [nodes].")


class CheckOut(serializers.Serializer[Any]):
    """The target held against the vine's own places and space; nothing was cut from it."""

    code = serializers.ChoiceField(choices=["spur_positions", "nodes_per_metre"])
    warning = serializers.BooleanField(help_text="The target does not fit.")
    sentence = serializers.CharField()
    value = serializers.FloatField()
    low = serializers.FloatField(allow_null=True, help_text="Null: no lower limit.")
    high = serializers.FloatField(allow_null=True, help_text="Null: no upper limit.")
    unit = serializers.CharField(help_text="UCUM code.")
    source = serializers.CharField()  # type: ignore[assignment]


class TargetOut(serializers.Serializer[Any]):
    """A target: the count nodes to retain on one vine, and all that led to it."""

    status = serializers.ChoiceField(
        choices=TargetStatus.choices, help_text="Anything but ok: no number, and a reason."
    )
    nodes = serializers.IntegerField(allow_null=True, help_text="Count nodes to retain [nodes].")
    nodes_unrounded = serializers.FloatField(allow_null=True, help_text="Before rounding [nodes].")
    nodes_uncapped = serializers.IntegerField(allow_null=True, help_text="Before any minimum or maximum [nodes].")
    reason = serializers.CharField(allow_null=True, help_text="Why there is no number, and what to look at.")
    level = LevelOut()
    formula = FormulaOut(allow_null=True)
    inputs = InputOut(many=True, help_text="What it was computed from; null: not measured, or not said.")
    weight_in_formula_units = serializers.FloatField(allow_null=True, help_text="The weight in the formula's own unit.")
    valid_from_units = serializers.FloatField(
        allow_null=True, help_text="The formula holds from this many units of weight on; null: at any weight."
    )
    valid_to_units = serializers.FloatField(allow_null=True, help_text="It holds up to here; null: no source says.")
    what_counts = serializers.CharField(help_text="Which nodes the target counts.")
    scale = ScaleOut(allow_null=True, help_text="Null where the scale's resolution was not sent.")
    steps = StepOut(many=True)
    checks = CheckOut(many=True, help_text="Only where spur positions or spacing are known.")
    young_arms = YoungArmsOut(
        allow_null=True, help_text="What young arms cannot carry of it; null: the vine had none in that winter."
    )
    cautions = serializers.ListField(child=serializers.CharField())


class SlipOut(serializers.Serializer[Any]):
    """A plain mistake of arithmetic whose result equals the count; not a claim that it happened."""

    code = serializers.CharField()
    nodes = serializers.FloatField(help_text="What the mistake gives [nodes].")
    sentence = serializers.CharField()


class VerdictOut(serializers.Serializer[Any]):
    """The retained count held against the target."""

    outcome = serializers.ChoiceField(choices=["within_tolerance", "too_many", "too_few"])
    difference = serializers.IntegerField(help_text="Retained less target [nodes].")
    tolerance = serializers.IntegerField(help_text="What the scale is worth, and at least 1 [nodes].")
    sentence = serializers.CharField()
    slips = SlipOut(many=True)
    young_arms = ExplainedOut(allow_null=True, help_text="What young arms explain of it; null: the vine had none.")


def target_shown(given: Answer) -> dict[str, Any]:
    """Give a target as the API shows it."""
    target, formula = given.target, given.question.resolved.formula
    worth = given.scale_worth
    return {
        "status": given.status,
        "nodes": given.nodes,
        "nodes_unrounded": target.unrounded if target else None,
        "nodes_uncapped": target.uncapped if target else None,
        "reason": given.reason,
        "level": given.question.resolved.level or None,
        "formula": FormulaOut(formula).data if formula else None,
        "inputs": _inputs(given.question),
        "weight_in_formula_units": target.units if target else None,
        "valid_from_units": formula.holds_from_units if formula else None,
        "valid_to_units": formula.highest_units if formula else None,
        "what_counts": WHAT_COUNTS,
        "scale": {"nodes_unrounded": worth[0], "nodes": worth[1]} if worth else None,
        "steps": StepOut(given.steps, many=True).data,
        "checks": CheckOut(given.checks, many=True).data,
        "young_arms": young_arms_shown(given.question.young, given.held_back),
        "cautions": list(CAUTIONS),
    }


def _inputs(question: Question) -> list[dict[str, Any]]:
    place, bounds = question.place, question.bounds
    return [
        _weight("pruning_weight", question.weight),
        _weight("scale_resolution", question.scale_resolution),
        shown_input("seasons_grown", place.seasons_grown, "a"),
        shown_input("living_positions", place.living_positions),
        shown_input("canopy_length", place.canopy_m, "m"),
        shown_input("minimum_nodes", bounds.fewest, "{node}"),
        shown_input("maximum_nodes", bounds.most, "{node}"),
    ]


def _weight(name: str, sent: SentWeight | None) -> dict[str, Any]:
    return shown_input(name, sent.value, sent.unit) if sent else shown_input(name, None, "kg")


def verdict_shown(verdict: Verdict | None) -> dict[str, Any] | None:
    """Give a verdict as the API shows it."""
    if verdict is None:
        return None
    slips = SlipOut(verdict.slips, many=True).data
    return {
        "outcome": verdict.outcome,
        "difference": verdict.difference,
        "tolerance": verdict.tolerance,
        "sentence": verdict.sentence,
        "slips": slips,
        "young_arms": explained_shown(verdict.young_arms),
    }
