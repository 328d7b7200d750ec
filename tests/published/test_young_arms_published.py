"""Nodes of a young arm as printed."""

from __future__ import annotations

import pytest

from balance.formulas.cordons.young_arm_load import PRINTED, YoungArm, carried_by


@pytest.mark.parametrize(("vigour", "low", "high"), [("weak", 8, 10), ("vigorous", 12, 15)])
def test_an_arm_in_its_first_dormant_season(vigour, low, high):
    """North Carolina Cooperative Extension, seedless trial planted 2005 (READ): 8 to 10 weak, 12 to 15 vigorous."""
    assert PRINTED[vigour] == (low, high)
    assert carried_by(YoungArm("left", vigour=vigour))[0] == high
    for laid_down in range(low, high + 1):
        assert carried_by(YoungArm("left", vigour=vigour, nodes_laid_down=laid_down))[0] == laid_down
