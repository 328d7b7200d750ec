"""Which winter or summer a day belongs to, in the north and in the south, by the farm's own dates."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from balance.cordons.cases import season_on
from balance.cordons.days import day_on
from balance.cordons.parts_of_year import months_of, next_part_begins, part_of_year_of, season_ahead
from records.models import Farm

NORTH = Farm(name="A", hemisphere="north", time_zone="America/New_York")
SOUTH = Farm(name="B", hemisphere="south", time_zone="Australia/Adelaide")


@pytest.mark.parametrize("farm", [NORTH, SOUTH], ids=["north", "south"])
def test_a_seasons_winter_comes_before_its_summer_and_none_is_split(farm):
    days = [date(2024, 1, 1) + timedelta(days=number) for number in range(900)]
    told = [(season_on(farm, day), part_of_year_of(farm, day) == "summer") for day in days]
    assert told == sorted(told)
    assert len(set(told)) == 6


@pytest.mark.parametrize(
    ("farm", "season", "part", "months"),
    [
        (NORTH, 2027, "winter", "November 2026 to April 2027"),
        (NORTH, 2027, "summer", "May 2027 to October 2027"),
        (SOUTH, 2027, "winter", "May 2026 to October 2026"),
        (SOUTH, 2027, "summer", "November 2026 to April 2027"),
    ],
)
def test_its_months_are_those_of_the_hemisphere(farm, season, part, months):
    assert months_of(farm, season, part) == months


@pytest.mark.parametrize(
    ("farm", "day", "part", "season"),
    [
        (NORTH, date(2026, 12, 1), "winter", 2027),
        (NORTH, date(2026, 12, 1), "summer", 2027),
        (NORTH, date(2026, 7, 1), "summer", 2026),
        (NORTH, date(2026, 7, 1), "winter", 2027),
        (SOUTH, date(2026, 12, 1), "summer", 2027),
        (SOUTH, date(2026, 12, 1), "winter", 2028),
        (SOUTH, date(2026, 7, 1), "winter", 2027),
    ],
)
def test_without_a_season_it_is_the_one_that_is_or_comes_next(farm, day, part, season):
    assert season_ahead(farm, day, part) == season


def test_the_day_is_the_farms_own():
    now = datetime(2026, 10, 31, 20, tzinfo=UTC)
    assert (day_on(NORTH, now), day_on(SOUTH, now)) == (date(2026, 10, 31), date(2026, 11, 1))


@pytest.mark.parametrize(
    ("farm", "day", "begins"),
    [
        (NORTH, date(2026, 9, 10), date(2026, 11, 1)),
        (NORTH, date(2026, 10, 31), date(2026, 11, 1)),
        (NORTH, date(2026, 11, 1), date(2027, 5, 1)),
        (SOUTH, date(2026, 11, 1), date(2027, 5, 1)),
        (SOUTH, date(2027, 5, 31), date(2027, 11, 1)),
    ],
)
def test_the_next_part_begins_on_the_first_of_a_month(farm, day, begins):
    assert next_part_begins(farm, day) == begins
    assert part_of_year_of(farm, begins) != part_of_year_of(farm, day)
    assert part_of_year_of(farm, begins - timedelta(days=1)) == part_of_year_of(farm, day)
