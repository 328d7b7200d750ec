"""Sentences keep their grammar where there is one of something: one node, one cluster, one vine, one turn."""

from __future__ import annotations

import re

import pytest

from balance.formulas.buds.bud_explanation import injury_steps, potential_steps
from balance.formulas.buds.bud_injury import bud_injury, crop_potential
from balance.formulas.cordons.candidate_advice import Shoot, advice_on
from balance.formulas.cordons.young_arm_load import YoungArm, carried_by
from balance.formulas.guesses.calibration import Differences, agreement_of
from balance.formulas.samples.sample_estimate import estimate_mean
from balance.formulas.samples.sample_steps import estimate_steps
from balance.formulas.targets.node_checks import check_nodes_per_metre, check_spur_positions
from balance.formulas.targets.retained_counts import judge_count
from balance.formulas.yields.shoot_thinning import per_shoot
from balance.formulas.yields.thinning_steps import by_length_step, expected_step, per_shoot_step, take_off_step

SENTENCES = {
    "the only node that was left": lambda: judge_count(1, 30, tolerance=1).sentence,
    "the only node that was cut open": lambda: injury_steps(bud_injury(1, 1))[0].sentence,
    "one secondary that stands in": lambda: potential_steps(100, 99, 35, crop_potential(100, 99, 100, 35))[0].sentence,
    "the only cluster, taken off": lambda: take_off_step(1, 0).sentence,
    "one cluster of many, taken off": lambda: take_off_step(60, 59).sentence,
    "the only cluster, kept": lambda: take_off_step(1, 9).sentence,
    "the only cluster's weight": lambda: expected_step(1, 0.2, 0.2).sentence,
    "the only shoot by its length": lambda: by_length_step([1]).sentence,
    "the only shoot": lambda: per_shoot_step(2, 1, per_shoot(2, 1)).sentence,
    "the only vine weighed": lambda: estimate_steps(estimate_mean([2.0], 95, 12), 95, "kg")[0].sentence,
    "the only living spur position": lambda: check_spur_positions(3, 1).sentence,
    "one turn round the wire": lambda: advice_on(Shoot(wraps=1))[0].sentence,
    "one node laid down": lambda: advice_on(Shoot(nodes_laid_down=1))[0].sentence,
    "one node a metre": lambda: check_nodes_per_metre(1, 1.0).sentence,
    "the only guess": lambda: str(agreement_of(Differences(1, 0.1, None, 1.0)).reason),
    "an arm of one node": lambda: carried_by(YoungArm("left", nodes_laid_down=1, vigour="weak"))[1],
}
#: "1 nodes", "1 living spur positions", "1 keep", and "1 are".
FAULTY = re.compile(r"\b1 (\w+ ){0,2}(nodes|clusters|shoots|vines|positions|guesses|times|keep|are)\b")


@pytest.mark.parametrize("what", SENTENCES)
def test_one_is_told_in_the_singular(what: str) -> None:
    sentence = SENTENCES[what]()
    assert re.search(r"\b1\b", sentence), sentence
    assert not FAULTY.search(sentence), sentence
