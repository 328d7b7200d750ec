"""Which harvest a winter belongs to: a rule of local date and hemisphere, never of the UTC year.

A season is the calendar year of the harvest.  A dormant record of season S was taken in the winter before
harvest S.  North: November to June belongs to the harvest of that winter's new year.  South: May to
November belongs to the harvest early in the next calendar year.  (Rule of this service; design decision.)
"""

from __future__ import annotations

from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

#: The months of the dormant season, and how many years the harvest lies ahead of each one's calendar year.
_NORTH: Final = {11: 1, 12: 1, 1: 0, 2: 0, 3: 0, 4: 0, 5: 0, 6: 0}
_SOUTH: Final = dict.fromkeys(range(5, 12), 1)
_MONTHS: Final = {"north": _NORTH, "south": _SOUTH}
_SAID: Final = {"north": "November to June", "south": "May to November"}


class SeasonNotImplied(ValueError):
    """The date does not say which harvest it belongs to, or contradicts the season that was said."""


def season_of(observed_at: datetime, *, time_zone: str | ZoneInfo, hemisphere: str) -> int | None:
    """Give the harvest year that a dormant observation belongs to.

    Parameters
    ----------
    observed_at : datetime
        The instant, with its offset.
    time_zone : str or ZoneInfo
        IANA zone of the farm: its own calendar decides.
    hemisphere : {"north", "south"}

    Returns
    -------
    int or None
        The calendar year of the harvest; None outside the dormant months.

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
    ahead = _MONTHS[hemisphere].get(local.month)
    return None if ahead is None else local.year + ahead


def _on_the_farm(observed_at: datetime, time_zone: str | ZoneInfo) -> datetime:
    if observed_at.utcoffset() is None:
        raise ValueError("an instant needs its offset from UTC")
    return observed_at.astimezone(ZoneInfo(time_zone) if isinstance(time_zone, str) else time_zone)


def resolve_season(observed_at: datetime, stated: int | None, *, time_zone: str | ZoneInfo, hemisphere: str) -> int:
    """Give the one season of an observation: the one its date implies, or the one said outright.

    Raises
    ------
    SeasonNotImplied
        The date lies outside the dormant months and no season was said, or the two contradict each other.
    """
    implied = season_of(observed_at, time_zone=time_zone, hemisphere=hemisphere)
    if implied is None and stated is None:
        raise SeasonNotImplied(
            f"The date lies outside the dormant months of the {hemisphere} ({_SAID[hemisphere]}), so it does not say "
            "which harvest it belongs to. Send season, the calendar year of the harvest that follows the pruning."
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
