"""The audit finds what a careless release gives away, and nothing in a careful one."""

from __future__ import annotations

import numpy as np
import pytest

from balance.formulas.errors import OutOfRange
from balance.formulas.privacy.audit import BOUNDED, EXPOSED, FEW, NOT_PROVEN, Limits, audit
from balance.formulas.privacy.cells import release_cells
from balance.formulas.privacy.hierarchy import TOTAL, Contribution, single_margins
from balance.formulas.privacy.publishing import audited_release
from balance.formulas.privacy.rules import why_withheld
from balance.formulas.privacy.unknowns import Snapshot
from tests.balance.formulas.privacy.worlds import (
    DEEPER,
    PROGRAM,
    bounds_by_hand,
    farms_of,
    fewest_by_trying,
    program,
    sums,
)

REGIONS = single_margins({"region": ("north", "south")})
CROSSED = single_margins({"region": ("north", "south"), "training": ("low", "high")})


def primary_only(farms, hierarchy=PROGRAM):
    """A careless release: each cell that keeps the rules by itself, and nothing withheld to protect another."""
    places = {each.name: place for place, each in enumerate(hierarchy.dimensions)}
    behind = {
        cell: [each for each in farms if all(each.labels[places[n]] == label for n, label in cell)]
        for cell in hierarchy.cells()
    }
    return frozenset(cell for cell, those in behind.items() if why_withheld(those) is None)


def kinds(findings):
    return {each.kind for each in findings}


@pytest.mark.parametrize("seed", range(5))
def test_of_sixty_farms_in_six_regions_none_is_exposed_or_bounded_and_a_third_of_the_cells_is_told(seed):
    farms = program(seed)
    published = audited_release(2031, farms, PROGRAM)
    assert published.findings == ()
    assert audit([published.snapshot], PROGRAM) == ()
    assert len(published.release.told) >= 0.3 * len(published.release.answers)


@pytest.mark.parametrize("seed", [3, 7])
def test_the_plainest_linear_program_bounds_no_farm_of_what_is_told(seed):
    """Independent of the audit's own program: least and most of each farm, for nobody in particular and for a reader."""
    farms = program(seed)
    told = release_cells(farms, PROGRAM).told
    names = farms_of(farms)
    for place, farm in enumerate(names):
        for reader in (None, names[place - 1]):
            low, high, value = bounds_by_hand(farms, told, farm, reader)
            assert low <= value * (1 + 1e-6) and high >= value * (1 - 1e-6)
            assert low < 0.9 * value or high > 1.1 * value


@pytest.mark.parametrize("seed", [0, 5])
def test_a_deeper_hierarchy_is_closed_too(seed):
    farms = program(seed)
    published = audited_release(2031, farms, DEEPER)
    assert published.findings == ()
    assert TOTAL in published.release.told
    assert any(len(cell) == 2 for cell in published.release.told)


@pytest.mark.parametrize(
    ("seed", "farms", "found"),
    [(1, 60, {FEW}), (2, 60, {FEW}), (4, 60, {FEW}), (8, 60, {FEW}), (3, 40, {EXPOSED, FEW, BOUNDED})],
)
def test_a_release_without_complementary_suppression_is_caught(seed, farms, found):
    """The audit can fail: cells that may each be told by themselves give a farm away together."""
    careless = program(seed, farms)
    assert kinds(audit([Snapshot(2031, tuple(careless), primary_only(careless))], PROGRAM)) == found
    assert audit([Snapshot(2031, tuple(careless), release_cells(careless, PROGRAM).told)], PROGRAM) == ()


def test_a_single_farm_left_over_is_exposed_bounded_and_few():
    farms = tuple(Contribution(f"farm {n}", 1.0 + n, 1, ("south" if n == 9 else "north",)) for n in range(10))
    findings = audit([Snapshot(2031, farms, frozenset({TOTAL, (("region", "north"),)}))], REGIONS)
    assert [(each.kind, each.farms, each.reader) for each in findings] == [
        (EXPOSED, ("farm 9",), None),
        (FEW, ("farm 9",), None),
        (BOUNDED, ("farm 9",), None),
    ]
    assert [findings[-1].low, findings[-1].high] == pytest.approx([10.0, 10.0])


def test_of_two_farms_left_over_each_exposes_the_other():
    farms = tuple(Contribution(f"farm {n}", 1.0 + n, 1, ("south" if n > 7 else "north",)) for n in range(10))
    findings = audit([Snapshot(2031, farms, frozenset({TOTAL, (("region", "north"),)}))], REGIONS)
    exposed = {(each.farms, each.reader) for each in findings if each.kind == EXPOSED}
    assert exposed == {(("farm 8",), "farm 9"), (("farm 9",), "farm 8")}


def test_five_farms_left_over_are_few_though_none_is_exposed():
    farms = tuple(Contribution(f"farm {n}", 5.0, 1, ("south" if n > 9 else "north",)) for n in range(15))
    findings = audit([Snapshot(2031, farms, frozenset({TOTAL, (("region", "north"),)}))], REGIONS)
    assert [(each.kind, len(each.farms)) for each in findings] == [(FEW, 5)]


def crossed(big: float, beside: float, opposite: float) -> list[Contribution]:
    """One big farm of the north that trains low, and seven others in each other corner of region by training."""
    return [
        Contribution("big", big, 1, ("north", "low")),
        *(Contribution(f"north {n}", beside, 1, ("north", "high")) for n in range(7)),
        *(Contribution(f"low {n}", beside, 1, ("south", "low")) for n in range(7)),
        *(Contribution(f"south {n}", opposite, 1, ("south", "high")) for n in range(7)),
    ]


def test_a_farm_is_bounded_by_the_crossing_of_its_sums():
    """Fréchet's bounds: north + low − total = 103.5 + 103.5 − 110.5 at least, and north = 103.5 at most."""
    findings = audit([Snapshot(2031, tuple(crossed(100, 0.5, 0.5)), frozenset(CROSSED.cells()))], CROSSED)
    (found,) = (each for each in findings if each.kind == BOUNDED and each.farms == ("big",))
    assert [found.low, found.high] == pytest.approx([96.5, 103.5])


def test_cells_that_bound_a_farm_together_are_withheld_though_no_rule_names_them():
    """340 − 240.7 = 99.3 at least, 170 at most: within 70 % of 100, not within 10 %."""
    farms = crossed(100, 10, 0.1)
    free = audited_release(2031, farms, CROSSED)
    held = audited_release(2031, farms, CROSSED, limits=Limits(within=0.7))
    assert BOUNDED in kinds(audit([free.snapshot], CROSSED, limits=Limits(within=0.7)))
    assert held.findings == ()
    assert held.release.told < free.release.told
    codes = {each.withheld.code for each in held.release.answers if each.withheld}
    assert "tells_too_closely" in codes


def test_a_total_of_zero_tells_that_every_farm_has_zero():
    farms = tuple(Contribution(f"farm {n}", 0.0, 1, ("north",)) for n in range(20))
    findings = audit([Snapshot(2031, farms, frozenset({TOTAL}))], REGIONS)
    assert {each.farms for each in findings if each.kind == BOUNDED} == {(farm,) for farm in farms_of(farms)}
    assert release_cells(farms, REGIONS).told == frozenset()


def test_few_farms_are_found_where_trying_every_set_finds_them():
    """16 farms, so that each set of up to five can be tried."""
    seen = set()
    for seed in range(6):
        farms = program(seed, farms=16)
        told = primary_only(farms)
        fewest = fewest_by_trying(sums(farms, told), [each.farm for each in farms], 5)
        found = kinds(audit([Snapshot(2031, tuple(farms), told)], PROGRAM))
        assert (FEW in found) == (fewest is not None)
        seen.add(FEW in found)
    assert seen == {True, False}


def test_only_farms_asked_about_are_bounded():
    farms = tuple(Contribution(f"farm {n}", 0.0, 1, ("north",)) for n in range(20))
    asked = audit([Snapshot(2031, farms, frozenset({TOTAL}))], REGIONS, farms=["farm 3", "farm 9"])
    assert {each.farms for each in asked if each.kind == BOUNDED} == {("farm 3",), ("farm 9",)}


def test_a_search_without_end_is_a_finding(monkeypatch):
    monkeypatch.setattr("balance.formulas.privacy.row_space.MOST_STEPS", 0)
    farms = program(0)
    assert NOT_PROVEN in kinds(audit([Snapshot(2031, tuple(farms), primary_only(farms))], PROGRAM))


def test_nothing_told_tells_nothing():
    assert audit([Snapshot(2031, tuple(program(0)), frozenset())], PROGRAM) == ()
    assert audit([], PROGRAM) == ()


@pytest.mark.parametrize("limits", [{"within": 0}, {"within": 1.5}, {"steady": float("nan")}])
def test_limits_of_the_audit_are_shares(limits):
    with pytest.raises(OutOfRange):
        Limits(**limits)


def test_the_audit_of_the_same_snapshot_finds_the_same_in_any_order_of_farms():
    farms = program(3, 40)
    told = primary_only(farms)
    shuffled = [farms[place] for place in np.random.default_rng(1).permutation(len(farms))]
    first, second = (audit([Snapshot(2031, tuple(each), told)], PROGRAM) for each in (farms, shuffled))
    assert [(each.kind, each.farms, each.reader, each.told) for each in first] == [
        (each.kind, each.farms, each.reader, each.told) for each in second
    ]
