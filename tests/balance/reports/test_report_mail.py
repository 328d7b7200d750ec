"""Whoever scheduled a report is told by e-mail when it is made: once, without figures, with a link that expires."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime, timedelta
from smtplib import SMTPServerDisconnected

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.db import transaction
from rest_framework.test import APIClient

from balance.models import ReportSchedule
from balance.reports.asking import ask_for_report
from balance.reports.mailing import PAUSES
from records.access import enter, open_farm
from records.context import set_context
from records.models import Consent, Farm
from records.services import jobs
from tests.balance.reports.receiver import make_json_only, queued, work


@pytest.fixture(autouse=True)
def json_only(monkeypatch):
    make_json_only(monkeypatch)


def schedule(desk, person, **more):
    with transaction.atomic():
        set_context(farms=[desk.cast.farm.pk])
        columns = {"month": 12, "day": 1, "units": "metric", "next_on": "2027-12-01", **more}
        ReportSchedule.objects.create(farm=desk.cast.farm, person=person, **columns)


def made_by_schedule(desk, player, *, scheduled=True):
    """Let a report be asked for as a schedule does, and made."""
    with transaction.atomic():
        enter(player.caller)
        opened = open_farm(player.caller, desk.cast.farm.pk)
        report = ask_for_report(opened, uuid.uuid4(), 2027, "metric", scheduled=scheduled).row
    jobs.run(desk.cast.farm.pk, report.job_id)
    return report


def rename(desk, name):
    with transaction.atomic():
        set_context(farms=[desk.cast.farm.pk])
        Farm.objects.filter(pk=desk.cast.farm.pk).update(name=name)


def test_whoever_scheduled_a_report_is_told_when_it_is_made(desk, settings):
    schedule(desk, desk.cast.adviser.person)
    report = made_by_schedule(desk, desk.cast.adviser)
    assert mail.outbox == []  # not by the worker that makes it
    assert work(desk.cast.farm, "mail_report") == 1
    (sent,) = mail.outbox
    assert (sent.to, sent.from_email) == ([desk.cast.adviser.person.email], settings.DEFAULT_FROM_EMAIL)
    assert sent.subject == "Season report 2027: Tern Hill Vineyard (invented)"
    assert str(report.pk) in sent.body


def test_the_link_in_the_mail_opens_the_report_and_ends_with_the_consent(desk):
    schedule(desk, desk.cast.adviser.person)
    made_by_schedule(desk, desk.cast.adviser)
    work(desk.cast.farm, "mail_report")
    (path,) = re.findall(r"/api/v1/report-links/\S+", str(mail.outbox[0].body))
    assert APIClient().get(path).status_code == 200
    with transaction.atomic():
        set_context(farms=[desk.cast.farm.pk])
        consents = Consent.objects.for_farm(desk.cast.farm).filter(person=desk.cast.adviser.person)
        consents.update(withdrawn_at=datetime.now(UTC), withdrawn_by=desk.cast.owner.person)
    assert APIClient().get(path).status_code == 404


def test_the_mail_has_no_figures_of_the_farm(desk):
    weight = {"value": 3.75, "unit": "lb"}
    sent = {"vine": str(desk.yard.vines[0].pk), "observed_at": "2027-01-16T10:02:00-05:00", "pruning_weight": weight}
    assert desk.yard.client.post(f"{desk.yard.url}/dormant-records", sent, format="json").status_code == 201
    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.owner)
    work(desk.cast.farm, "mail_report")
    words = re.sub(r"http\S+", "", str(mail.outbox[0].body))
    assert re.findall(r"\d+", words) == ["2027", "7"]  # the season, and the days that the link opens


@pytest.mark.parametrize(("by_email", "scheduled"), [(False, True), (True, False)])
def test_nobody_is_told_who_did_not_ask_for_it(desk, by_email, scheduled):
    schedule(desk, desk.cast.owner.person, by_email=by_email)
    made_by_schedule(desk, desk.cast.owner, scheduled=scheduled)
    assert work(desk.cast.farm, "mail_report") == 0


def test_the_schedule_of_one_person_tells_nobody_else(desk):
    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.adviser)
    assert work(desk.cast.farm, "mail_report") == 0


def test_a_job_that_is_delivered_twice_sends_one_mail(desk):
    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.owner)
    ((job_id, _),) = queued(desk.cast.farm, "mail_report")
    jobs.run(desk.cast.farm.pk, job_id)
    jobs.run(desk.cast.farm.pk, job_id)
    assert len(mail.outbox) == 1


def test_nothing_is_mailed_to_whoever_may_no_longer_read_the_farm(desk):
    schedule(desk, desk.cast.adviser.person)
    made_by_schedule(desk, desk.cast.adviser)
    with transaction.atomic():
        set_context(farms=[desk.cast.farm.pk])
        consents = Consent.objects.for_farm(desk.cast.farm).filter(person=desk.cast.adviser.person)
        consents.update(withdrawn_at=datetime.now(UTC), withdrawn_by=desk.cast.owner.person)
    work(desk.cast.farm, "mail_report")
    assert mail.outbox == []


def test_a_mail_server_that_is_away_is_asked_again_later_and_the_mailbox_knows_the_mail_again(desk, monkeypatch):
    def away(*_):
        raise SMTPServerDisconnected

    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.owner)
    with monkeypatch.context() as broken:
        broken.setattr(EmailBackend, "send_messages", away)
        work(desk.cast.farm, "mail_report")
    ((_, due),) = queued(desk.cast.farm, "mail_report")
    assert (due - datetime.now(UTC)).total_seconds() == pytest.approx(PAUSES[0].total_seconds(), abs=10)
    work(desk.cast.farm, "mail_report")
    assert len(mail.outbox) == 1
    assert mail.outbox[0].extra_headers["Message-ID"].startswith("<report-")


def test_a_mail_that_no_server_takes_is_given_up_with_a_reason(desk, monkeypatch, caplog):
    def refuse(*_):
        raise SMTPServerDisconnected("owner@harrow-vale.example is not known here")

    monkeypatch.setattr(EmailBackend, "send_messages", refuse)
    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.owner)
    tries = 0
    while queued(desk.cast.farm, "mail_report"):
        tries += work(desk.cast.farm, "mail_report")
    assert tries == len(PAUSES) + 1
    listed = desk.cast.owner.client.get(f"{desk.yard.url}/jobs").json()["results"]
    assert [job["failure"] for job in listed if job["kind"] == "mail_report" and job["failure"]] == [
        "The mail server took the mail in none of 5 tries. The report is ready all the same."
    ]
    assert "owner@harrow-vale.example" not in caplog.text


@pytest.mark.parametrize(
    "name",
    [
        "Hill\r\nBcc: everybody@quarry-bend.example",
        "Hill\nSubject: another",
        "Hill\r\n\r\nanother body",
        "Hill\u2028Bcc: everybody@quarry-bend.example",
        "=?utf-8?q?Hill=0ABcc:_everybody@quarry-bend.example?=",
    ],
)
def test_no_name_of_a_farm_adds_a_header_or_a_receiver(desk, name):
    rename(desk, name)
    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.owner)
    work(desk.cast.farm, "mail_report")
    (sent,) = mail.outbox
    message = sent.message()
    assert sent.recipients() == [desk.cast.owner.person.email]
    assert len(message.get_all("Subject") or []) == 1
    assert message["Bcc"] is None
    assert "\n" not in sent.subject
    assert message.get_content_type() == "text/plain"


def test_where_no_mail_goes_out_none_is_queued(desk, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.dummy.EmailBackend"
    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.owner)
    assert work(desk.cast.farm, "mail_report") == 0


def test_neither_the_link_nor_the_address_stands_in_the_log(desk, caplog):
    caplog.set_level("DEBUG")
    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.owner)
    work(desk.cast.farm, "mail_report")
    (token,) = re.findall(r"/report-links/(\S+)", str(mail.outbox[0].body))
    for hidden in (token, desk.cast.owner.person.email):
        assert hidden not in caplog.text


def test_the_link_in_the_mail_opens_for_seven_days(desk, time_machine):
    schedule(desk, desk.cast.owner.person)
    made_by_schedule(desk, desk.cast.owner)
    work(desk.cast.farm, "mail_report")
    (path,) = re.findall(r"/api/v1/report-links/\S+", str(mail.outbox[0].body))
    time_machine.move_to(datetime.now(UTC) + timedelta(days=6, hours=23))
    assert APIClient().get(path).status_code == 200
    time_machine.shift(timedelta(hours=2))
    assert APIClient().get(path).status_code == 410
