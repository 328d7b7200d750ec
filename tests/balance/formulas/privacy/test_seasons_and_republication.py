"""What is published again: the next season, with a farm more or less, and the same season after a change."""

from __future__ import annotations

from dataclasses import replace

import pytest

from balance.formulas.privacy.audit import BOUNDED, EXPOSED, FEW, audit
from balance.formulas.privacy.cells import release_cells
from balance.formulas.privacy.hierarchy import TOTAL, Contribution, single_margins
from balance.formulas.privacy.publishing import audited_release, may_replace
from balance.formulas.privacy.unknowns import Snapshot, unknowns_of
from tests.balance.formulas.privacy.worlds import PROGRAM, a_year_on, farms_of, program, without

REGIONS = single_margins({"region": ("north", "south")})


def published(season, farms):
    """Publish by the rules alone, without the audit."""
    return Snapshot(season, tuple(farms), release_cells(farms, PROGRAM).told)


def of_one_size(farms: int, region: str = "north") -> list[Contribution]:
    return [Contribution(f"{region} {n:02d}", 2.0 + n / 10, 1, (region,)) for n in range(farms)]


@pytest.mark.parametrize("seed", [0, 4])
def test_no_farm_is_told_of_by_leaving_or_by_joining_in_the_next_season(seed):
    """Every fourth farm in turn, half of them leaving and half joining."""
    farms = program(seed)
    names = farms_of(farms)
    later = a_year_on(farms, seed + 100)
    for place, farm in enumerate(names[::4]):
        leaves = place % 2 == 0
        first = published(2031, farms if leaves else without(farms, farm))
        second = published(2032, without(later, farm) if leaves else later)
        assert audit([first, second], PROGRAM, farms=[farm]) == ()


@pytest.mark.slow
def test_three_seasons_of_sixty_farms_tell_of_none_and_a_third_of_the_cells_is_told_in_each():
    """All farms are asked about in the second season beside the first, every fifth in the third beside the second."""
    first = program(1)
    second = a_year_on(first, 1)
    third = a_year_on(second, 2)
    alone = audited_release(2031, without(first, "farm 59"), PROGRAM)
    beside = audited_release(2032, without(second, "farm 07"), PROGRAM, before=[alone.snapshot])
    assert alone.findings == beside.findings == ()
    last = published(2033, without(third, "farm 23"))
    asked = [*farms_of(third)[::5], "farm 07", "farm 23"]
    assert audit([beside.snapshot, last], PROGRAM, farms=asked) == ()
    assert min(len(told) for told in (alone.release.told, beside.release.told, last.told)) >= 0.3 * len(PROGRAM.cells())


def test_one_farm_that_leaves_a_season_published_twice_is_found_by_the_audit():
    farms = program(2)
    findings = audit([published(2031, farms), published(2031, without(farms, "farm 11"))], PROGRAM, farms=["farm 11"])
    assert {FEW, EXPOSED, BOUNDED} == {each.kind for each in findings if "farm 11" in each.farms}


def test_a_season_is_not_published_again_for_one_farm():
    farms = of_one_size(20)
    before = Snapshot(2031, tuple(farms), release_cells(farms, REGIONS).told)
    for now in (farms[1:], [*farms, Contribution("new", 2, 1, ("north",))], [replace(farms[0], value=9.0), *farms[1:]]):
        answer = may_replace(before, now, REGIONS)
        assert not answer.allowed
        assert "in one cell: 1; it takes 6" in answer.sentence
    assert may_replace(before, farms[::-1], REGIONS).sentence == "Nothing that was told has changed."


def test_a_season_may_be_published_again_when_in_each_cell_nobody_changed_or_enough_did():
    north, south = of_one_size(20), of_one_size(20, "south")
    before = Snapshot(2031, tuple(north + south), release_cells(north + south, REGIONS).told)
    corrected = [replace(each, value=each.value + 1) for each in north[:6]]
    assert may_replace(before, corrected + north[6:] + south, REGIONS).allowed
    five = [replace(each, value=each.value + 1) for each in north[:5]]
    assert not may_replace(before, five + north[5:] + south, REGIONS).allowed
    spread = corrected[:5] + north[5:] + [replace(south[0], value=1.0), *south[1:]]
    assert not may_replace(before, spread, REGIONS).allowed  # six in all, but one in the south


def test_what_is_published_again_after_one_farm_left_tells_nothing_new():
    farms = of_one_size(20)
    first = audited_release(2031, farms, REGIONS)
    again = audited_release(2031, farms[1:], REGIONS, before=[first.snapshot])
    assert first.release.told == {TOTAL, (("region", "north"),)}
    assert again.release.told == frozenset()
    assert again.findings == ()
    assert "tells_too_closely" in {each.withheld.code for each in again.release.answers if each.withheld}


def test_what_is_published_again_after_enough_farms_changed_is_told():
    farms = of_one_size(20)
    first = audited_release(2031, farms, REGIONS)
    again = audited_release(2031, [*farms, *of_one_size(8, "south")], REGIONS, before=[first.snapshot])
    assert again.release.told == frozenset(REGIONS.cells())
    assert again.findings == ()


def test_a_farm_that_changes_its_region_gives_itself_away_in_the_same_season():
    farms = of_one_size(20) + of_one_size(20, "south")
    moved = [replace(farms[0], labels=("south",)), *farms[1:]]
    told = frozenset(REGIONS.cells())
    findings = audit([Snapshot(2031, tuple(farms), told), Snapshot(2031, tuple(moved), told)], REGIONS)
    assert (EXPOSED, ("north 00",)) in {(each.kind, each.farms) for each in findings}


def test_a_correction_is_told_by_the_difference_of_two_publications():
    """Old and new sum are two unknowns: their difference is told, so one farm stands behind a difference."""
    farms = of_one_size(20)
    now = [replace(farms[0], value=7.0), *farms[1:]]
    told = frozenset({TOTAL})
    findings = audit([Snapshot(2031, tuple(farms), told), Snapshot(2031, tuple(now), told)], REGIONS)
    assert (FEW, ("north 00",)) in {(each.kind, each.farms) for each in findings}


def test_a_farm_that_dwarfs_steady_neighbours_is_told_of_when_it_joins():
    """The careless release again: neighbours known to within 10 % leave 0.1 × 12 of doubt about 40."""
    neighbours = [Contribution(f"farm {n}", 2.0, 1, ("north",)) for n in range(6)]
    big = Contribution("big", 40.0, 1, ("north",))
    told = frozenset({TOTAL})
    findings = audit([Snapshot(2031, tuple(neighbours), told), Snapshot(2032, (*neighbours, big), told)], REGIONS)
    (found,) = (each for each in findings if each.kind == BOUNDED and each.farms == ("big",))
    assert [found.low, found.high] == pytest.approx([38.8, 41.2])
    assert release_cells([*neighbours, big], REGIONS).told == frozenset()


def test_sums_of_two_seasons_are_never_added_up_as_one():
    farms = of_one_size(8)
    told = frozenset({TOTAL})
    unknowns = unknowns_of([Snapshot(2031, tuple(farms), told), Snapshot(2032, tuple(farms), told)], REGIONS)
    assert len(unknowns.farms) == 16
    assert len(unknowns.links) == 8
    same = unknowns_of([Snapshot(2031, tuple(farms), told), Snapshot(2031, tuple(farms), told)], REGIONS)
    assert len(same.farms) == 8
    assert same.links == ()
