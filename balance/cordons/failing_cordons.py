"""Which cordons pass a threshold, as the newest inspection of each says; found in the database, block by block.

Only rows of the blocks asked for are read, by the index on farm, block and season: what stands on record elsewhere on
the farm makes no difference.

What counts as an inspection of the cordon that stands now:

* of several in one season the newest; withdrawn ones never;
* none from before the plant was planted, replanted or retrained;
* none up to the day on which the arm that replaced the cordon was found to bear.

A cordon with an open case, or whose vine has one for the whole vine, is not proposed again.  After a case that was
given up or whose arm bears, it takes an inspection newer than the last step of the case: of a later day, or, where no
day is known, of a later season.  The cases count as they stand today, whichever season is asked about.

Years in decline are the seasons, one inspected after the other up to the newest, in which fewer positions lived than
in the inspected season before.  A season without an inspection, or whose positions were not counted, is passed over:
it neither counts as a year nor ends the run.  If the newest inspection did not count them, no decline is known.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from django.db import connection

from balance.cordons.models import CordonSettings
from balance.cordons.thresholds import as_arrays
from balance.formulas.cordons.replacement_steps import BEARING, CLOSED
from balance.missing_vines import NEWEST_FIRST, event_day
from records.access import OpenFarm

_OF_THE_BLOCKS: Final = "farm_id = %(farm)s AND block_id = ANY(%(blocks)s) AND withdrawn_at IS NULL"
#: Whether the inspection of one row is newer than the last step of the case of another.
_NEWER: Final = "CASE WHEN {0}.seen_on IS NULL THEN {0}.season > {1}.step_season ELSE {0}.seen_on > {1}.step_on END"
_SAME_CORDON: Final = "cases.vine_id = {0}.vine_id AND cases.cordon IN ('', {0}.cordon)"
#: Rows of the blocks are gathered first (MATERIALIZED): asked for in the order of vines, the database would walk an
#: index of the whole farm where it does not know yet how many rows there are.
#: Lengths are compared to a billionth of a metre, so that a unit that is converted makes no difference.
_FAILING: Final = f"""
    WITH threshold AS (
        SELECT * FROM unnest(%(blocks)s::uuid[], %(blank_share)s::numeric[], %(blank_length)s::numeric[],
                             %(dieback)s::numeric[], %(few_positions)s::int[], %(years_in_decline)s::int[])
                 AS given (block_id, share, blank_m, dieback_m, fewest, years)
    ),
    happened AS MATERIALIZED (
        SELECT id, vine_id, event, season, happened_on, observed_at
        FROM vine_event WHERE {_OF_THE_BLOCKS} AND season <= %(season)s
    ),
    event AS (
        SELECT DISTINCT ON (vine_id) vine_id, event, season AS event_season,
               {event_day()} AS event_on
        FROM happened
        ORDER BY vine_id, {NEWEST_FIRST}
    ),
    cases AS MATERIALIZED (
        SELECT vine_id, cordon, step, step_on, step_season FROM cordon_case WHERE {_OF_THE_BLOCKS}
    ),
    inspected AS MATERIALIZED (
        SELECT id, vine_id, block_id, cordon, season, living_positions AS living, blank_positions AS blank,
               blank_length_value, blank_length_unit, blank_length_m,
               dieback_length_value, dieback_length_unit, dieback_length_m,
               observed_at, (observed_at AT TIME ZONE %(zone)s)::date AS seen_on,
               (received_at AT TIME ZONE %(zone)s)::date AS received_on
        FROM cordon_inspection
        WHERE {_OF_THE_BLOCKS} AND season <= %(season)s
          AND (%(row_number)s::int IS NULL OR vine_id IN (
              SELECT id FROM vine
              WHERE farm_id = %(farm)s AND block_id = ANY(%(blocks)s) AND row_number = %(row_number)s))
    ),
    seen AS MATERIALIZED (
        SELECT DISTINCT ON (vine_id, cordon, season) inspected.*
        FROM inspected LEFT JOIN event USING (vine_id)
        WHERE (event IS NULL OR event <> 'missing')
          AND (event IS NULL OR season > event_season
               OR season = event_season AND coalesce(seen_on >= event_on, true))
          AND NOT EXISTS (SELECT FROM cases WHERE {_SAME_CORDON.format("inspected")} AND step = '{BEARING}'
                                              AND NOT {_NEWER.format("inspected", "cases")})
        ORDER BY vine_id, cordon, season DESC, observed_at DESC NULLS LAST, id DESC
    ),
    counted AS (  -- a season whose positions were not counted is passed over
        SELECT seen.*, living < lead(living) OVER back_in_time AS fell, row_number() OVER back_in_time AS back
        FROM seen
        WINDOW back_in_time AS (PARTITION BY vine_id, cordon, living IS NULL ORDER BY season DESC)
    ),
    decline AS (  -- the run ends at the first season, going back, in which it did not fall
        SELECT counted.*, CASE WHEN living IS NOT NULL THEN
                   min(back) FILTER (WHERE fell IS NOT TRUE) OVER (PARTITION BY vine_id, cordon, living IS NULL) - 1
               END AS declined
        FROM counted
    ),
    newest AS (  -- no join: just after a bulk the database knows of no rows, and would begin anew for each
        SELECT DISTINCT ON (vine_id, cordon) * FROM decline ORDER BY vine_id, cordon, season DESC
    ),
    judged AS (
        SELECT newest.*,
               coalesce(living + blank > 0 AND 100 * blank >= share * (living + blank), false) AS by_share,
               coalesce(round(blank_length_m, 9) >= round(blank_m, 9), false) AS by_blank,
               coalesce(round(dieback_length_m, 9) >= round(dieback_m, 9), false) AS by_dieback,
               coalesce(living < fewest, false) AS by_positions,
               coalesce(living IS NOT NULL AND declined >= years, false) AS by_decline
        FROM newest JOIN threshold USING (block_id)
    )
    SELECT judged.id, judged.vine_id, judged.block_id, row_number, place, label, cordon, season,
           coalesce(seen_on, received_on), living, blank, declined,
           blank_length_value, blank_length_unit, dieback_length_value, dieback_length_unit,
           by_share, by_blank, by_dieback, by_positions, by_decline,
           EXISTS (SELECT FROM cases WHERE cases.vine_id = judged.vine_id AND step <> ALL (%(closed)s))
    FROM judged JOIN vine ON vine.farm_id = %(farm)s AND vine.id = judged.vine_id
    WHERE (by_share OR by_blank OR by_dieback OR by_positions OR by_decline)
      AND NOT EXISTS (SELECT FROM cases WHERE {_SAME_CORDON.format("judged")}
                        AND (step <> ALL (%(closed)s) OR NOT {_NEWER.format("judged", "cases")}))
    LIMIT %(most)s
"""  # noqa: S608 - joined from constants


@dataclass(frozen=True)
class FailingCordon:
    """One cordon that passes a threshold, with its newest inspection.

    Attributes
    ----------
    seen_on : date
        The day of the inspection on the farm; where no day is known, the day on which it came in.
    declined : int or None
        Inspected seasons of decline up to this one; None: the positions were not counted.
    by_share, by_blank, by_dieback, by_positions, by_decline : bool
        Which thresholds it passes.
    another_under_way : bool
        Another cordon of the vine has an open case.
    """

    inspection_id: uuid.UUID
    vine_id: uuid.UUID
    block_id: uuid.UUID
    row_number: int
    place: int
    label: str
    cordon: str
    season: int
    seen_on: date
    living: int | None
    blank: int | None
    declined: int | None
    blank_length_value: Decimal | None
    blank_length_unit: str | None
    dieback_length_value: Decimal | None
    dieback_length_unit: str | None
    by_share: bool
    by_blank: bool
    by_dieback: bool
    by_positions: bool
    by_decline: bool
    another_under_way: bool


def failing_cordons(
    opened: OpenFarm,
    thresholds: dict[uuid.UUID, CordonSettings],
    *,
    season: int,
    row_number: int | None = None,
    most: int,
) -> list[FailingCordon]:
    """Give the cordons of blocks that pass their block's thresholds, at most so many, in no order."""
    arguments: dict[str, Any] = {
        **as_arrays(thresholds),
        "farm": opened.farm.pk,
        "zone": opened.farm.time_zone,
        "season": season,
        "row_number": row_number,
        "closed": list(CLOSED),
        "most": most,
    }
    with connection.cursor() as cursor:
        cursor.execute(_FAILING, arguments)
        return [FailingCordon(*row) for row in cursor.fetchall()]
