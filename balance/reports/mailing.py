"""A mail that says a report is ready, with a link to it and none of its figures; sent by a job of its own.

It is sent at least once: a worker that dies after the mail server took the mail, and before that was noted, lets it be
sent again, with the same ``Message-ID``, by which mailboxes know it.  What says that it was sent is its job's success.
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Iterator
from datetime import timedelta
from smtplib import SMTPException
from typing import Final
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.urls import reverse

from balance.models import Report
from balance.reports.errands import queue_try, row_of_try
from balance.reports.links import Link, token_of
from balance.reports.rendering import FORMS
from records.access import open_for_work
from records.errors import NotValid
from records.models import Farm, Job, Person
from records.services import cancelling, jobs

log = logging.getLogger("vineyard.mail")

KIND: Final = "mail_report"
LINK_VALID_FOR: Final = timedelta(days=7)
#: How long after each failed try the next one comes.
PAUSES: Final = (timedelta(minutes=5), timedelta(minutes=30), timedelta(hours=2), timedelta(hours=10))
#: What people read at a table comes first.
_BEST_FIRST: Final = ("pdf", "html")


def queue_mail(report: Report, person: Person) -> None:
    """Queue the mail in the open transaction; it ends with the person's right to read."""
    queue_try(report.farm_id, KIND, report.job_id, 1, asked_by=person)


def carry_out(farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:
    """Send the mail; where the mail server does not take it, note the next try."""
    with transaction.atomic():
        farm = open_for_work(farm_id)
        job: Job = Job.objects.for_farm(farm_id).select_related("asked_by").get(pk=job_id)
        found = row_of_try(Report.objects.for_farm(farm_id).defer("document"), job_id, column="job_id")
    if found is None or job.asked_by is None:
        raise NotValid("Whoever was to be told is not known any more.")
    report, number = found
    try:
        mail_about(farm, report, job.asked_by).send()
    except (SMTPException, OSError) as error:
        log.warning("mail about report %s: try %d failed: %s", report.pk, number, type(error).__name__)
        with transaction.atomic():
            open_for_work(farm_id)
            _try_later(report, number, job.asked_by)
    yield 1, 1


def _try_later(report: Report, number: int, person: Person) -> None:
    if number > len(PAUSES):
        raise NotValid(f"The mail server took the mail in none of {number} tries. The report is ready all the same.")
    queue_try(report.farm_id, KIND, report.job_id, number + 1, pause=PAUSES[number - 1], asked_by=person)


def mail_about(farm: Farm, report: Report, person: Person) -> EmailMessage:
    """Write the mail.  A name goes into a header as one line, whatever it holds."""
    form = next((form for form in _BEST_FIRST if form in FORMS), next(iter(FORMS)))
    token = token_of(Link(farm.pk, report.pk, person.pk, None, form, LINK_VALID_FOR))
    place = reverse("report", kwargs={"farm": farm.pk, "report": report.pk})
    name = " ".join(farm.name.split())
    body = (
        f"The season report {report.season} of {name} is ready.\n\n"
        f"Fetch it within {LINK_VALID_FOR.days} days, as long as you may read the farm:\n"
        f"{settings.PUBLIC_URL}{reverse('report-link', kwargs={'token': token})}\n\n"
        f"Later, and in other forms, with your key:\n{settings.PUBLIC_URL}{place}\n\n"
        "The link opens the report to whoever holds it: do not pass this mail on. You get it because you scheduled the "
        "report; change or remove the schedule to get no more.\n"
    )
    domain = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    headers = {"Message-ID": f"<report-{report.pk}@{domain}>", "Auto-Submitted": "auto-generated"}
    return EmailMessage(f"Season report {report.season}: {name}", body, to=[person.email], headers=headers)


jobs.KINDS[KIND] = carry_out
cancelling.BY_ITSELF[KIND] = "The service sends this mail by itself: change the schedule to get no more."
