"""The winter and the summer of a season, by the farm's own dates and hemisphere.

A season is the calendar year of the harvest (see ``records.seasons``); its winter comes before its summer.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from balance.cordons.cases import season_on
from balance.cordons.days import today_on
from balance.formulas.cordons.reminders import SUMMER, WINTER
from records.models import Farm
from records.models.farms import Hemisphere

#: The months between the fall of the leaves and budburst: common practice, no source. The season turns with them.
_WINTER_MONTHS: Final = {Hemisphere.NORTH: (11, 12, 1, 2, 3, 4), Hemisphere.SOUTH: (5, 6, 7, 8, 9, 10)}
_SUMMER_MONTHS: Final = {Hemisphere.NORTH: (5, 6, 7, 8, 9, 10), Hemisphere.SOUTH: (11, 12, 1, 2, 3, 4)}


@dataclass(frozen=True)
class PartOfYear:
    """The winter or summer that it is on a farm, and the season that it belongs to."""

    season: int
    part: str


def part_of_year_of(farm: Farm, day: date) -> str:
    """Tell whether a day on the farm lies in the winter or the summer of its hemisphere."""
    return WINTER if day.month in _WINTER_MONTHS[Hemisphere(farm.hemisphere)] else SUMMER


def season_ahead(farm: Farm, day: date, part_of_year: str) -> int:
    """Give the season whose winter or summer it is, or else that of the next one."""
    gone = part_of_year == WINTER and part_of_year_of(farm, day) == SUMMER
    return season_on(farm, day) + gone


def part_now(farm: Farm, today: date | None = None) -> PartOfYear:
    """Give the part of the year that it is on a farm, as its worklist takes it."""
    day = today or today_on(farm)
    part = part_of_year_of(farm, day)
    return PartOfYear(season_ahead(farm, day, part), part)


def next_part_begins(farm: Farm, day: date) -> date:
    """Give the first day after this one on which another part of the year begins on the farm."""
    now, begins = part_of_year_of(farm, day), day
    while part_of_year_of(farm, begins) == now:
        begins = (begins.replace(day=1) + timedelta(days=31)).replace(day=1)
    return begins


def months_of(farm: Farm, season: int, part_of_year: str) -> str:
    """Give the months of a season's winter or summer in words."""
    side = Hemisphere(farm.hemisphere)
    months = (_WINTER_MONTHS if part_of_year == WINTER else _SUMMER_MONTHS)[side]
    begins = season - (side is Hemisphere.SOUTH or part_of_year == WINTER)
    ends = begins + (months[-1] < months[0])
    return f"{date(begins, months[0], 1):%B} {begins} to {date(ends, months[-1], 1):%B} {ends}"
