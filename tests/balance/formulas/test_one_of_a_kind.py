"""Sentences about one of a kind: one node was left, not "1 nodes were left"."""

from __future__ import annotations

import pytest

from balance.formulas.guesses.calibration import Differences, agreement_of
from balance.formulas.targets.node_checks import check_nodes_per_metre, check_spur_positions
from balance.formulas.targets.retained_counts import judge_count
from balance.formulas.yields.thinning_steps import by_length_step, take_off_step


@pytest.mark.parametrize(
    ("sentence", "said"),
    [
        (judge_count(1, 4, tolerance=0).sentence, "1 node was left, 3 too few: the target is 4 ± 0."),
        (judge_count(1, 1, tolerance=0).sentence, "1 node was left: within the target of 1 ± 0."),
        (check_spur_positions(2, 1).sentence, "1 living spur position carries 2 nodes"),
        (check_nodes_per_metre(1, 1.0).sentence, "1 node on 1 m of canopy: 1 a metre"),
        (take_off_step(1, 0).sentence, "Of 1 cluster 1 is taken off."),
        (by_length_step([1]).sentence, "Of 1 shoot 1 keeps 1: 1 cluster."),
        (agreement_of(Differences(1, 0.1, None, 1.0)).reason, "1 guess was weighed after"),
    ],
)
def test_one_is_told_in_the_singular(sentence, said):
    assert sentence.startswith(said)
