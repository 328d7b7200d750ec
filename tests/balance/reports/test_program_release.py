"""What leaves the farms of a program: pooled, rounded, and nothing from which one grower could be worked out."""

from __future__ import annotations

import random
import uuid

import numpy as np
import pytest

from balance.formulas.privacy.audit import audit
from balance.formulas.privacy.hierarchy import TOTAL
from balance.formulas.privacy.unknowns import Snapshot
from balance.reports.programs import sums
from balance.reports.programs.labels import ALL
from balance.reports.programs.releasing import MEASURES, REST, growers_of, question_of, release_season
from balance.reports.programs.sums import BlockSums, CordonSums, FarmSums, Sum


def person(number):
    return uuid.UUID(int=1_000 + number)


def block(region="Vale", cultivar="Concord", training="bilateral cordon", vines=10, **found):
    return BlockSums(region, cultivar, training, vines, found or {sums.PRUNING_WEIGHT: Sum(10, 9.0, 10.0, 8.2)})


def farm(number, *blocks, owners=None, own=False, **more):
    owned = frozenset({person(number)} if owners is None else owners)
    return FarmSums(uuid.UUID(int=number), owned, own, blocks or (block(),), **more)


def cell(released, measure, dimension=ALL, label=""):
    found = [c for c in released.cells if (c.measure, c.dimension, c.label) == (measure, dimension, label)]
    return found[0].value if found else None


def test_six_growers_are_told_together_and_five_are_not():
    assert release_season([farm(n) for n in range(6)], 2026).farms == "5-9"
    assert not release_season([farm(n) for n in range(5)], 2026).shows_anything


def test_what_is_told_is_sum_over_sum_to_three_digits():
    farms = [farm(n, block(pruning_weight=Sum(10 + n, 8.123 + n, 10.0 + n, 9))) for n in range(8)]
    top, under = sum(8.123 + n for n in range(8)), sum(10 + n for n in range(8))
    assert cell(release_season(farms, 2026), sums.PRUNING_WEIGHT) == float(f"{top / under:.3g}")


def test_the_farms_of_one_owner_and_those_of_the_leads_are_one_grower_each():
    shared = [farm(n, owners={person(0)}) for n in range(3)]
    chained = [farm(n, owners={person(n), person(n + 1)}) for n in range(3)]
    of_leads = [farm(n, own=True) for n in range(3)]
    for three in (shared, chained, of_leads):
        assert len(set(growers_of(three).values())) == 1
        others = [farm(n, owners={person(50 + n)}) for n in range(10, 15)]
        assert release_season([*three, *others], 2026).shows_anything
        assert not release_season([*three, *others[:4]], 2026).shows_anything


def test_one_grower_who_is_most_of_it_is_not_told():
    large = farm(99, block(vines=1_000, pruning_weight=Sum(1_000, 900.0, 1_000.0, 820)))
    assert not release_season([large, *(farm(n) for n in range(6))], 2026).shows_anything


def test_labels_that_few_share_are_never_written_down():
    farms = [farm(n, block(region="Vale" if n < 7 else f"Canary {n}")) for n in range(14)]
    released = release_season(farms, 2026)
    assert {c.label for c in released.cells if c.dimension == "region"} == {"Vale", REST}
    assert "Canary" not in str(released)


def test_a_label_is_one_however_it_is_written_and_nobody_can_take_the_last_line():
    written = ["Harrow Vale", "harrow  vale", "HARROW VALE", " Harrow Vale ", "harrow vale", "Harrow vale"]
    named = [farm(n, block(region=region)) for n, region in enumerate(written)]
    posing = [farm(10 + n, block(region="All OTHERS")) for n in range(7)]
    regions = [c for c in release_season([*named, *posing], 2026).cells if c.dimension == "region"]
    labels = [c.label for c in regions if c.measure == sums.PRUNING_WEIGHT]
    assert len(labels) == 2
    assert labels[1] == REST


def test_a_share_is_not_told_where_what_is_left_of_it_would_tell():
    """All but two growers hit every target: how many missed is theirs alone."""
    hit = [farm(n, block(on_target=Sum(10, 10.0, 10.0))) for n in range(8)]
    missed = [farm(10 + n, block(on_target=Sum(10, 4.0, 10.0))) for n in range(2)]
    assert cell(release_season([*hit, *missed], 2026), sums.ON_TARGET) is None
    many = [farm(20 + n, block(on_target=Sum(10, 4.0, 10.0))) for n in range(8)]
    assert cell(release_season([*hit, *many], 2026), sums.ON_TARGET) == 0.7


def cordons(failures):
    standing, exposure = np.zeros(101, np.int64), np.zeros(101, np.int64)
    failed = np.zeros(101, np.int64)
    standing[5], exposure[5], failed[5] = 40, 50, failures
    return {clock: CordonSums(standing, exposure, failed) for clock in ("age", "years_since_first_inspection")}


def test_the_outlook_rests_on_many_growers_who_stand_follow_and_fail():
    told = release_season([farm(n, cordons=cordons(2)) for n in range(8)], 2026).outlook
    assert told is not None
    assert (told.standing, told.followed, told.clock) == (320, 400, "age")
    assert [winter.season for winter in told.winters] == [2027, 2028, 2029, 2030, 2031]
    assert 8 < told.winters[0].value < 18  # 16 of 400 failed, and 320 stand
    few = [farm(n, cordons=cordons(2 if n < 5 else 0)) for n in range(12)]
    assert release_season(few, 2026).outlook is None


def test_the_guesses_of_all_pruners_are_told_together():
    farms = [farm(n, guesses=Sum(10, 1_100.0, 10.0, 1_500.0)) for n in range(6)]
    released = release_season(farms, 2026)
    assert cell(released, sums.GUESS_PERCENT) == 110
    assert cell(released, "squares of " + sums.GUESS_PERCENT) == 150


def a_world(seed):
    """Give thirty farms of one to three blocks in four regions, of three cultivars, trained in two ways."""
    chance = random.Random(seed)
    farms = []
    for number in range(30):
        region = chance.choices(["North", "Middle", "South", "Far"], [5, 4, 3, 1])[0]
        blocks = []
        for _ in range(chance.randint(1, 3)):
            n = chance.randint(5, 40)
            blocks.append(block(
                region, chance.choices(["Concord", "Niagara", "Catawba"], [6, 3, 1])[0],
                chance.choices(["bilateral cordon", "umbrella Kniffin"], [4, 1])[0], n,
                pruning_weight=Sum(n, n * chance.uniform(0.4, 1.5), float(n), float(n)),
            ))  # fmt: skip
        farms.append(farm(number, *blocks))
    return farms


@pytest.mark.parametrize("seed", range(4))
def test_nobody_is_exposed_by_adding_and_subtracting_what_is_told(seed):
    farms = a_world(seed)
    asked = next(each for each in MEASURES if each.name == sums.PRUNING_WEIGHT)
    question = question_of(asked, farms, growers_of(farms))
    shown = {
        TOTAL if c.dimension == ALL else ((c.dimension, c.label),)
        for c in release_season(farms, 2026).cells
        if c.measure == asked.name and c.shown
    }
    assert len(shown) > 3
    snapshot = Snapshot(2026, question.top, frozenset(shown))
    assert audit([snapshot], question.hierarchy) == ()
    naive = Snapshot(2026, question.top, frozenset(question.hierarchy.cells()))
    assert audit([naive], question.hierarchy) != ()  # else nothing would have been looked for
