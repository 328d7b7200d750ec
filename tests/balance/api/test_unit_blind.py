"""What a weighing leads to is blind to the unit that it was typed in: the target, the checks and the verdict."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest

from balance.formulas.targets.explanation import SentWeight
from balance.models import Level
from balance.resolution import Resolved
from balance.targets import Bounds, Place, Question, answer, verdict_on
from records.models import PruningFormula

pytestmark = pytest.mark.django_db
POUND = Decimal("0.45359237")
CASES = 1_000


def advice(resolved: Resolved, weight: SentWeight, step: SentWeight, drawn: random.Random) -> tuple[object, ...]:
    place = Place(drawn.choice([None, 2, 9]), drawn.choice([None, 9, 20]), drawn.choice([None, 1.8, 2.4384]))
    bounds = Bounds(drawn.choice([None, 30]), drawn.choice([None, 45]))
    given = answer(Question(resolved, weight, step, bounds, place))
    verdict = verdict_on(drawn.randrange(10, 90), given)
    checks = [(check.code, check.warning) for check in given.checks]
    judged = (
        (verdict.outcome, verdict.difference, verdict.tolerance, [slip.code for slip in verdict.slips])
        if verdict
        else None
    )
    return given.status, given.nodes, given.target and given.target.unrounded, given.scale_worth, checks, judged


def test_a_thousand_weights_in_pounds_and_in_kilograms_get_one_advice(catalogue):
    drawn = random.Random(4)
    formulas = [Resolved(formula, Level.REQUEST) for formula in PruningFormula.objects.all()]
    for case in range(CASES):
        resolved = drawn.choice(formulas)
        pounds = Decimal(drawn.choice([drawn.randrange(20, 900), 50 * drawn.randrange(1, 16)])) / 100
        step = Decimal(drawn.choice(["0.05", "0.1", "0.25", "0.5"]))
        told = [
            advice(
                resolved,
                SentWeight(pounds * scale, unit, pounds * POUND),
                SentWeight(step * scale, unit, step * POUND),
                random.Random(case),
            )
            for scale, unit in ((Decimal(1), "[lb_av]"), (POUND, "kg"), (POUND * 1000, "g"))
        ]
        assert told[0] == told[1] == told[2], (pounds, resolved.formula)
