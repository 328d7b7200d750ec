"""Tell receivers, once when a winter or summer begins, that the farm's cases of cordons ask for work in it.

No clock ticks for it: one job of a farm waits for the day on which the next part of the year begins, by the farm's own
calendar, and notes the job of the part after (see ``balance.reports.schedules``).  It ends with the last receiver that
wants to know.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import timedelta
from typing import Final

from django.db import transaction
from django.db.models.functions import Now

from balance.cordons.parts_of_year import part_now
from balance.cordons.worklist import Wanted, asks_for_work
from balance.models import WebhookDelivery, WebhookEndpoint
from balance.reports.models import Event
from balance.reports.webhooks.alarms import WORKLIST, keep_worklist_alarm, waiting_alarm, wanting
from balance.reports.webhooks.endpoints import message_of, queue_message
from records.access import Caller, Right, enter, open_farm, open_for_work
from records.errors import Refusal
from records.models import Farm
from records.models.jobs import JobState
from records.services import cancelling, jobs

#: A job that came to no end is tried again.
_NEXT_TRY: Final = timedelta(hours=6)


def carry_out(farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:  # noqa: ARG001
    """Tell of the part of the year that it is, unless that was done, and let a job wait for the next."""
    with transaction.atomic():
        open_for_work(farm_id)
        farm = Farm.objects.select_for_update(no_key=True, of=("self",)).get(pk=farm_id)
        now = part_now(farm)
        wanted = Wanted(now.season, now.part)
        untold = _untold(farm, wanted)
        if untold and _asks_for_work(untold, wanted):
            data = {"farm": str(farm_id), "season": wanted.season, "part_of_year": wanted.part_of_year}
            for endpoint in untold:
                queue_message(endpoint, Event.WORKLIST_DUE, _about(farm, wanted), message_of(Event.WORKLIST_DUE, data))
        open_for_work(farm_id)
        keep_worklist_alarm(farm)
    yield 1, 1


def _about(farm: Farm, wanted: Wanted) -> uuid.UUID:
    """Give the one id of a farm's part of a year, so that nobody is told of it twice."""
    return uuid.uuid5(farm.pk, f"worklist of {wanted.part_of_year} {wanted.season}")


def _untold(farm: Farm, wanted: Wanted) -> list[WebhookEndpoint]:
    told = WebhookDelivery.objects.for_farm(farm.pk).filter(event=Event.WORKLIST_DUE, about=_about(farm, wanted))
    endpoints = wanting(farm.pk, Event.WORKLIST_DUE).exclude(pk__in=told.values("endpoint_id"))
    return list(endpoints.select_related("made_by"))


def _asks_for_work(endpoints: list[WebhookEndpoint], wanted: Wanted) -> bool:
    """Look at the worklist in the name of somebody who made a receiver and may still read the farm."""
    for endpoint in endpoints:
        caller = Caller(endpoint.made_by)
        enter(caller)
        try:
            opened = open_farm(caller, endpoint.farm_id, Right.MANAGE)
        except Refusal:
            continue
        return asks_for_work(opened, wanted)
    return False


def _not_told(farm_id: uuid.UUID, _: uuid.UUID, state: str, __: str) -> None:
    if state == JobState.FAILED and waiting_alarm(farm_id, WORKLIST) is None:
        jobs.queue_for_later(farm_id, WORKLIST, Now() + _NEXT_TRY)


jobs.KINDS[WORKLIST] = carry_out
jobs.ENDED_IN_VAIN[WORKLIST] = _not_told
cancelling.BY_ITSELF[WORKLIST] = "Receivers of webhooks asked for it: change what they are told of instead."
