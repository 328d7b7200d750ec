"""Which harvest a day belongs to: a rule of local date and hemisphere, never of the UTC year.

A season is the calendar year of the harvest.  A dormant record of season S was taken in the winter before
harvest S.  North: November to June belongs to the harvest of that winter's new year.  South: May to
November belongs to the harvest early in the next calendar year.  What grows is recorded from March to October in
the north and from September to April in the south.  No day has two seasons: a date on which a kind of record is
not usual, such as a harvest in December, needs its season said.  (Rule of this service; design decision.)
"""

from __future__ import annotations

from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

#: How many years the harvest lies ahead of each month's calendar year.
_AHEAD: Final = {
    "north": {month: int(month >= 11) for month in range(1, 13)},
    "south": {month: int(month >= 5) for month in range(1, 13)},
}
#: In which months a date alone says which harvest a record belongs to.
_MONTHS: Final = {
    ("dormant", "north"): {11, 12, 1, 2, 3, 4, 5, 6},
    ("dormant", "south"): {5, 6, 7, 8, 9, 10, 11},
    ("growing", "north"): {3, 4, 5, 6, 7, 8, 9, 10},
    ("growing", "south"): {9, 10, 11, 12, 1, 2, 3, 4},
    ("any", "north"): set(range(1, 13)),
    ("any", "south"): set(range(1, 13)),
}
_SAID: Final = {
    ("dormant", "north"): "the dormant months of the north (November to June)",
    ("dormant", "south"): "the dormant months of the south (May to November)",
    ("growing", "north"): "the growing months of the north (March to October)",
    ("growing", "south"): "the growing months of the south (September to April)",
}


class SeasonNotImplied(ValueError):
    """The date does not say which harvest it belongs to, or contradicts the season that was said."""


def season_of(
    observed_at: datetime, *, time_zone: str | ZoneInfo, hemisphere: str, time: str = "dormant"
) -> int | None:
    """Give the harvest year that an observation belongs to.

    Parameters
    ----------
    observed_at : datetime
        The instant, with its offset.
    time_zone : str or ZoneInfo
        IANA zone of the farm: its own calendar decides.
    hemisphere : {"north", "south"}
    time : {"dormant", "growing", "any"}
        The part of the year that this kind of record belongs to.

    Returns
    -------
    int or None
        The calendar year of the harvest; None outside that part of the year.

    Examples
    --------
    >>> from datetime import timezone
    >>> new_year_in_utc = datetime(2027, 1, 1, 2, tzinfo=timezone.utc)
    >>> season_of(new_year_in_utc, time_zone="America/New_York", hemisphere="north")
    2027
    >>> season_of(new_year_in_utc, time_zone="Australia/Adelaide", hemisphere="south") is None
    True
    """
    local = _on_the_farm(observed_at, time_zone)
    return implied_season(local.year, local.month, hemisphere=hemisphere, time=time)


def implied_season(year: int, month: int, *, hemisphere: str, time: str = "dormant") -> int | None:
    """Give the harvest year that a month of the farm's own calendar belongs to; None outside the part of the year."""
    if month not in _MONTHS[time, hemisphere]:
        return None
    return year + _AHEAD[hemisphere][month]


def _on_the_farm(observed_at: datetime, time_zone: str | ZoneInfo) -> datetime:
    if observed_at.utcoffset() is None:
        raise ValueError("an instant needs its offset from UTC")
    return observed_at.astimezone(ZoneInfo(time_zone) if isinstance(time_zone, str) else time_zone)


def resolve_season(
    observed_at: datetime,
    stated: int | None,
    *,
    time_zone: str | ZoneInfo,
    hemisphere: str,
    time: str = "dormant",
) -> int:
    """Give the one season of an observation: the one its date implies, or the one said outright.

    Raises
    ------
    SeasonNotImplied
        The date lies outside its part of the year and no season was said, or the two contradict each other.
    """
    implied = season_of(observed_at, time_zone=time_zone, hemisphere=hemisphere, time=time)
    if implied is None and stated is None:
        raise SeasonNotImplied(
            f"The date lies outside {_SAID[time, hemisphere]}, so it does not say which harvest it belongs to. "
            "Send season, the calendar year of that harvest."
        )
    if implied is not None and stated is not None and stated != implied:
        raise SeasonNotImplied(
            f"Its date belongs to season {implied} (harvest year), but season {stated} was sent. "
            "Correct one of the two, or leave season out."
        )
    local = _on_the_farm(observed_at, time_zone)
    if stated is not None and implied is None and abs(stated - local.year) > 1:
        raise SeasonNotImplied(f"Season {stated} lies more than a year from the date {local.date()}.")
    season = implied if implied is not None else stated
    assert season is not None  # noqa: S101 - both empty was refused above
    return season
