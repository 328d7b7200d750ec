"""From a weighing to the target that is told: resolve the formula, compute, keep what was told, judge the count."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from balance import advice
from balance.formulas.explanation import SentWeight, Step, explain, plain, symbol
from balance.formulas.node_targets import NodeFormula, NodeTarget, node_target, nodes_worth_of
from balance.formulas.retained_counts import Verdict, arithmetic_slips, judge_count, tolerance_of
from balance.models import PruningTarget, TargetStatus
from balance.resolution import Resolved, resolve_for_vine
from records.access import OpenFarm
from records.models import DormantRecord, PruningFormula, Vine
from records.services.vineyards import block_of


@dataclass(frozen=True)
class Question:
    """What a target is asked for: a weight as sent, the scale's step, and the formula that answers."""

    resolved: Resolved
    weight: SentWeight | None
    scale_resolution: SentWeight | None = None
    farm_maximum: int | None = None


@dataclass(frozen=True)
class Answer:
    """A target as it is told: the number, or the reason why there is none, and all that led to it."""

    question: Question
    status: str
    target: NodeTarget | None
    steps: list[Step]
    scale_worth: tuple[float, int] | None
    reason: str | None

    @property
    def nodes(self) -> int | None:
        return self.target.nodes if self.target else None


def node_formula(formula: PruningFormula, farm_maximum: int | None = None) -> NodeFormula:
    """Give a catalogue row as the numbers that the formulas take; of two caps the lower one holds."""
    caps = [cap for cap in (formula.maximum_nodes, farm_maximum) if cap is not None]
    return NodeFormula(
        first_nodes=formula.first_nodes,
        further_nodes=formula.further_nodes,
        unit_value=formula.weight_unit_value,
        unit=formula.weight_unit,
        unit_kg=formula.weight_unit_kg,
        minimum_nodes=formula.minimum_nodes,
        maximum_nodes=min(caps) if caps else None,
    )


def answer(question: Question) -> Answer:
    """Compute the target, its steps, and what the scale is worth."""
    formula_row = question.resolved.formula
    if formula_row is None:
        return Answer(question, TargetStatus.NO_FORMULA, None, [], None, advice.NO_FORMULA)
    formula = node_formula(formula_row, question.farm_maximum)
    target = node_target(question.weight.kg if question.weight else None, formula)
    resolution = question.scale_resolution
    return Answer(
        question=question,
        status=target.status,
        target=target,
        steps=explain(target, formula, question.weight, resolution) if question.weight else [],
        scale_worth=nodes_worth_of(resolution.kg, formula) if resolution else None,
        reason=_reason(target.status, formula_row),
    )


def _reason(status: str, formula: PruningFormula) -> str | None:
    unit = f"{plain(formula.weight_unit_value)} {symbol(formula.weight_unit)}"
    return {
        TargetStatus.BELOW_FORMULA_RANGE: advice.BELOW_RANGE.format(unit=unit),
        TargetStatus.NOT_WEIGHED: advice.NOT_WEIGHED,
    }.get(TargetStatus(status))


def question_of(opened: OpenFarm, record: DormantRecord) -> Question:
    """Give what a stored record asks: the formula of its vine, its weight and its scale."""
    vines = Vine.objects.for_farm(opened.farm).select_related("pruning_formula")
    vine = vines.get(pk=record.vine_id)
    block = block_of(opened, record.block_id)
    return Question(
        resolved=resolve_for_vine(opened.farm, block, vine),
        weight=sent(record, "pruning_weight"),
        scale_resolution=sent(record, "scale_resolution"),
        farm_maximum=block.maximum_nodes,
    )


def sent(record: DormantRecord, name: str) -> SentWeight | None:
    """Give one mass of a record as it was sent, or nothing where it was not measured."""
    value: Decimal | None = getattr(record, f"{name}_value")
    if value is None:
        return None
    return SentWeight(value, getattr(record, f"{name}_unit"), getattr(record, f"{name}_kg"))


def told(opened: OpenFarm, record: DormantRecord) -> Answer:
    """Compute the target of a record and keep what is told; telling the same again keeps nothing new."""
    given = answer(question_of(opened, record))
    PruningTarget.objects.bulk_create(
        [
            PruningTarget(
                farm=opened.farm,
                dormant_record=record,
                record_version=record.version,
                formula=given.question.resolved.formula,
                level=given.question.resolved.level,
                status=given.status,
                pruning_weight_kg=record.pruning_weight_kg,
                nodes_unrounded=_six_decimals(given.target),
                nodes=given.nodes,
            )
        ],
        ignore_conflicts=True,
    )
    return given


def _six_decimals(target: NodeTarget | None) -> Decimal | None:
    return None if target is None or target.unrounded is None else Decimal(f"{target.unrounded:.6f}")


def verdict_on(retained: int | None, given: Answer) -> Verdict | None:
    """Judge the count that was left; nothing where nothing was counted or there is no target."""
    formula_row = given.question.resolved.formula
    target = given.target
    if retained is None or formula_row is None or target is None or target.nodes is None or target.units is None:
        return None
    tolerance = tolerance_of(given.scale_worth[1] if given.scale_worth else None)
    verdict = judge_count(retained, target.nodes, tolerance=tolerance)
    if abs(verdict.difference) <= tolerance:
        return verdict
    slips = arithmetic_slips(retained, target.units, node_formula(formula_row))
    return Verdict(verdict.outcome, verdict.difference, tolerance, verdict.sentence, slips)
