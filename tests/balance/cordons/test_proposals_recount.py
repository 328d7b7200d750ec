"""The proposals of random histories, recounted in plain Python, cordon by cordon."""

from __future__ import annotations

import uuid
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from balance.cordons.models import CordonCase, CordonSettings
from balance.cordons.proposals import proposals_of
from records.access import enter, open_farm
from records.models import CordonInspection, VineEvent
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db
CORDONS = ("left", "right")
VINES, SEASONS = range(3), range(2020, 2026)


@dataclass(frozen=True)
class Look:
    """One inspection; a number of millimetres where a length was measured, no day where an import gave none."""

    vine: int
    cordon: str
    season: int
    day: int | None
    living: int | None
    blank: int | None
    dieback_mm: int | None
    withdrawn: bool


@dataclass(frozen=True)
class Followed:
    """One case of replacement, at the step where it stands."""

    vine: int
    cordon: str
    step: str
    season: int
    withdrawn: bool


few = st.none() | st.integers(0, 6)
looks = st.builds(
    Look, st.sampled_from(VINES), st.sampled_from(CORDONS), st.sampled_from(SEASONS),
    st.none() | st.integers(1, 28), few, few, st.none() | st.sampled_from([0, 100, 200]), st.integers(0, 5).map(bool),
).map(lambda look: Look(**{**look.__dict__, "withdrawn": not look.withdrawn}))  # fmt: skip
#: Of the sixth month, so that no day of an inspection, all in January, is the same.
followed = st.builds(
    Followed, st.sampled_from(VINES), st.sampled_from(["", *CORDONS]),
    st.sampled_from(["noticed", "filling", "bearing", "given_up"]), st.sampled_from(SEASONS), st.booleans(),
)  # fmt: skip
events = st.dictionaries(
    st.sampled_from(VINES),
    st.tuples(st.sampled_from(["missing", "replanted"]), st.sampled_from(SEASONS)),
    max_size=1,
)
thresholds = st.fixed_dictionaries(
    {
        "blank_share_percent": st.none() | st.sampled_from([Decimal(25), Decimal(50)]),
        "dieback_length_m": st.none() | st.just(Decimal("0.2")),
        "fewest_living_positions": st.none() | st.integers(1, 4),
        "years_in_decline": st.none() | st.integers(1, 3),
    }
)


def recount(
    seen: list[tuple[uuid.UUID, Look]], cases: list[Followed], happened: dict[int, tuple[str, int]],
    told: dict[str, Any], upto: int,
) -> set[tuple[int, str, tuple[str, ...], uuid.UUID]]:  # fmt: skip
    """Give vine, cordon, reasons and newest inspection of every proposal."""
    standing = [case for case in cases if not case.withdrawn]
    passed: dict[int, list[tuple[str, set[str], Look, uuid.UUID]]] = defaultdict(list)
    for vine in VINES:
        for cordon in CORDONS:
            of_it = [case for case in standing if case.vine == vine and case.cordon in {"", cordon}]
            found = _newest_first(vine, cordon, seen, happened, of_it, upto)
            barred = any(case.step in {"noticed", "filling"} for case in of_it)
            if not found or barred or any(not _later(found[0][1], case) for case in of_it):
                continue
            reasons = _reasons([look for _, look in found], told)
            if reasons:
                passed[vine].append((cordon, reasons, found[0][1], found[0][0]))
    proposed = set()
    for vine, failing in passed.items():
        under_way = any(case.vine == vine and case.step in {"noticed", "filling"} for case in standing)
        if len(failing) > 1 and not under_way:
            newest = max(failing, key=lambda it: (it[2].season, it[2].day or 99, it[3]))
            reasons = set().union(*(it[1] for it in failing), {"more_than_one_cordon"})
            proposed.add((vine, "", tuple(sorted(reasons)), newest[3]))
        else:
            proposed |= {(vine, cordon, tuple(sorted(reasons)), pk) for cordon, reasons, _, pk in failing}
    return proposed


def _later(look: Look, case: Followed) -> bool:
    if look.day is None:
        return look.season > case.season
    return date(look.season, 1, look.day) > date(case.season, 6, 15)


def _newest_first(
    vine: int, cordon: str, seen: list[tuple[uuid.UUID, Look]], happened: dict[int, tuple[str, int]],
    cases: list[Followed], upto: int,
) -> list[tuple[uuid.UUID, Look]]:  # fmt: skip
    """Give the newest look of each season, the newest season first: of the plant and the arm that stand."""
    event, event_season = happened.get(vine, ("", 0))
    if event == "missing" and event_season <= upto:
        return []
    by_season: dict[int, tuple[tuple[bool, int, uuid.UUID], uuid.UUID, Look]] = {}
    for pk, look in seen:
        if look.withdrawn or (look.vine, look.cordon) != (vine, cordon) or look.season > upto:
            continue
        # replanted on the 10th of January of its season
        if event == "replanted" and event_season <= upto:
            before = look.season < event_season
            same = look.season == event_season
            if before or (same and look.day is not None and look.day < 10):
                continue
        if any(case.step == "bearing" and not _later(look, case) for case in cases):
            continue
        rank = (look.day is not None, look.day or 0, pk)
        if look.season not in by_season or rank > by_season[look.season][0]:
            by_season[look.season] = rank, pk, look
    return [by_season[season][1:] for season in sorted(by_season, reverse=True)]


def _reasons(newest_first: list[Look], told: dict[str, Any]) -> set[str]:
    newest, reasons = newest_first[0], set()
    share, fewest, years = told["blank_share_percent"], told["fewest_living_positions"], told["years_in_decline"]
    positions = None if newest.living is None or newest.blank is None else newest.living + newest.blank
    if share and positions and Decimal(100 * (newest.blank or 0)) / positions >= share:
        reasons.add("blank_share")
    if told["dieback_length_m"] and newest.dieback_mm is not None and newest.dieback_mm >= 200:
        reasons.add("dieback")
    if fewest and newest.living is not None and newest.living < fewest:
        reasons.add("few_positions")
    if years and newest.living is not None:
        counted = [look.living for look in newest_first if look.living is not None]
        run = 0
        while run + 1 < len(counted) and counted[run] < counted[run + 1]:
            run += 1
        if run >= years:
            reasons.add("years_in_decline")
    return reasons


@pytest.fixture
def yard(cast) -> Any:
    made = Yard(cast)
    enter(cast.owner.caller)
    made.opened = open_farm(cast.owner.caller, cast.farm.pk)  # type: ignore[attr-defined]
    return made


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(looks, max_size=24), st.lists(followed, max_size=3, unique_by=lambda it: (it.vine, it.cordon)), events,
    thresholds, st.sampled_from(SEASONS),
)  # fmt: skip
def test_what_the_database_proposes_is_what_a_plain_recount_does(yard, seen, cases, happened, told, upto):
    with transaction.atomic():
        _store(yard, seen, cases, happened, told)
        stored = [(pk, look) for pk, look in zip(_ids(len(seen)), seen, strict=True)]
        found = proposals_of(yard.opened, block_id=yard.block.pk, season=upto)
        numbers = {vine.pk: number for number, vine in enumerate(yard.vines)}
        proposed = {(numbers[it.vine_id], it.cordon, it.reasons, it.inspection_id) for it in found}
        assert len(proposed) == len(found)
        assert proposed == recount(stored, cases, happened, told, upto)
        transaction.set_rollback(True)


def _ids(count: int) -> list[uuid.UUID]:
    return [uuid.UUID(int=number + 1) for number in range(count)]


def _store(
    yard: Any, seen: list[Look], cases: list[Followed], happened: dict[int, tuple[str, int]], told: dict[str, Any]
) -> None:
    farm, block = yard.block.farm_id, yard.block.pk
    CordonInspection.objects.bulk_create(
        CordonInspection(
            id=pk, farm_id=farm, block_id=block, vine_id=yard.vines[look.vine].pk, cordon=look.cordon,
            season=look.season, source="import" if look.day is None else "api",
            observed_at=None if look.day is None else datetime(look.season, 1, look.day, 18, tzinfo=UTC),
            observed_offset_minutes=None if look.day is None else 0,
            living_positions=look.living, blank_positions=look.blank, **_length("dieback_length", look.dieback_mm),
            withdrawn_at=datetime(2026, 1, 1, tzinfo=UTC) if look.withdrawn else None,
        )
        for pk, look in zip(_ids(len(seen)), seen, strict=True)
    )  # fmt: skip
    VineEvent.objects.bulk_create(
        VineEvent(
            farm_id=farm, block_id=block, vine_id=yard.vines[vine].pk, event=event, season=season,
            happened_on=date(season, 1, 10), observed_at=datetime(season, 1, 10, 18, tzinfo=UTC),
            observed_offset_minutes=0,
        )
        for vine, (event, season) in happened.items()
    )  # fmt: skip
    CordonCase.objects.bulk_create(
        CordonCase(
            farm_id=farm, block_id=block, vine_id=yard.vines[case.vine].pk, cordon=case.cordon,
            scope="cordon" if case.cordon else "vine", reasons=["seen"], noticed_on=date(2019, 1, 1), step=case.step,
            step_on=date(case.season, 6, 15), step_season=case.season,
            withdrawn_at=datetime(2026, 1, 1, tzinfo=UTC) if case.withdrawn else None,
        )
        for case in cases
    )  # fmt: skip
    length = told["dieback_length_m"]
    given = {} if length is None else {"dieback_length_value": length * 1000, "dieback_length_unit": "mm"}
    CordonSettings.objects.create(farm_id=farm, block_id=None, **told, **given)


def _length(name: str, millimetres: int | None) -> dict[str, Any]:
    if millimetres is None:
        return {}
    metres = Decimal(millimetres) / 1000
    return {f"{name}_value": Decimal(millimetres), f"{name}_unit": "mm", f"{name}_m": metres}
