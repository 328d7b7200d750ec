"""Thinning one vine: from a wanted crop load or yield to the clusters to leave, and what that is expected to bring."""

from __future__ import annotations

import math
from dataclasses import dataclass

from balance.formulas.methods import Method, Working
from balance.formulas.yields.estimates import Estimate
from balance.formulas.yields.propagation import Interval
from balance.formulas.yields.shoot_thinning import ShootShare, per_shoot
from balance.formulas.yields.thinning import clusters_between, expected_yield, thin
from balance.formulas.yields.thinning_steps import expected_step, leave_steps, per_shoot_step, take_off_step


@dataclass(frozen=True)
class ThinningQuestion:
    """What one vine is to carry [kg], by which method, and what is known of its clusters."""

    method: Method
    wanted_kg: float
    first_steps: tuple[Working, ...]
    weight: Estimate
    counted: int | None = None
    shoots: int | None = None


@dataclass(frozen=True)
class ThinningAnswer:
    """Clusters to leave on one vine; None where clusters were not counted, or nothing tells the spread."""

    question: ThinningQuestion
    unrounded: float
    leave: int
    take_off: int | None
    lacking: int | None
    expected: Estimate
    interval: Interval | None
    between: tuple[int, int] | None
    share: ShootShare | None
    steps: list[Working]


def thinning_of(question: ThinningQuestion, confidence: float) -> ThinningAnswer:
    """Compute what to leave on one vine.

    Raises
    ------
    OutOfRange
    """
    counted = math.nan if question.counted is None else float(question.counted)
    thinned = thin([counted], [question.wanted_kg], question.weight.value)
    leave, unrounded = int(thinned.leave[0]), float(thinned.unrounded[0])
    stays = leave if question.counted is None else min(leave, question.counted)
    expected, interval = expected_yield(stays, question.weight, confidence)
    share = per_shoot(stays, question.shoots) if question.shoots else None
    steps = [
        *question.first_steps,
        *leave_steps(question.wanted_kg, question.weight.value, unrounded, leave),
    ]
    if question.counted is not None:
        steps.append(take_off_step(question.counted, leave))
    steps.append(expected_step(stays, question.weight.value, expected.value))
    if share is not None and question.shoots:
        steps.append(per_shoot_step(stays, question.shoots, share))
    return ThinningAnswer(
        question=question,
        unrounded=unrounded,
        leave=leave,
        take_off=None if question.counted is None else int(thinned.take_off[0]),
        lacking=None if question.counted is None else int(thinned.lacking[0]),
        expected=expected,
        interval=interval,
        between=clusters_between(question.wanted_kg, question.weight, confidence),
        share=share,
        steps=steps,
    )
