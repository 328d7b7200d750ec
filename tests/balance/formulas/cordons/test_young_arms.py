"""What young arms cannot carry is lost and said; nothing is pushed onto the rest of the vine."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from balance.formulas.cordons.frames import FRAMES, cordons_of
from balance.formulas.cordons.young_arm_load import VIGOURS, YoungArm, carried_by
from balance.formulas.cordons.young_arm_words import explain_count, summary, warning, workings
from balance.formulas.cordons.young_arms import HeldBack, hold_back, shares_of
from balance.formulas.errors import OutOfRange
from balance.formulas.methods import NO_SOURCE, READ
from records.kinds.definitions import CORDONS

NAMES = [name for name in CORDONS if name != "head"]


@st.composite
def arms_of_a_vine(draw: st.DrawFn) -> tuple[int, list[YoungArm]]:
    cordons = draw(st.integers(1, 10))
    names = draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=cordons, unique=True))
    made = st.builds(
        YoungArm,
        first_winter=st.booleans(),
        nodes_laid_down=st.none() | st.integers(0, 200),
        vigour=st.sampled_from(["", *VIGOURS]),
        cordon=st.just(""),
    )
    return cordons, [YoungArm(name, *_said(draw(made))) for name in names]


def _said(arm: YoungArm) -> tuple[bool, int | None, str]:
    return arm.first_winter, arm.nodes_laid_down, arm.vigour


def held(target: int, cordons: int | None, *arms: YoungArm) -> HeldBack:
    found = hold_back(target, cordons, arms)
    assert found is not None
    return found


@given(st.integers(0, 2000), arms_of_a_vine())
def test_what_is_kept_and_what_is_lost_make_up_the_target(target, vine):
    cordons, arms = vine
    told = held(target, cordons, *arms)
    assert told.kept is not None
    assert told.lost is not None
    assert told.kept + told.lost == target
    assert 0 <= told.kept <= target
    assert told.lost == sum(load.lost for load in told.loads)
    for load in told.loads:
        assert 0 <= load.kept <= min(load.share, load.carries, 15)
        assert load.kept + load.lost == load.share


@given(st.integers(0, 2000), arms_of_a_vine())
def test_no_grown_cordon_keeps_more_than_it_would_without_young_arms(target, vine):
    cordons, arms = vine
    told = held(target, cordons, *arms)
    assert told.kept is not None
    grown = cordons - len(arms)
    on_grown = told.kept - sum(load.kept for load in told.loads)
    assert on_grown <= -(-target // cordons) * grown
    assert (told.grown_share is None) == (told.pushed is None) == (grown == 0)
    if told.pushed is not None and told.grown_share is not None:
        assert told.pushed >= told.grown_share
        assert (warning(told) is None) == (told.lost == 0)


@given(st.integers(0, 2000), arms_of_a_vine())
def test_the_shares_of_all_cordons_are_equal_but_for_odd_nodes_and_make_up_the_target(target, vine):
    cordons, arms = vine
    shares = shares_of(target, cordons, len(arms))
    assert (len(shares), sum(shares)) == (cordons, target)
    assert max(shares) - min(shares) <= 1


@given(st.integers(0, 2000), arms_of_a_vine(), st.integers(0, 2000), st.integers(1, 20))
def test_a_count_is_explained_by_what_the_vine_keeps(target, vine, retained, tolerance):
    told = held(target, vine[0], *vine[1])
    assert told.kept is not None
    explained = explain_count(retained, told, tolerance)
    assert explained.difference == retained - told.kept
    assert (explained.outcome == "within_tolerance") == (abs(retained - told.kept) <= tolerance)


def test_without_a_young_arm_nothing_is_lost():
    assert hold_back(48, 2, []) is None


@pytest.mark.parametrize(
    ("arm", "carries", "mark"),
    [
        (YoungArm("left", vigour="weak"), 10, READ),
        (YoungArm("left", vigour="vigorous"), 15, READ),
        (YoungArm("left"), 10, NO_SOURCE),
        (YoungArm("left", nodes_laid_down=7, vigour="vigorous"), 7, READ),
        (YoungArm("left", nodes_laid_down=12, vigour="weak"), 10, READ),
        (YoungArm("left", nodes_laid_down=12), 12, READ),
        (YoungArm("left", nodes_laid_down=40), 15, READ),
        (YoungArm("left", first_winter=False, nodes_laid_down=7), 10, NO_SOURCE),
        (YoungArm("left", first_winter=False, vigour="vigorous"), 15, NO_SOURCE),
    ],
)
def test_an_arm_carries_what_the_source_prints_or_what_was_laid_down(arm, carries, mark):
    nodes, _, how_known = carried_by(arm)
    assert (nodes, how_known) == (carries, mark)


def test_where_a_number_would_be_a_guess_the_reason_stands_instead():
    reasons = [
        held(48, None, YoungArm("left")).reason,
        held(48, 2, YoungArm("left", part=True)).reason,
        held(48, 1, YoungArm("left"), YoungArm("right")).reason,
        held(48, 2, YoungArm(""), YoungArm("left")).reason,
    ]
    assert all(reasons)
    assert len(set(reasons)) == 4
    without = held(48, None, YoungArm("left"))
    assert (without.kept, without.lost, without.loads, workings(without)) == (None, None, (), [])
    assert "not known" in summary(without)
    assert explain_count(30, without, 3).outcome is None


def test_a_vine_renewed_from_the_trunk_keeps_what_its_one_arm_carries():
    told = held(48, None, YoungArm("", nodes_laid_down=12))
    assert (told.kept, told.lost, told.pushed, warning(told)) == (12, 36, None, None)


def test_the_steps_can_be_followed_by_hand():
    steps = workings(held(49, 2, YoungArm("left", nodes_laid_down=10)))
    assert [step.calculation for step in steps] == ["49 ÷ 2 → 24 for a young arm", "24 − 10 = 14 lost", "14 = 14", "49 − 14 = 35"]  # fmt: skip
    assert [step.value for step in steps] == [24, 14, 14, 35]


def test_too_few_is_explained_as_far_as_the_arm_explains_it():
    told = held(48, 2, YoungArm("left", nodes_laid_down=10))
    outcomes = [explain_count(retained, told, 3).outcome for retained in (30, 31, 37, 38)]
    assert outcomes == ["too_few", "within_tolerance", "within_tolerance", "too_many"]
    assert "14 of what the target misses, not the other 4" in explain_count(30, told, 3).sentence
    assert "E-2774" in explain_count(48, told, 3).sentence


@pytest.mark.parametrize("frame", FRAMES)
def test_cordons_are_counted_where_all_of_a_frame_were_seen(frame):
    assert cordons_of(frame, "bilateral_cordon") == (len(frame), "inspections")
    part = sorted(frame)[1:]
    assert cordons_of(part, "not_stated") == (None, None)
    assert cordons_of(part, "quadrilateral_cordon") == (4, "training")


@pytest.mark.parametrize(("target", "cordons", "nodes"), [(-1, 2, 8), (48, 0, 8), (48, 11, 8), (48, 2, 201)])
def test_what_cannot_be_is_refused(target, cordons, nodes):
    with pytest.raises(OutOfRange):
        hold_back(target, cordons, [YoungArm("left", nodes_laid_down=nodes)])
