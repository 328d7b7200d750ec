"""Draws of vines: exact in number, fair to each vine, repeatable, and blind to what should not matter."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import uuid
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.errors import OutOfRange
from balance.formulas.samples.row_groups import allocate, row_groups
from balance.formulas.samples.sample_draw import chance_of, stratified, systematic, walk_order

seeds = st.integers(0, 999_999_999)
counts = st.tuples(st.integers(1, 400), st.integers(0, 400)).filter(lambda pair: pair[1] <= pair[0])


def vines(count: int) -> list[bytes]:
    return [uuid.UUID(int=number * 0x9E3779B97F4A7C15 % 2**128).bytes for number in range(1, count + 1)]


@given(counts, seeds)
def test_a_systematic_draw_is_exact_in_number_and_evenly_spaced(pair, seed):
    count, wanted = pair
    drawn = systematic(count, wanted, seed)
    assert len(drawn) == len(set(drawn.tolist())) == wanted
    assert all(0 <= each < count for each in drawn)
    if wanted > 1:
        assert set(np.diff(drawn).tolist()) <= {count // wanted, count // wanted + 1}


def test_over_many_seeds_a_systematic_draw_takes_each_vine_equally_often():
    """7 of 30 vines over 6000 seeds: 1400 times each, give or take four standard deviations (132)."""
    taken = Counter(each for seed in range(6000) for each in systematic(30, 7, seed).tolist())
    assert len(taken) == 30
    assert all(abs(times - 1400) < 132 for times in taken.values())


def test_over_many_seeds_a_stratified_draw_takes_each_vine_equally_often():
    groups = row_groups(np.repeat([1, 2, 3], 10), 3)
    taken = Counter(each for seed in range(4000) for each in stratified(vines(30), groups, 6, seed).tolist())
    assert len(taken) == 30
    assert all(abs(times - 800) < 4 * (4000 * 0.2 * 0.8) ** 0.5 for times in taken.values())


@given(st.lists(st.integers(1, 9), min_size=1, max_size=120), seeds, st.data())
def test_a_stratified_draw_gives_each_group_its_share(rows, seed, data):
    wanted = data.draw(st.integers(0, len(rows)))
    groups = row_groups(rows, 4)
    drawn = stratified(vines(len(rows)), groups, wanted, seed)
    assert len(set(drawn.tolist())) == wanted
    sizes = np.bincount(groups)
    shares = np.bincount(groups[drawn], minlength=sizes.size)
    assert shares.tolist() == allocate(sizes, wanted).tolist()
    assert (shares <= sizes).all()
    assert (np.abs(shares - sizes * wanted / len(rows)) < 2).all()


@given(st.lists(st.integers(1, 9), min_size=2, max_size=120), seeds, st.data())
def test_a_larger_stratified_draw_holds_the_smaller(rows, seed, data):
    wanted = data.draw(st.integers(0, len(rows) - 1))
    groups, names = row_groups(rows, 4), vines(len(rows))
    fewer, more = (set(stratified(names, groups, each, seed).tolist()) for each in (wanted, wanted + 1))
    assert fewer < more


@given(st.integers(2, 80), seeds, st.randoms(), st.data())
def test_the_order_in_which_vines_are_listed_changes_nothing(count, seed, shuffler, data):
    wanted = data.draw(st.integers(1, count))
    names = vines(count)
    groups = np.arange(count) % 3
    order = list(range(count))
    shuffler.shuffle(order)
    straight = {names[each] for each in stratified(names, groups, wanted, seed)}
    shuffled = {names[order[each]] for each in stratified([names[each] for each in order], groups[order], wanted, seed)}
    assert straight == shuffled


def test_a_vine_that_is_gone_is_replaced_by_one_other_and_moves_none():
    names = vines(200)
    drawn = [names[each] for each in stratified(names, np.zeros(200, int), 20, 7)]
    left = [name for name in names if name != drawn[3]]
    again = {left[each] for each in stratified(left, np.zeros(199, int), 20, 7)}
    assert len(again & set(drawn)) == 19


def test_another_seed_draws_other_vines():
    draws = {tuple(stratified(vines(100), np.zeros(100, int), 10, seed).tolist()) for seed in range(50)}
    starts = {tuple(systematic(1000, 10, seed).tolist()) for seed in range(50)}
    assert (len(draws), len(starts) > 35) == (50, True)


def test_chance_is_sha_256_as_any_language_computes_it():
    """FIPS 180-4: the first eight bytes of the digest of the seed's digits, a colon and the name."""
    for seed, name in ((0, b"start"), (999_999_999, vines(3)[2])):
        digest = hashlib.sha256(str(seed).encode() + b":" + name).hexdigest()
        assert chance_of(seed, name) == int(digest[:16], 16)


def test_another_process_draws_the_same_vines():
    """Python's own hashes differ from one process to the next; the draw rests on none of them."""
    script = (
        "from balance.formulas.samples.sample_draw import stratified, systematic\n"
        "print(systematic(352, 9, 42).tolist(), stratified([bytes([n]) for n in range(60)], [n % 2 for n in range(60)], 6, 42).tolist())"
    )
    said = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout.strip()
    assert said == "[12, 51, 90, 130, 169, 208, 247, 286, 325] [1, 7, 10, 24, 44, 49]"


@given(st.lists(st.integers(1, 40), min_size=1, max_size=200), st.integers(1, 50))
def test_row_groups_never_divide_a_row_and_follow_the_rows(rows, wanted):
    groups = row_groups(rows, wanted)
    by_row = dict(zip(rows, groups.tolist(), strict=True))
    assert [by_row[row] for row in rows] == groups.tolist()
    ordered = [by_row[row] for row in sorted(by_row)]
    assert ordered == sorted(ordered)
    assert set(ordered) == set(range(len(set(ordered))))
    assert len(set(ordered)) <= min(wanted, len(by_row))


def test_as_many_groups_as_rows_make_each_row_a_group_and_one_makes_one():
    rows = [3, 3, 1, 2, 2]
    assert row_groups(rows, 3).tolist() == row_groups(rows, 99).tolist() == [2, 2, 0, 1, 1]
    assert row_groups(rows, 1).tolist() == [0] * 5


@given(st.lists(st.integers(0, 300), min_size=1, max_size=30), st.data())
def test_shares_add_up_and_one_more_vine_takes_none_from_any_group(sizes, data):
    wanted = data.draw(st.integers(0, max(0, sum(sizes) - 1)))
    fewer = allocate(sizes, wanted)
    assert fewer.sum() == wanted
    if wanted < sum(sizes):
        assert (allocate(sizes, wanted + 1) >= fewer).all()
    assert (fewer <= sizes).all()


def test_the_walk_goes_up_every_row_or_up_one_and_down_the_next():
    rows, places = [5, 1, 1, 5, 8, 8], [2, 9, 3, 7, 1, 4]
    up = walk_order(rows, places).tolist()
    assert [(rows[each], places[each]) for each in up] == [(1, 3), (1, 9), (5, 2), (5, 7), (8, 1), (8, 4)]
    turning = walk_order(rows, places, serpentine=True).tolist()
    assert [(rows[each], places[each]) for each in turning] == [(1, 3), (1, 9), (5, 7), (5, 2), (8, 1), (8, 4)]


def test_nothing_is_drawn_from_nothing():
    assert systematic(0, 0, 7).tolist() == stratified([], [], 0, 7).tolist() == walk_order([], []).tolist() == []


@pytest.mark.parametrize("draw", [lambda: systematic(5, 6, 7), lambda: stratified(vines(5), [0] * 5, 6, 7), lambda: allocate([2, 3], 6), lambda: systematic(5, -1, 7)])  # fmt: skip
def test_more_than_stand_cannot_be_drawn(draw):
    with pytest.raises(OutOfRange, match="between 0 and 5"):
        draw()


@pytest.mark.parametrize("seed", [-1, 10**9])
def test_a_seed_has_nine_digits(seed):
    with pytest.raises(OutOfRange, match="seed"):
        systematic(5, 2, seed)
