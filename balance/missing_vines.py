"""Which places of a block have no vine: those whose newest vine event up to a season says that it is missing.

Nothing is latched: a place that was replanted after it was found missing bears a vine again.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from balance.packed import one_row, packed_column, packed_ids, places_among
from records.access import OpenFarm
from records.models import Block

#: A vine planted in the season or in the two before it bears little or nothing yet: common practice, no source.
YOUNG_SEASONS: Final = 3
#: A plant that stands, one that is young by its newest event, and a place without one.
PLANT_STATES: Final = ("standing", "young", "missing")


def event_day(zone: str = "%(zone)s") -> str:
    """Give the SQL of the day of a vine event: by the farm's own calendar, as every other day is."""
    return f"coalesce(happened_on, (observed_at AT TIME ZONE {zone})::date)"


def newest_first(zone: str = "%(zone)s") -> str:
    """Give the SQL of an order in which, of two events of one season, the later one comes first."""
    return f"season DESC, {event_day(zone)} DESC NULLS LAST, observed_at DESC NULLS LAST, id DESC"


#: With the farm's time zone as the statement's argument.
NEWEST_FIRST: Final = newest_first()
_NEWEST: Final = f"""
    WITH newest AS (
        SELECT DISTINCT ON (vine_id) vine_id, event, season
        FROM vine_event
        WHERE farm_id = %(farm)s AND block_id = %(block)s AND season <= %(season)s AND withdrawn_at IS NULL
        ORDER BY vine_id, {NEWEST_FIRST}
    )
"""  # noqa: S608 - joined from constants
_IDS: Final = f"{_NEWEST} SELECT string_agg(uuid_send(vine_id), '') FROM newest WHERE event = 'missing'"  # noqa: S608
_COUNTS: Final = f"""{_NEWEST}
    SELECT (SELECT count(*) FROM vine WHERE farm_id = %(farm)s AND block_id = %(block)s),
           count(*) FILTER (WHERE event = 'missing'),
           count(*) FILTER (WHERE event IN ('planted', 'replanted') AND season > %(season)s - %(young)s)
    FROM newest
"""  # noqa: S608
_STATES: Final = f"""{_NEWEST}
    SELECT string_agg(uuid_send(vine_id), ''),
           string_agg(int2send(CASE WHEN event = 'missing' THEN 2 ELSE 1 END::int2), '')
    FROM newest
    WHERE event = 'missing' OR (event IN ('planted', 'replanted') AND season > %(season)s - %(young)s)
"""  # noqa: S608
_MISSING_BY_SEASON: Final = f"""
    SELECT asked.season, count(*)
    FROM unnest(%(seasons)s::int[]) AS asked(season) CROSS JOIN LATERAL (
        SELECT DISTINCT ON (vine_id) event FROM vine_event
        WHERE farm_id = %(farm)s AND block_id = %(block)s AND season <= asked.season AND withdrawn_at IS NULL
        ORDER BY vine_id, {NEWEST_FIRST}) AS newest
    WHERE event = 'missing' GROUP BY asked.season
"""  # noqa: S608
_PLANTS: Final = f"""
    SELECT vine_id, (array_agg(event ORDER BY {NEWEST_FIRST}))[1] = 'missing',
           max({event_day()})
               FILTER (WHERE event IN ('planted', 'replanted'))
    FROM vine_event
    WHERE farm_id = %(farm)s AND vine_id = ANY(%(vines)s) AND season <= %(season)s AND withdrawn_at IS NULL
    GROUP BY vine_id
"""  # noqa: S608


@dataclass(frozen=True)
class Plant:
    """What the events of a place say of its plant."""

    missing: bool
    planted_on: date | None

    def stood_on(self, day: date) -> bool:
        """Tell whether the plant that stands now stood there on a day."""
        return not self.missing and (self.planted_on is None or self.planted_on <= day)


def plants_of(opened: OpenFarm, season: int, vines: Sequence[uuid.UUID]) -> dict[uuid.UUID, Plant]:
    """Give the plants of these vines as their events up to a season say; a vine without events is left out."""
    with connection.cursor() as cursor:
        cursor.execute(_PLANTS, {**_of(opened), "vines": list(set(vines)), "season": season})
        return {vine: Plant(missing, planted_on) for vine, missing, planted_on in cursor.fetchall()}


@dataclass(frozen=True)
class Places:
    """The places of a block in one season [vines].

    Attributes
    ----------
    count : int
        Places for vines.
    missing : int
        Places whose newest event says that the vine is missing.
    young : int
        Vines planted in the season or the two before it, by their newest event.
    """

    count: int
    missing: int
    young: int


def places_in(opened: OpenFarm, block: Block, season: int) -> Places:
    """Count the places of a block and those without a vine, as its events up to a season say."""
    return Places(*one_row(_COUNTS, _named(opened, block, season)))


def missing_by_season(opened: OpenFarm, block: Block, seasons: Sequence[int]) -> dict[int, int]:
    """Give how many places of a block had no vine in each of several seasons; a season without one is left out."""
    with connection.cursor() as cursor:
        cursor.execute(_MISSING_BY_SEASON, {**_of(opened), "block": block.pk, "seasons": sorted(set(seasons))})
        return dict(cursor.fetchall())


def missing_ids(opened: OpenFarm, block: Block, season: int) -> NDArray[np.uint8]:
    """Give the ids of the vines that are missing in a season, 16 bytes a row."""
    return packed_ids(*one_row(_IDS, _named(opened, block, season)))


def plant_states(opened: OpenFarm, block: Block, season: int, vines: NDArray[np.uint8]) -> NDArray[np.str_]:
    """Tell of each of these vines of a block, 16 bytes a row, whether it stands, is young, or is missing."""
    ids, states = one_row(_STATES, _named(opened, block, season))
    at = places_among(packed_ids(ids), vines)
    told = np.zeros(len(vines), dtype=np.intp)
    told[at[at >= 0]] = packed_column(states, ">i2", np.intp)[at >= 0]
    return np.array(PLANT_STATES)[told]


def missing_among(opened: OpenFarm, block: Block, season: int, vines: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Tell of each of these vines of a block, 16 bytes a row, whether it is missing in a season."""
    return places_among(vines, missing_ids(opened, block, season)) >= 0


def _named(opened: OpenFarm, block: Block, season: int) -> dict[str, Any]:
    return {**_of(opened), "block": block.pk, "season": season, "young": YOUNG_SEASONS}


def _of(opened: OpenFarm) -> dict[str, Any]:
    return {"farm": opened.farm.pk, "zone": opened.farm.time_zone}
