"""A place is missing a vine when the newest of its events up to the season says so, and only then."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from balance.missing_vines import missing_ids, places_in
from records.access import enter, open_farm
from records.kinds.definitions import VINE_EVENT
from tests.records.yard import Yard

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard(cast) -> Yard:
    return Yard(cast)


def tell(yard: Yard, vine: int, event: str, day: str, **more: Any) -> dict[str, Any]:
    body = yard.new(
        VINE_EVENT, vine=str(yard.vines[vine].pk), event=event, observed_at=f"{day}T14:00:00-04:00",
        happened_on=..., rootstock=..., **more,
    )  # fmt: skip
    answer = yard.post(VINE_EVENT, body)
    assert answer.status_code == 201, answer.json()
    told: dict[str, Any] = answer.json()
    return told


def standing(yard: Yard, cast: Any, season: int) -> tuple[int, int, int]:
    enter(cast.owner.caller)
    found = places_in(open_farm(cast.owner.caller, cast.farm.pk), yard.block, season)
    return found.count, found.missing, found.young


def missing(yard: Yard, cast: Any, season: int) -> set[uuid.UUID]:
    enter(cast.owner.caller)
    packed = missing_ids(open_farm(cast.owner.caller, cast.farm.pk), yard.block, season)
    return {uuid.UUID(bytes=row.tobytes()) for row in packed}


def test_without_an_event_every_place_has_its_vine(yard, cast):
    assert standing(yard, cast, 2027) == (12, 0, 0)
    assert missing(yard, cast, 2027) == set()


def test_a_vine_found_missing_is_missing_from_then_on(yard, cast):
    tell(yard, 3, "missing", "2026-06-01")
    assert [standing(yard, cast, season) for season in (2025, 2026, 2027)] == [(12, 0, 0), (12, 1, 0), (12, 1, 0)]
    assert missing(yard, cast, 2027) == {yard.vines[3].pk}


def test_a_replanted_place_has_a_vine_again_and_a_young_one(yard, cast):
    tell(yard, 3, "missing", "2025-06-01")
    tell(yard, 3, "replanted", "2026-04-28")
    seasons = (2025, 2026, 2028, 2029)
    assert [standing(yard, cast, season) for season in seasons] == [(12, 1, 0), (12, 0, 1), (12, 0, 1), (12, 0, 0)]


def test_the_order_in_which_events_were_sent_changes_nothing(yard, cast):
    tell(yard, 3, "replanted", "2026-04-28")
    tell(yard, 3, "missing", "2025-06-01")
    assert standing(yard, cast, 2027) == (12, 0, 1)


def test_the_day_it_happened_decides_inside_a_season(yard, cast):
    tell(yard, 3, "replanted", "2026-04-28")
    body = {"event": "missing", "happened_on": "2026-04-02", "observed_at": "2026-05-30T14:00:00-04:00"}
    yard.post(VINE_EVENT, yard.new(VINE_EVENT, vine=str(yard.vines[3].pk), rootstock=..., **body))
    assert standing(yard, cast, 2026) == (12, 0, 1)


def test_an_event_that_was_withdrawn_says_nothing(yard, cast):
    event = tell(yard, 3, "missing", "2026-06-01")
    withdrawn = cast.worker.client.delete(yard.at(VINE_EVENT, event), headers={"If-Match": "*"})
    assert withdrawn.status_code == 200
    assert standing(yard, cast, 2027) == (12, 0, 0)
