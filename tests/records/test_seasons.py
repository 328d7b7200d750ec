"""Every dormant instant belongs to exactly one harvest, by the farm's own calendar."""

from __future__ import annotations

import os
import time
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from records.seasons import SeasonNotImplied, resolve_season, season_of

NEW_YORK, ADELAIDE = "America/New_York", "Australia/Adelaide"


def local(zone: str, *when: int) -> datetime:
    return datetime(*when, tzinfo=ZoneInfo(zone))  # type: ignore[arg-type,misc]


@pytest.mark.parametrize(
    ("month", "season"),
    [(11, 2027), (12, 2027), (1, 2026), (2, 2026), (6, 2026), (7, None), (8, None), (9, None), (10, None)],
)
def test_in_the_north_november_to_june_belongs_to_the_harvest_of_that_winters_new_year(month, season):
    assert season_of(local(NEW_YORK, 2026, month, 15), time_zone=NEW_YORK, hemisphere="north") == season


@pytest.mark.parametrize(("month", "season"), [(5, 2027), (8, 2027), (11, 2027), (12, None), (1, None), (4, None)])
def test_in_the_south_may_to_november_belongs_to_the_harvest_early_next_year(month, season):
    assert season_of(local(ADELAIDE, 2026, month, 15), time_zone=ADELAIDE, hemisphere="south") == season


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Etc/GMT+12", "Asia/Kathmandu", "America/St_Johns", NEW_YORK])
def test_the_last_and_the_first_minute_of_a_window_go_by_local_time(zone):
    before, after = local(zone, 2026, 10, 31, 23, 59), local(zone, 2026, 11, 1, 0, 1)
    said = [season_of(when.astimezone(UTC), time_zone=zone, hemisphere="north") for when in (before, after)]
    assert said == [None, 2027]


def test_new_year_in_utc_is_not_new_year_on_the_farm():
    instant = datetime(2027, 1, 1, 2, tzinfo=UTC)
    assert {season_of(instant, time_zone=zone, hemisphere="north") for zone in (NEW_YORK, "Europe/Paris")} == {2027}


def test_the_hour_that_comes_twice_in_autumn_has_one_season():
    """Clocks go back on 1 November 2026 in New York: 01:30 comes twice."""
    twice = [local(NEW_YORK, 2026, 11, 1, 1, 30).replace(fold=fold) for fold in (0, 1)]
    assert [season_of(when, time_zone=NEW_YORK, hemisphere="north") for when in twice] == [2027, 2027]


@given(instant=st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1)), minutes=st.integers(-720, 840))  # noqa: DTZ001
def test_the_offset_that_an_instant_is_sent_with_does_not_change_its_season(instant, minutes):
    there = instant.replace(tzinfo=UTC)
    sent = there.astimezone(timezone(timedelta(minutes=minutes)))
    for hemisphere in ("north", "south"):
        assert season_of(there, time_zone=NEW_YORK, hemisphere=hemisphere) == season_of(
            sent, time_zone=NEW_YORK, hemisphere=hemisphere
        )


@pytest.mark.parametrize("machine", ["UTC", "Pacific/Kiritimati", "America/St_Johns"])
def test_the_machines_own_time_zone_decides_nothing(machine, monkeypatch):
    monkeypatch.setitem(os.environ, "TZ", machine)
    time.tzset()
    try:
        assert season_of(local(NEW_YORK, 2026, 10, 31, 23, 59), time_zone=NEW_YORK, hemisphere="north") is None
    finally:
        monkeypatch.undo()
        time.tzset()


def test_outside_the_dormant_months_the_season_must_be_said():
    summer = local(NEW_YORK, 2026, 8, 1)
    with pytest.raises(SeasonNotImplied, match="November to June.*Send season"):
        resolve_season(summer, None, time_zone=NEW_YORK, hemisphere="north")
    assert resolve_season(summer, 2027, time_zone=NEW_YORK, hemisphere="north") == 2027


@pytest.mark.parametrize("stated", [2025, 2027])
def test_a_season_that_contradicts_the_date_is_refused(stated):
    with pytest.raises(SeasonNotImplied, match="belongs to season 2026"):
        resolve_season(local(NEW_YORK, 2026, 2, 1), stated, time_zone=NEW_YORK, hemisphere="north")


def test_a_season_years_away_from_the_date_is_refused():
    with pytest.raises(SeasonNotImplied, match="more than a year"):
        resolve_season(local(NEW_YORK, 2026, 8, 1), 2030, time_zone=NEW_YORK, hemisphere="north")


@pytest.mark.parametrize(("stated", "taken"), [(2026, True), (2028, True), (2025, False)])
def test_one_instant_is_as_far_from_a_season_whatever_offset_it_is_sent_with(stated, taken):
    """08:00 on 1 January 2027 in Auckland is still 2026 in UTC; the farm's own calendar says 2027."""
    zone = "Pacific/Auckland"
    there = local(zone, 2027, 1, 1, 8)
    for sent in (there, there.astimezone(UTC)):
        if taken:
            assert resolve_season(sent, stated, time_zone=zone, hemisphere="south") == stated
            continue
        with pytest.raises(SeasonNotImplied, match="more than a year from the date 2027-01-01"):
            resolve_season(sent, stated, time_zone=zone, hemisphere="south")


def test_an_instant_without_an_offset_is_refused():
    with pytest.raises(ValueError, match="offset"):
        season_of(datetime(2027, 1, 1), time_zone=NEW_YORK, hemisphere="north")  # noqa: DTZ001
