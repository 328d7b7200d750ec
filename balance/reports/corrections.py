"""Which reports rest on records that were corrected since, and on how many of them.

The rule: a record counts for a report if it had been received by the moment of the report, was of a season that a
report of this season may read (any up to the next, whose winter shows what the vines made of the crop), and was
changed or withdrawn after that moment.  Each record counts once.  What was recorded later is no correction.

The history of the records says all that: each row of it is a version that was replaced, with the time when.  Its ids
are in the order of time, so the newest are read first, and no further back than ``MOST_CHANGES``.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any, Final

from django.db import connection
from django.db.models import QuerySet
from django.db.models.expressions import RawSQL

from balance.models import Report, ReportFormula
from records.access import OpenFarm
from records.kinds import KINDS
from records.models import PruningFormula

#: Changes of a farm's records that are looked at, the newest first.
MOST_CHANGES: Final = 20_000
#: How many seasons beyond its own a report reads.
SEASONS_AHEAD: Final = 1
#: A change is dated by its own row too: its transaction may have begun before the moment of a report that did not
#: see it yet.
_CHANGES: Final = f"""
    SELECT entity, entity_id, (old_row ->> 'season')::int AS season,
           (old_row ->> 'received_at')::timestamptz AS received_at,
           greatest(changed_at, uuid_extract_timestamp(id)) AS changed_at
    FROM record_change
    WHERE farm_id = %s AND entity = ANY(%s)
    ORDER BY id DESC LIMIT {MOST_CHANGES}
"""  # noqa: S608 - a number of ours
_COUNTED: Final = f"""
    WITH changed AS MATERIALIZED ({_CHANGES})
    SELECT asked.id, count(DISTINCT (entity, entity_id))
    FROM unnest(%s::uuid[], %s::timestamptz[], %s::int[]) AS asked (id, taken_at, season)
    JOIN changed ON changed.changed_at > asked.taken_at AND changed.received_at <= asked.taken_at
                AND changed.season <= asked.season + {SEASONS_AHEAD}
    GROUP BY asked.id
"""  # noqa: S608 - as above
#: Of each season, the times at which a report would have read what was changed later, taken together.
_CORRECTED: Final = f"""
    WITH changed AS MATERIALIZED ({_CHANGES}),
         astray AS MATERIALIZED (
             SELECT season, range_agg(tstzrange(received_at, changed_at)) AS times FROM changed GROUP BY season
         )
    SELECT report.id FROM report
    WHERE report.farm_id = %s AND EXISTS (
        SELECT 1 FROM astray WHERE astray.season <= report.season + {SEASONS_AHEAD} AND report.taken_at <@ astray.times
    )
"""  # noqa: S608 - as above


def corrected_since(opened: OpenFarm, reports: Iterable[Report]) -> dict[uuid.UUID, int]:
    """Count for each report that is made the records that it may have read and that were corrected since."""
    made = [report for report in reports if report.taken_at is not None]
    if not made:
        return {}
    columns: list[Any] = [
        [report.pk for report in made],
        [report.taken_at for report in made],
        [each.season for each in made],
    ]
    with connection.cursor() as cursor:
        cursor.execute(_COUNTED, [*_of(opened), *columns])
        found = dict(cursor.fetchall())
    return {report.pk: found.get(report.pk, 0) for report in made}


def only_corrected(opened: OpenFarm, reports: QuerySet[Report], *, corrected: bool) -> QuerySet[Report]:
    """Narrow to reports that rest on a record corrected since, or to those that were made and do not."""
    astray = RawSQL(_CORRECTED, [*_of(opened), opened.farm.pk])  # noqa: S611 - nothing of a caller's is in the text
    made = reports.filter(taken_at__isnull=False)
    return made.filter(pk__in=astray) if corrected else made.exclude(pk__in=astray)


def resting_on(opened: OpenFarm, reports: QuerySet[Report], formula: PruningFormula) -> QuerySet[Report]:
    """Narrow to reports that rest on one version of a formula."""
    used = ReportFormula.objects.for_farm(opened.farm).filter(formula=formula)
    return reports.filter(pk__in=used.values("report_id"))


def _of(opened: OpenFarm) -> list[Any]:
    return [opened.farm.pk, [*KINDS]]
