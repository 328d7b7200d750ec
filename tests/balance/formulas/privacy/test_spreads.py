"""Means and spreads told together: held to worlds reckoned anew, and to what a textbook says of one cell."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from balance.formulas.privacy.cells import release_cells
from balance.formulas.privacy.hierarchy import TOTAL, Contribution, gather, single_margins
from balance.formulas.privacy.other_worlds import CurvedWorlds
from balance.formulas.privacy.spreads import WITH_SPREAD, audit_spreads, spread_of, with_spreads
from balance.formulas.privacy.unknowns import Snapshot, unknowns_of
from tests.balance.formulas.privacy.worlds import PROGRAM, a_year_on, farms_of, program, without

PLAIN = single_margins({})
WHOLE = frozenset({TOTAL})


def one_cell(values):
    return Snapshot(2031, tuple(Contribution(f"farm {n}", v, 1, ()) for n, v in enumerate(values)), WHOLE, WHOLE)


def published(season, farms):
    """Tell every mean that the rules allow, and beside each its spread."""
    told = release_cells(farms, PROGRAM).told
    return Snapshot(season, tuple(farms), told, told)


def is_known(values, place, reader):
    """Say whether a reader knows a value within 10 %.

    No one of n values with a given mean and standard deviation lies further from the mean than sqrt(n - 1) standard
    deviations (Samuelson 1968, JASA 63, 1522; from memory).
    """
    others = [v for n, v in enumerate(values) if n != reader]
    mean, spread = np.mean(others), np.std(others)
    furthest = spread * math.sqrt(len(others) - 1)
    return max(mean + furthest - values[place], values[place] - (mean - furthest)) < 0.1 * values[place]


@pytest.mark.parametrize("seed", range(12))
def test_of_one_cell_the_audit_finds_what_a_textbook_says(seed):
    draw = np.random.default_rng(seed)
    values = (10 * np.exp(draw.normal(0, draw.choice([0.01, 0.02, 0.03, 0.05, 0.2]), size=8))).tolist()
    known = {
        f"farm {n}" for n in range(8) if any(is_known(values, n, r) for r in (None, *range(8)) if r != n)
    }  # fmt: skip
    found = {farm for each in audit_spreads([one_cell(values)], PLAIN) for farm in each.farms}
    assert found == known


def test_both_farms_that_are_known_and_farms_that_are_not_stand_among_the_cells_tried():
    alike, unlike = one_cell([10 + n / 50 for n in range(8)]), one_cell([10.0 + 2 * n for n in range(8)])
    assert {each.kind for each in audit_spreads([alike], PLAIN)} == {WITH_SPREAD}
    assert audit_spreads([unlike], PLAIN) == ()


def means_and_spreads(snapshot, values):
    """Reckon everything that is told, straight from the parts."""
    parts = [replace(p, value=v) for p, v in zip(gather(snapshot.contributions, PROGRAM), values, strict=True)]
    inside = {cell: [p for p in parts if cell in PROGRAM.cells_of(p.labels)] for cell in PROGRAM.cells()}
    told = [math.fsum(p.value for p in inside[cell]) for cell in PROGRAM.cells() if cell in snapshot.told]
    return told + [spread_of(inside[cell]) for cell in PROGRAM.cells() if cell in snapshot.spreads]


@pytest.mark.parametrize("seed", range(3))
def test_a_world_that_is_found_tells_the_same_and_another_sum_of_the_farm(seed):
    snapshot = published(2031, program(seed))
    parts = gather(snapshot.contributions, PROGRAM)
    unknowns = unknowns_of([snapshot], PROGRAM)
    worlds = CurvedWorlds(unknowns, 0.1)
    assert [p.value for p in parts] == unknowns.values.tolist()
    for farm in farms_of(parts)[::6]:
        mine = unknowns.of_farm(farm)
        target = mine & (np.cumsum(mine) == 1)
        world = worlds.another(target, 0.1 * unknowns.values[target].sum(), np.ones(len(mine), bool))
        assert world is not None
        assert world.min() >= 0
        assert world[target].sum() == pytest.approx(1.1 * unknowns.values[target].sum(), rel=1e-7)
        told = means_and_spreads(snapshot, [p.value for p in parts])
        assert means_and_spreads(snapshot, world.tolist()) == pytest.approx(told, rel=1e-6)


def test_a_reader_without_a_sum_in_what_differs_keeps_all_of_their_own():
    snapshot = published(2031, program(1))
    unknowns = unknowns_of([snapshot], PROGRAM)
    reader = unknowns.of_farm("farm 03")
    target = unknowns.of_farm("farm 20") & (np.cumsum(unknowns.of_farm("farm 20")) == 1)
    world = CurvedWorlds(unknowns, 0.1).another(target, -0.1 * unknowns.values[target].sum(), ~reader)
    assert world is not None
    assert world[reader].tolist() == unknowns.values[reader].tolist()


def test_a_farms_change_from_one_season_to_the_next_stays_what_it_is_known_to_be():
    first = program(2)
    both = [published(2031, first), published(2032, a_year_on(first, 2))]
    unknowns = unknowns_of(both, PROGRAM)
    target = unknowns.of_farm("farm 11") & (np.array(unknowns.seasons) == 2032)
    target &= np.cumsum(target) == 1
    world = CurvedWorlds(unknowns, 0.1).another(target, 0.1 * unknowns.values[target].sum(), np.ones(len(target), bool))
    assert world is not None
    for before, after in unknowns.links:
        known = unknowns.values[after] / unknowns.values[before]
        assert world[after] / world[before] == pytest.approx(known, abs=0.1 + 1e-9)


def test_a_spread_of_farms_that_are_nearly_alike_is_not_told_and_its_mean_is():
    farms = [Contribution(f"a {n}", 10 + n / 50, 1, ("north",)) for n in range(8)]
    farms += [Contribution(f"b {n}", 10.0 + 2 * n, 1, ("south",)) for n in range(8)]
    regions = single_margins({"region": ("north", "south")})
    north, south = (("region", "north"),), (("region", "south"),)
    told = with_spreads(Snapshot(2031, tuple(farms), frozenset({north, south})), regions)
    assert told.told == {north, south}
    assert told.spreads == {south}


@pytest.mark.parametrize("seed", range(2))
def test_of_sixty_farms_the_spreads_are_told_also_beside_another_season_and_tell_of_none(seed):
    first = program(seed)
    alone = with_spreads(replace(published(2031, without(first, "farm 59")), spreads=frozenset()), PROGRAM)
    later = published(2032, without(a_year_on(first, seed), "farm 07"))
    beside = with_spreads(replace(later, spreads=frozenset()), PROGRAM, before=[alone])
    assert len(beside.spreads) >= 0.3 * len(PROGRAM.cells())
    assert audit_spreads([alone, beside], PROGRAM) == ()


def test_a_season_told_again_with_one_farm_less_is_found_by_its_spreads():
    farms = program(2)
    again = without(farms, "farm 11")
    findings = audit_spreads([published(2031, farms), published(2031, again)], PROGRAM)
    assert any(each.farms == ("farm 11",) for each in findings)


def test_the_spread_is_numpys_weighted_one():
    draw = np.random.default_rng(5)
    weights, means = draw.uniform(1, 9, 30), draw.normal(10, 2, 30)
    parts = [Contribution(str(n), m * w, w, ()) for n, (m, w) in enumerate(zip(means, weights, strict=True))]
    middle = np.average(means, weights=weights)
    assert spread_of(parts) == pytest.approx(math.sqrt(np.average((means - middle) ** 2, weights=weights)))
