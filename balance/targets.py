"""From a weighing to the target that is told: resolve the formula, compute, keep what was told, judge the count."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from balance import advice
from balance.cordons.young_arms import Young, young_arms_of_vine
from balance.formulas.cordons.young_arm_words import explain_count
from balance.formulas.cordons.young_arms import HeldBack
from balance.formulas.targets.explanation import SentWeight, Step, explain, plain, symbol
from balance.formulas.targets.node_checks import Check, check_nodes_per_metre, check_spur_positions
from balance.formulas.targets.node_targets import NodeFormula, NodeTarget, node_target, nodes_worth_of
from balance.formulas.targets.retained_counts import WITHIN, Verdict, arithmetic_slips, judge_count, tolerance_of
from balance.models import PruningTarget, TargetStatus
from balance.ranges import canopies_of
from balance.resolution import Resolved, resolve_for_vine
from balance.standing import standing_of
from records.access import OpenFarm
from records.models import Block, DormantRecord, PruningFormula, Vine
from records.services.vineyards import block_of


@dataclass(frozen=True)
class Bounds:
    """The fewest and the most nodes that the farm keeps on a vine, where it set them [nodes]."""

    fewest: int | None = None
    most: int | None = None

    @classmethod
    def of(cls, block: Block) -> Bounds:
        return cls(block.minimum_nodes, block.maximum_nodes)


@dataclass(frozen=True)
class Place:
    """What is known of the vine beside its weighing; None where nobody said."""

    seasons_grown: int | None = None
    living_positions: int | None = None
    canopy_m: float | None = None


@dataclass(frozen=True)
class Question:
    """What a target is asked for: a weight as sent, the scale's step, the formula that answers, the vine's place.

    ``young`` are the vine's young arms; None where it has none.
    """

    resolved: Resolved
    weight: SentWeight | None
    scale_resolution: SentWeight | None = None
    bounds: Bounds = Bounds()
    place: Place = Place()
    young: Young | None = None


@dataclass(frozen=True)
class Answer:
    """A target as it is told: the number, or the reason why there is none, and all that led to it."""

    question: Question
    status: str
    target: NodeTarget | None
    steps: list[Step]
    scale_worth: tuple[float, int] | None
    reason: str | None
    checks: tuple[Check, ...] = ()

    @property
    def nodes(self) -> int | None:
        return self.target.nodes if self.target else None

    @property
    def held_back(self) -> HeldBack | None:
        """The target held against the vine's young arms; None where it has none."""
        return self.question.young.of(self.nodes) if self.question.young else None


def node_formula(formula: PruningFormula, bounds: Bounds = Bounds()) -> NodeFormula:
    """Give a catalogue row as the numbers that the formulas take; of two bounds the narrower one holds.

    Where the narrower ones cross, the cap holds: too few nodes beat too many.
    """
    most = _narrower(min, formula.maximum_nodes, bounds.most)
    fewest = _narrower(max, formula.minimum_nodes, bounds.fewest)
    return NodeFormula(
        first_nodes=formula.first_nodes,
        further_nodes=formula.further_nodes,
        unit_value=formula.weight_unit_value,
        unit=formula.weight_unit,
        unit_kg=formula.weight_unit_kg,
        minimum_nodes=fewest,
        maximum_nodes=most,
        kind=formula.kind,
        lowest_units=None if formula.lowest_units is None else float(formula.lowest_units),
        highest_units=None if formula.highest_units is None else float(formula.highest_units),
    )


def _narrower(choose: Callable[[list[int]], int], *set_bounds: int | None) -> int | None:
    told = [bound for bound in set_bounds if bound is not None]
    return choose(told) if told else None


def answer(question: Question) -> Answer:
    """Compute the target, its steps, what the scale is worth, and what the vine's place says of it."""
    formula_row = question.resolved.formula
    if formula_row is None:
        return Answer(question, TargetStatus.NO_FORMULA, None, [], None, advice.NO_FORMULA)
    formula = node_formula(formula_row, question.bounds)
    target = node_target(question.weight.kg if question.weight else None, formula, question.place.seasons_grown)
    resolution = question.scale_resolution
    return Answer(
        question=question,
        status=target.status,
        target=target,
        steps=explain(target, formula, question.weight, resolution),
        scale_worth=nodes_worth_of(resolution.kg, formula) if resolution else None,
        reason=reason_for(target.status, formula),
        checks=tuple(_checks(target.nodes, question.place)),
    )


def _checks(nodes: int | None, place: Place) -> Iterator[Check]:
    if nodes is None:
        return
    if place.living_positions is not None:
        yield check_spur_positions(nodes, place.living_positions)
    if place.canopy_m is not None:
        yield check_nodes_per_metre(nodes, place.canopy_m)


def reason_for(status: str, formula: NodeFormula) -> str | None:
    """Say why there is no number, and what to look at; None where there is one."""
    unit = f"{plain(formula.unit_value)} {symbol(formula.unit)}"
    if status == TargetStatus.BELOW_FORMULA_RANGE:
        lowest = formula.holds_from or 0
        return advice.BELOW_RANGE.format(unit=unit) if lowest == 1 else advice.BELOW_SAID.format(_units(lowest, unit))
    return {
        TargetStatus.ABOVE_FORMULA_RANGE: advice.ABOVE_SAID.format(_units(formula.highest_units or 0, unit)),
        TargetStatus.YOUNG_VINE: advice.YOUNG_VINE,
        TargetStatus.NOT_WEIGHED: advice.NOT_WEIGHED,
    }.get(TargetStatus(status))


def _units(count: float, unit: str) -> str:
    return f"{plain(count)} × {unit}"


def question_of(opened: OpenFarm, record: DormantRecord) -> Question:
    """Give what a stored record asks: the formula of its vine, its weight and its scale."""
    vines = Vine.objects.for_farm(opened.farm).select_related("pruning_formula")
    vine = vines.get(pk=record.vine_id)
    block = block_of(opened, record.block_id)
    standing = standing_of(opened, block, vine, record.season)
    return Question(
        resolved=resolve_for_vine(opened.farm, block, vine),
        weight=sent(record, "pruning_weight"),
        scale_resolution=sent(record, "scale_resolution"),
        bounds=Bounds.of(block),
        place=Place(standing.seasons_grown, standing.living_positions, canopy_of_a_vine(block)),
        young=young_arms_of_vine(opened, block, vine.pk, record.season) if standing.renewed else None,
    )


def canopy_of_a_vine(block: Block) -> float | None:
    """Give the length of canopy of one vine: its space along the row, for each curtain [m]; None: not said."""
    return None if block.vine_spacing_m is None else float(block.vine_spacing_m) * canopies_of(block)[0]


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
    """Judge the count that was left, with a word on young arms; nothing where nothing was counted or asked for."""
    formula_row = given.question.resolved.formula
    target = given.target
    if retained is None or formula_row is None or target is None or target.nodes is None:
        return None
    tolerance = tolerance_of(given.scale_worth[1] if given.scale_worth else None)
    verdict = _with_young_arms(judge_count(retained, target.nodes, tolerance=tolerance), retained, given)
    explained = verdict.young_arms is not None and verdict.young_arms.outcome == WITHIN
    if abs(verdict.difference) <= tolerance or target.units is None or explained:
        return verdict
    return replace(verdict, slips=arithmetic_slips(retained, target.units, node_formula(formula_row)))


def _with_young_arms(verdict: Verdict, retained: int, given: Answer) -> Verdict:
    held = given.held_back
    if held is None:
        return verdict
    explained = explain_count(retained, held, verdict.tolerance)
    return replace(verdict, sentence=f"{verdict.sentence} {explained.sentence}", young_arms=explained)
