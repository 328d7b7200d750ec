"""A day of every year: when it comes next, and which harvest year is over on it."""

from __future__ import annotations

from datetime import date, datetime, time, tzinfo
from typing import Final

from records.seasons import implied_season

#: After leaf fall, when a season's harvest is in and the next pruning is planned (common practice, no source).
SEASON_ENDS_ON: Final = {"north": (12, 1), "south": (6, 1)}
#: The hour of the day at which what is due on it is done.
_HOUR: Final = time(6)


def at_its_hour(day: date, zone: tzinfo) -> datetime:
    """Give the instant of a day at which what is due on it is done."""
    return datetime.combine(day, _HOUR, tzinfo=zone)


def next_time(month: int, day: int, zone: tzinfo, after: datetime) -> datetime:
    """Give the first such day whose hour lies after an instant."""
    this_year = date(after.astimezone(zone).year, month, day)
    at = at_its_hour(this_year, zone)
    return at if at > after else at_its_hour(this_year.replace(year=this_year.year + 1), zone)


def season_over_on(hemisphere: str, day: date) -> int:
    """Give the newest harvest year that is over on a day."""
    coming = implied_season(day.year, day.month, hemisphere=hemisphere, time="any")
    assert coming is not None  # noqa: S101 - every month belongs to one
    return coming - 1
