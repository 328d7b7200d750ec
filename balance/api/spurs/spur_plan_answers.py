"""How a spur plan is shown: a choice for every cane, the points, and the optimum for every total."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from rest_framework import serializers

from balance.api.figures import ComputedOut, FigureOut, computed, figure, given
from balance.api.spurs.spur_plan_questions import Asked
from balance.api.targets.young_arm_answers import YoungArmsOut, young_arms_shown
from balance.cordons.young_arms import Young
from balance.formulas.cordons.frames import REQUEST
from balance.formulas.counting import counted
from balance.formulas.methods import MARKS
from balance.formulas.spur_plan.evaluation import counted_nodes
from balance.formulas.spur_plan.plan import NEAREST, OK, SpurPlan, spur_plan, workings
from balance.formulas.spur_plan.reasons import CUT, ROLES
from balance.formulas.spur_plan.rules import FORMS, METHOD, TERMS, Rules

NODE: Final = "{node}"
#: Ohio State Univ., 2023 Grape Pruning Primer: 4 to 6 buds a foot of row (READ).
_NODES_PER_FOOT: Final = (4, 6)
_FOOT_M: Final = 0.3048


class CanePointsOut(serializers.Serializer[Any]):
    """What a kept cane costs by itself [points]; gaps, renewal spurs and balance lie between canes."""

    wood = serializers.IntegerField()
    angle = serializers.IntegerField()
    nearness = serializers.IntegerField()
    kind = serializers.IntegerField()
    length = serializers.IntegerField()


class CaneChoiceOut(serializers.Serializer[Any]):
    """What becomes of one cane, and why."""

    name = serializers.CharField()
    arm = serializers.CharField()
    becomes = serializers.ChoiceField(choices=ROLES)
    nodes = serializers.IntegerField(help_text="Nodes to keep on it; 0 where it is cut.")
    living = serializers.IntegerField(help_text="Living nodes before the cut.")
    sentence = serializers.CharField(help_text="Why, in words.")
    points = CanePointsOut()
    dearer = serializers.IntegerField(
        allow_null=True,
        help_text="Of a cane that is cut: how many points more the best plan of the same total has that keeps it. "
        "Null: it is kept, or no plan keeps it.",
    )


class TermOut(serializers.Serializer[Any]):
    """One thing that the plan weighs, with the points of this plan and the source of what it asks for."""

    code = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    asks_for = serializers.CharField()
    points = serializers.IntegerField()
    source = serializers.CharField()  # type: ignore[assignment]
    mark = serializers.ChoiceField(choices=MARKS)


class ArmNodesOut(serializers.Serializer[Any]):
    """What one arm carries."""

    name = serializers.CharField()
    nodes = serializers.IntegerField(help_text="Nodes kept on it, those of renewal spurs with them.")
    canes_kept = serializers.IntegerField()


class EveryTotalOut(serializers.Serializer[Any]):
    """The optimum for every total from zero to the target, from the same pass."""

    nodes = serializers.ListField(child=serializers.IntegerField())
    points = serializers.ListField(
        child=serializers.IntegerField(allow_null=True), help_text="Null: no plan has so many nodes."
    )


class SpurPlanOut(ComputedOut):
    """The plan of one vine."""

    form = serializers.ChoiceField(choices=FORMS)
    status = serializers.ChoiceField(choices=[OK, NEAREST], help_text="nearest: no plan has the target exactly.")
    reason = serializers.CharField(allow_null=True, help_text="Why the total is not the target.")
    target = serializers.IntegerField(
        help_text="What the plan is made for: the target sent, less what young arms cannot carry of it [nodes]."
    )
    young_arms = YoungArmsOut(allow_null=True, help_text="What young arms cannot carry; null: none was sent.")
    total = serializers.IntegerField(help_text="Nodes counted in the plan.")
    renewal_inside = serializers.BooleanField(help_text="Whether nodes of renewal spurs count inside the total.")
    renewal_nodes_outside = serializers.IntegerField(help_text="Nodes of renewal spurs beside the total.")
    points = serializers.IntegerField(help_text="Of this plan: the least of all plans of the total.")
    terms = TermOut(many=True)
    nodes_per_metre = FigureOut(help_text="The total over the space of all arms.")
    arms = ArmNodesOut(many=True)
    canes = CaneChoiceOut(many=True, help_text="In the order sent.")
    every_total = EveryTotalOut()


def answer(asked: Asked) -> tuple[SpurPlan, dict[str, Any]]:
    """Give the plan that was asked for, and how it is shown."""
    plan = spur_plan(asked.canes, asked.arms, asked.kept, asked.rules)
    per_metre = round(plan.total / sum(arm.space_m for arm in asked.arms), 9)
    shown = {
        **computed(METHOD, _inputs(asked), workings(plan), more=_cautions(plan, asked, per_metre)),
        "form": asked.rules.form,
        "status": plan.status,
        "reason": plan.reason,
        "target": plan.target,
        "young_arms": _young_arms(asked),
        "total": plan.total,
        "renewal_inside": asked.rules.renewal_inside,
        "renewal_nodes_outside": plan.outside,
        "points": plan.points,
        "terms": [
            {
                "code": term.code,
                "label": term.label,
                "asks_for": term.asks_for,
                "points": plan.by_term[term.code],
                "source": term.source,
                "mark": term.mark,
            }
            for term in TERMS
        ],
        "nodes_per_metre": figure(per_metre, "{node}/m"),
        "arms": [_arm(arm.name, plan) for arm in asked.arms],
        "canes": [
            {
                "name": choice.name,
                "arm": choice.arm,
                "becomes": choice.role,
                "nodes": choice.nodes,
                "living": choice.living,
                "sentence": choice.sentence,
                "points": dict(choice.points),
                "dearer": choice.dearer,
            }
            for choice in plan.choices
        ],
        "every_total": {"nodes": list(range(len(plan.every_total))), "points": list(plan.every_total)},
    }
    return plan, shown


def _young_arms(asked: Asked) -> dict[str, Any] | None:
    held = asked.held_back
    return young_arms_shown(Young(held.arms, held.cordons, REQUEST), held) if held else None


def _arm(name: str, plan: SpurPlan) -> dict[str, Any]:
    kept = [choice for choice in plan.choices if choice.arm == name and choice.role != CUT]
    return {"name": name, "nodes": sum(choice.nodes for choice in kept), "canes_kept": len(kept)}


def _on_grown_arms(plan: SpurPlan, asked: Asked) -> int:
    """Give the nodes that the plan keeps on grown arms beyond what is kept there without the young ones' part."""
    if asked.held_back is None:
        return 0
    young = {load.arm.cordon for load in asked.held_back.loads}
    planned = counted_nodes([kept for kept in plan.kept if kept.candidate.arm in young], asked.rules)
    share = asked.kept - sum(load.kept for load in asked.held_back.loads)
    return plan.total - planned - share


def _inputs(asked: Asked) -> list[dict[str, Any]]:
    """Show what the plan was computed from, the limits in effect with it."""
    rules: Rules = asked.rules
    return [
        given("target", asked.target, NODE),
        given("canes", len(asked.canes)),
        given("living nodes", sum(cane.nodes for cane in asked.canes), NODE),
        given("space", sum(arm.space_m for arm in asked.arms), "m"),
        given("fewest_nodes", rules.fewest, NODE),
        given("most_nodes", rules.most, NODE),
        given("preferred_nodes", rules.preferred, NODE),
        given("most_nodes_of_a_renewal_spur", rules.renewal_most, NODE),
        given("least_spacing", rules.least_spacing_mm, "mm"),
        given("widest_spacing", rules.widest_spacing_mm, "mm"),
        given("wanted_diameter", rules.wanted_mm, "mm"),
        given("thinnest_diameter", rules.thinnest_mm, "mm"),
        given("crept_beyond", rules.crept_mm, "mm"),
        given("reach_of_a_renewal_spur", rules.reach_mm, "mm"),
        given("internode", rules.internode_m, "m"),
    ]


def _cautions(plan: SpurPlan, asked: Asked, per_metre: float) -> Iterator[str]:
    yield (
        "The points are ours, a way to weigh one thing against another (common practice, no source): look at the vine "
        "before cutting, and overrule the plan where the wood says otherwise."
    )
    more = _on_grown_arms(plan, asked)
    if more > 0:
        yield (
            f"The plan keeps {counted(more, 'node')} fewer on young arms than they carry, and so {more} more on the "
            "grown ones than their share: look whether the young arms have canes for more, or keep fewer on the vine."
        )
    low, high = (buds / _FOOT_M for buds in _NODES_PER_FOOT)
    if plan.total and not low <= per_metre <= high:
        yield (
            f"{per_metre:.1f} nodes a metre: the Ohio State 2023 pruning primer prints 4 to 6 a foot ({low:.1f} to "
            f"{high:.1f} a metre). Shown for comparison; the plan was not changed for it."
        )
    thin = [kept.candidate.name for kept in plan.kept if kept.candidate.thickness < asked.rules.thinnest]
    if thin:
        yield f"Wood that is too thin had to be kept to reach the total or to fill a gap: {', '.join(thin)}."
    unmeasured = sum(cane.diameter_mm is None for cane in asked.canes)
    if unmeasured:
        canes = counted(unmeasured, "cane")
        yield f"The diameter of {canes} was not measured, and is taken to be thick enough."
