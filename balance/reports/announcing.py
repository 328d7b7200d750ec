"""Tell whoever wants to know that a report is ready or could not be made: receivers of webhooks, and people by e-mail.

It is noted in the transaction that makes it true, so that nothing is told of what did not come about, and nothing that
came about is left untold.
"""

from __future__ import annotations

import uuid

from django.conf import settings

from balance.models import Report, ReportSchedule, WebhookDelivery
from balance.reports import mailing
from balance.reports.asking import KIND
from balance.reports.models import Event
from balance.reports.webhooks import delivering as _delivering  # noqa: F401 - registers its kind of job
from balance.reports.webhooks.alarms import wanting
from balance.reports.webhooks.endpoints import message_of, queue_message
from records.models import Job
from records.models.jobs import JobState
from records.services import jobs

#: Where no mail goes out, none is queued: a job that says it succeeded must have done something.
_NO_MAIL = "django.core.mail.backends.dummy.EmailBackend"


def report_ready(report: Report) -> None:
    """Announce a report in the transaction that finishes it."""
    _tell_receivers(report, Event.REPORT_READY, JobState.SUCCEEDED)
    _tell_whoever_scheduled_it(report)


def _report_not_made(farm_id: uuid.UUID, job_id: uuid.UUID, state: str, _: str) -> None:
    """Announce that a report could not be made; that somebody cancelled one is no news to them."""
    report = Report.objects.for_farm(farm_id).defer("document").filter(job_id=job_id, attempt=None).first()
    if report is not None and state == JobState.FAILED:
        _tell_receivers(report, Event.REPORT_FAILED, JobState.FAILED)


def _tell_receivers(report: Report, event: str, state: str) -> None:
    """Queue one message to each receiver that wants this event, unless it was told before."""
    told = WebhookDelivery.objects.for_farm(report.farm_id).filter(event=event, about=report.pk)
    known = set(told.values_list("endpoint_id", flat=True))
    data = {"farm": str(report.farm_id), "report": str(report.pk), "season": report.season, "state": str(state)}
    for endpoint in wanting(report.farm_id, event):
        if endpoint.pk not in known:
            queue_message(endpoint, event, report.pk, message_of(event, data))


def _tell_whoever_scheduled_it(report: Report) -> None:
    if not report.scheduled or settings.EMAIL_BACKEND == _NO_MAIL:
        return
    job: Job = Job.objects.for_farm(report.farm_id).select_related("asked_by").get(pk=report.job_id)
    wanted = ReportSchedule.objects.for_farm(report.farm_id).filter(person=job.asked_by, by_email=True)
    if job.asked_by is not None and wanted.exists():
        mailing.queue_mail(report, job.asked_by)


jobs.ENDED_IN_VAIN[KIND] = _report_not_made
