"""What holds for every crop, every weight of prunings and every length of canopy, by property tests."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.crops.crop_load import CROP_LOAD, WrongPairing, crop_load, leaf_area_per_yield, ripeness_flag
from balance.formulas.crops.quotients import quotient
from balance.formulas.crops.vine_size import (
    canopy_length,
    mean_cane_weight,
    pruning_weight_per_canopy_metre,
    pruning_weight_per_row_metre,
    shoots_per_canopy_metre,
)
from balance.formulas.errors import OutOfRange
from balance.formulas.ranges import Range, judge

POUND = Decimal("0.45359237")
crops = st.floats(0, 200)
woods = st.floats(0.01, 20)
either = st.none() | st.floats(0, 200)


def load(crop: float | None, wood: float | None) -> float | None:
    return quotient(crop, wood, CROP_LOAD).value


@given(crop=crops, wood=st.floats(1, 20), times=st.floats(0.1, 4))
def test_it_is_linear_in_the_crop(crop, wood, times):
    once, more = load(crop, wood), load(crop * times, wood)
    assert once is not None
    assert more == pytest.approx(once * times, rel=1e-8, abs=1e-12)


@given(crop=st.floats(0.1, 100), wood=woods, more=st.floats(0, 20))
def test_more_wood_beside_the_same_crop_never_is_a_heavier_load(crop, wood, more):
    lighter, heavier = load(crop, wood), load(crop, wood + more)
    assert lighter is None or (heavier is not None and heavier <= lighter)


@given(crop=crops, wood=woods)
def test_the_unit_of_both_weights_does_not_matter(crop, wood):
    crop_of_pounds, wood_of_pounds = (float(Decimal(str(each)) * POUND) for each in (crop, wood))
    by_pounds, by_kilograms = load(crop_of_pounds, wood_of_pounds), load(crop, wood)
    assert by_pounds == pytest.approx(by_kilograms, rel=1e-8) if by_kilograms is not None else by_pounds is None


@given(vines=st.lists(st.tuples(either, either), min_size=1, max_size=30), seed=st.randoms())
def test_the_order_of_the_vines_changes_nothing(vines, seed):
    order = list(range(len(vines)))
    seed.shuffle(order)
    crops_, woods_ = (np.array([math.nan if v is None else v for v in side]) for side in zip(*vines, strict=True))
    straight = crop_load(crops_, woods_, yield_season=2026, pruning_season=2027)
    shuffled = crop_load(crops_[order], woods_[order], yield_season=2026, pruning_season=2027)
    assert np.array_equal(straight.values[order], shuffled.values, equal_nan=True)
    assert straight.status[order].tolist() == shuffled.status.tolist()


@given(vines=st.lists(st.tuples(either, either), min_size=1, max_size=30))
def test_a_number_stands_exactly_where_the_status_says_so(vines):
    crops_, woods_ = ([math.nan if v is None else v for v in side] for side in zip(*vines, strict=True))
    loads = crop_load(crops_, woods_, yield_season=2026, pruning_season=2027)
    assert (np.isnan(loads.values) == (loads.status != "ok")).all()
    assert [quotient(crop, wood, CROP_LOAD).status for crop, wood in vines] == loads.status.tolist()


@given(yield_season=st.integers(1900, 2100), later=st.integers(-3, 3))
def test_only_the_dormant_season_that_follows_the_harvest_is_its_pair(yield_season, later):
    """trade.md section 13, row 13: Practical Winery & Vineyard, June 2017 (READ)."""
    if later == 1:
        assert crop_load([10], [1], yield_season=yield_season, pruning_season=yield_season + 1).values[0] == 10
        return
    with pytest.raises(WrongPairing, match=f"season {yield_season + 1}; the prunings are of season"):
        crop_load([10], [1], yield_season=yield_season, pruning_season=yield_season + later)


def test_missing_and_zero_and_not_measured_are_three_things():
    loads = crop_load(
        [0, 10, math.nan, 10, math.nan], [1, 0, 1, math.nan, math.nan], yield_season=2026, pruning_season=2027
    )
    assert loads.status.tolist() == ["ok", "under_zero", "over_missing", "under_missing", "both_missing"]
    assert loads.values[0] == 0
    assert np.isnan(loads.values[1:]).all()


@pytest.mark.parametrize("wrong", [-0.1, math.inf, 1.1e9])
@pytest.mark.parametrize("side", [0, 1])
def test_a_weight_that_cannot_be_is_refused_with_its_limits(wrong, side):
    sides = [10.0, 1.0]
    sides[side] = wrong
    with pytest.raises(OutOfRange, match="between 0 and"):
        crop_load([sides[0]], [sides[1]], yield_season=2026, pruning_season=2027)


@pytest.mark.parametrize("speck", [1e-300, 5e-324, 1e-9])
def test_prunings_next_to_nothing_give_a_reason_and_no_number(speck):
    found = quotient(10, speck, CROP_LOAD)
    assert (found.value, found.status) == (None, "beyond_any_vine")
    assert "Check both values and their units" in (found.reason or "")


def test_rescaling_from_pounds_to_kilograms_changes_no_verdict_in_1000_random_cases():
    """Hundredths of a pound against limits that many of the ratios hit exactly."""
    random = np.random.default_rng(2027)
    assigned, seen = Range(5, 10, "1"), set()
    for _ in range(1000):
        wood = Decimal(int(random.integers(1, 400))) / 100
        crop = wood * Decimal(int(random.integers(6, 24))) / 2 + Decimal(int(random.integers(-1, 2))) / 100
        crop = max(crop, Decimal(0))
        verdicts = [
            judge(load(float(crop * unit), float(wood * unit)), assigned)
            for unit in (POUND, Decimal(1), POUND / 16, Decimal("0.001"))
        ]
        assert len(set(verdicts)) == 1
        seen.add(verdicts[0])
    assert seen == {"below", "within", "above"}


@given(wood=woods, length=st.floats(0.3, 12), canopies=st.integers(1, 4))
def test_a_metre_of_canopy_carries_the_share_of_a_metre_of_row(wood, length, canopies):
    by_row = pruning_weight_per_row_metre([wood], [length]).values[0]
    by_canopy = pruning_weight_per_canopy_metre([wood], canopy_length([length], canopies)).values[0]
    assert by_canopy * canopies == pytest.approx(by_row, rel=1e-8)


@pytest.mark.parametrize("canopies", [0, 5, -1])
def test_a_number_of_canopies_that_no_trellis_has_is_refused(canopies):
    with pytest.raises(OutOfRange, match="canopies"):
        canopy_length([2.4], canopies)


@given(wood=woods, canes=st.integers(1, 200), shoots=st.integers(0, 120), length=st.floats(0.3, 12))
def test_cane_weight_and_shoots_for_each_metre_are_what_they_say(wood, canes, shoots, length):
    found = mean_cane_weight([wood], [canes])
    if found.status[0] == "ok":
        assert found.values[0] * canes / 1000 == pytest.approx(wood, rel=1e-8)
    assert shoots_per_canopy_metre([shoots], [length]).values[0] * length == pytest.approx(shoots, rel=1e-8)


def test_no_canes_no_length_and_no_crop_give_no_number():
    assert mean_cane_weight([1.0], [0]).status[0] == "under_zero"
    assert pruning_weight_per_canopy_metre([1.0], [0.0]).status[0] == "under_zero"
    assert leaf_area_per_yield([3.0], [0.0]).status[0] == "under_zero"


@pytest.mark.parametrize(
    ("load_verdict", "solids_verdict", "flag"),
    [("above", "below", "heavy_crop_low_soluble_solids"), ("within", "below", "low_soluble_solids_without_heavy_crop"),
     ("below", "below", "low_soluble_solids_without_heavy_crop"), ("above", "within", None), ("above", None, None),
     (None, "below", None), (None, None, None)],
)  # fmt: skip
def test_a_flag_needs_low_solids_and_a_verdict_on_the_crop(load_verdict, solids_verdict, flag):
    """trade.md section 13, row 19."""
    found = ripeness_flag(load_verdict, solids_verdict)
    assert (found[0] if found else None) == flag
