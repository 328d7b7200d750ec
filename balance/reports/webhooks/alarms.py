"""The jobs that wait, one of a kind and farm, until receivers are to be told of something."""

from __future__ import annotations

import uuid
from typing import Final
from zoneinfo import ZoneInfo

from balance.cordons.days import today_on
from balance.cordons.parts_of_year import next_part_begins
from balance.models import WebhookEndpoint
from balance.reports.models import Event
from balance.reports.yearly import at_its_hour
from records.models import Farm, Job, JobTicket
from records.models.base import FarmQuerySet
from records.models.jobs import JobState
from records.services import jobs
from records.services.cancelling import withdraw_job

#: Named in ``summaries_sql``, too.
SUMMARIES: Final = "tell_summary_changes"
WORKLIST: Final = "tell_worklist_due"


def wanting(farm_id: uuid.UUID, event: str) -> FarmQuerySet:
    """Give the receivers of an open farm that are to be told of an event."""
    return WebhookEndpoint.objects.for_farm(farm_id).filter(removed_at=None, disabled_at=None, events__contains=[event])


def waiting_alarm(farm_id: uuid.UUID, kind: str) -> uuid.UUID | None:
    """Give the job of a kind that waits for its time on an open farm; the tickets of a farm are few."""
    unfinished = JobTicket.objects.filter(farm_id=farm_id).values("job_id")
    waiting = Job.objects.for_farm(farm_id).filter(pk__in=unfinished, kind=kind, state=JobState.QUEUED)
    found: uuid.UUID | None = waiting.values_list("pk", flat=True).first()
    return found


def keep_worklist_alarm(farm: Farm) -> None:
    """Let a job wait for the next part of the year where a receiver wants to know, and none where nobody does.

    The farm is open and held, so that two who do this at once leave one job.
    """
    waiting = waiting_alarm(farm.pk, WORKLIST)
    wanted = wanting(farm.pk, Event.WORKLIST_DUE).exists()
    if wanted and waiting is None:
        begins = next_part_begins(farm, today_on(farm))
        jobs.queue_for_later(farm.pk, WORKLIST, at_its_hour(begins, ZoneInfo(farm.time_zone)))
    if waiting is not None and not wanted:
        withdraw_job(farm.pk, waiting)
