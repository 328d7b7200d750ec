"""Tell receivers that season summaries of a farm changed: at most one message to each in some minutes.

Whoever changes what a summary says notes one job for later, in the same transaction, unless one waits already
(``summaries_sql``).  The job compares each season's rows of summaries with what the receiver was told of before: a row
counts its versions, so the sum of a season's versions grows with every change, and equal sums say that nothing did.

Nothing is lost between a writer and the job.  A writer that finds a job waiting relies on it, and holds a shared lock
from before it looked until it commits.  The job tries for that lock alone: where it does not get it, a writer is still
under way whose change the job cannot see, and it notes a job for later in its turn.  Nobody waits for anybody.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import timedelta
from typing import Final

from django.db import connection, transaction
from django.db.models import F
from django.db.models.functions import Now

from balance.models import WebhookDelivery, WebhookEndpoint
from balance.reports.models import Event
from balance.reports.webhooks.alarms import SUMMARIES, waiting_alarm, wanting
from balance.reports.webhooks.endpoints import message_of, queue_message
from balance.summaries.keeping import settle
from balance.summaries.versions import Versions, versions_of
from records.access import open_for_work
from records.models.jobs import JobState
from records.services import cancelling, jobs

#: Between two messages to one receiver; the first change since the last message begins the wait.
PAUSE: Final = timedelta(minutes=5)
#: To a receiver that takes nothing at the moment: what waits for it already says the same.
PAUSE_WHILE_FAILING: Final = timedelta(hours=1)
_ALONE: Final = """
    SELECT CASE WHEN pg_try_advisory_lock(key) THEN pg_advisory_unlock(key) ELSE false END
    FROM (SELECT hashtextextended('season summaries of farm ' || %s, 0) AS key) AS lock
"""


def carry_out(farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:  # noqa: ARG001
    """Tell each receiver what changed since it was told last, and note another job where there is more to come."""
    with transaction.atomic():
        open_for_work(farm_id)
        pauses = [] if _nobody_is_writing(farm_id) else [PAUSE]
        endpoints = list(wanting(farm_id, Event.SEASON_SUMMARY_CHANGED).select_for_update(of=("self",)).order_by("pk"))
        if endpoints:
            settle([farm_id])
            versions = versions_of(farm_id)
            pauses += [left for endpoint in endpoints if (left := _tell(endpoint, versions))]
            if pauses:
                _look_again(farm_id, min(pauses))
    yield 1, 1


def _nobody_is_writing(farm_id: uuid.UUID) -> bool:
    """Tell whether no transaction is under way that relied on this job; asked after the job was taken up."""
    with connection.cursor() as cursor:
        cursor.execute(_ALONE, [str(farm_id)])
        return bool(cursor.fetchone()[0])


def _tell(endpoint: WebhookEndpoint, versions: Versions) -> timedelta | None:
    """Queue a message about what changed since the last; or give how long to wait with it."""
    told = endpoint.told_versions or {}
    seasons = sorted(int(season) for season, version in versions.items() if told.get(season) != version)
    if not seasons:
        return None
    left = _pause_left(endpoint)
    if left > timedelta(0):
        return left
    data = {"farm": str(endpoint.farm_id), "seasons": seasons}
    queue_message(endpoint, Event.SEASON_SUMMARY_CHANGED, uuid.uuid4(), message_of(Event.SEASON_SUMMARY_CHANGED, data))
    WebhookEndpoint.objects.for_farm(endpoint.farm_id).filter(pk=endpoint.pk).update(told_versions=versions)
    return None


def _pause_left(endpoint: WebhookEndpoint) -> timedelta:
    messages = WebhookDelivery.objects.for_farm(endpoint.farm_id).filter(
        endpoint_id=endpoint.pk, event=Event.SEASON_SUMMARY_CHANGED, payload__type=Event.SEASON_SUMMARY_CHANGED
    )
    newest = messages.order_by("-received_at", "-id").annotate(age=Now() - F("received_at")).first()
    pause = PAUSE if endpoint.failing_since is None else PAUSE_WHILE_FAILING
    return timedelta(0) if newest is None else pause - newest.age


def _look_again(farm_id: uuid.UUID, pause: timedelta) -> None:
    if waiting_alarm(farm_id, SUMMARIES) is None:
        jobs.queue_for_later(farm_id, SUMMARIES, Now() + pause)


def _not_told(farm_id: uuid.UUID, _: uuid.UUID, state: str, __: str) -> None:
    """Look again later where the job came to no end: the change that it was noted for is still to be told."""
    if state == JobState.FAILED:
        _look_again(farm_id, PAUSE)


jobs.KINDS[SUMMARIES] = carry_out
jobs.ENDED_IN_VAIN[SUMMARIES] = _not_told
cancelling.BY_ITSELF[SUMMARIES] = "Receivers of webhooks asked for it: change what they are told of instead."
