"""A link opens one file of one report for a time, without a key, and no more than whoever made it may see."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.core.signing import TimestampSigner
from django.db import transaction
from rest_framework.test import APIClient

from balance.reports.links import Link, token_of
from records.context import set_context
from records.models import ApiKey, Consent, Person, Visit
from records.services.keys import make_key
from tests.balance.reports.receiver import make_json_only


@pytest.fixture(autouse=True)
def json_only(monkeypatch):
    make_json_only(monkeypatch)


@pytest.fixture
def report(desk):
    return desk.made()


def make(desk, report, who="adviser", **told):
    client = getattr(desk.cast, who).client
    made = client.post(f"{desk.url}/{report['id']}/links", {"form": "json", **told}, format="json")
    assert made.status_code == 201, made.json()
    return made.json()["url"]


def fetch(url, method="get"):
    return getattr(APIClient(), method)(url)


def test_a_link_opens_the_file_without_a_key(desk, report):
    fetched = fetch(make(desk, report))
    assert fetched.status_code == 200
    assert fetched.content == desk.file(report, "json").content


def test_the_file_is_served_to_be_kept_and_to_run_nothing(desk, report):
    url = make(desk, report)
    for method in ("get", "head"):
        headers = fetch(url, method).headers
        assert headers["Content-Disposition"].startswith("attachment; filename=")
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert "no-store" in headers["Cache-Control"]
        assert headers["Content-Security-Policy"].startswith("sandbox; default-src 'none'")


def test_a_link_expires_when_it_said_it_would(desk, report, time_machine):
    url = make(desk, report, valid_for_minutes=5)
    time_machine.move_to(datetime.now(UTC) + timedelta(minutes=4, seconds=50), tick=False)
    assert fetch(url).status_code == 200
    time_machine.shift(timedelta(seconds=15))
    gone = fetch(url)
    assert (gone.status_code, gone.json()["code"]) == (410, "expired")


def test_a_link_says_until_when_it_opens(desk, report):
    client = desk.cast.owner.client
    made = client.post(f"{desk.url}/{report['id']}/links", {"form": "json", "valid_for_minutes": 90}, format="json")
    left = datetime.fromisoformat(made.json()["expires_at"]) - datetime.now(UTC)
    assert left.total_seconds() == pytest.approx(5_400, abs=10)
    assert made.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("minutes", [0, -1, 10_081, "60", 1.5, None])
def test_a_link_for_longer_than_seven_days_or_for_no_time_is_refused(desk, report, minutes):
    client = desk.cast.owner.client
    sent = {"form": "json", "valid_for_minutes": minutes}
    assert client.post(f"{desk.url}/{report['id']}/links", sent, format="json").status_code == 400


def test_a_link_that_was_tampered_with_opens_nothing(desk, report):
    url = make(desk, report)
    start, _, token = url.rpartition("/")
    packed, when, signature = token.split(".")
    other = token_of(Link(desk.cast.farm.pk, uuid.uuid4(), desk.cast.owner.person.pk, None, "json", timedelta(1)))
    forged = [
        token[:-1] + ("A" if token[-1] != "A" else "B"),
        f"{other.split('.')[0]}.{when}.{signature}",
        f"{packed}.{other.split('.')[1]}x.{signature}",
        f"{packed}.{when}.",
        packed,
        "x",
        TimestampSigner(salt="another", sep=".").sign(packed),
        TimestampSigner(salt="balance.reports.links", sep=".").sign("AAAA"),
        TimestampSigner(salt="balance.reports.links", sep=".").sign("ä"),
    ]
    for each in forged:
        assert fetch(f"{start}/{each}").status_code == 404, each


def test_a_link_to_another_farms_report_opens_nothing_whoever_signed_it(desk, report):
    stranger = desk.cast.stranger.person
    url = make(desk, report)
    for farm in (desk.cast.farm.pk, desk.cast.other_farm.pk):
        token = token_of(Link(farm, uuid.UUID(report["id"]), stranger.pk, None, "json", timedelta(hours=1)))
        assert fetch(f"{url.rpartition('/')[0]}/{token}").status_code == 404


def test_a_stranger_makes_no_link(desk, report):
    for client in (desk.cast.stranger.client, desk.cast.lead.client):
        made = client.post(f"{desk.url}/{report['id']}/links", {"form": "json"}, format="json")
        assert made.status_code == 404


def test_a_link_ends_with_the_consent_of_whoever_made_it(desk, report):
    url = make(desk, report)
    assert fetch(url).status_code == 200
    with transaction.atomic():
        set_context(farms=[desk.cast.farm.pk])
        consents = Consent.objects.for_farm(desk.cast.farm).filter(person=desk.cast.adviser.person)
        consents.update(withdrawn_at=datetime.now(UTC), withdrawn_by=desk.cast.owner.person)
    assert fetch(url).status_code == 404


def test_a_link_ends_with_the_key_that_made_it(desk, report):
    url = make(desk, report, "owner")
    ApiKey.objects.filter(person=desk.cast.owner.person).update(revoked_at=datetime.now(UTC))
    assert fetch(url).status_code == 404


def test_a_link_says_that_it_ends_with_its_key_where_that_ends_first(desk, report):
    key, text = make_key(desk.cast.owner.person, label="short", scopes=["read"], valid_for=timedelta(minutes=10))
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    made = client.post(f"{desk.url}/{report['id']}/links", {"form": "json", "valid_for_minutes": 60}, format="json")
    assert datetime.fromisoformat(made.json()["expires_at"]) == key.expires_at


def test_a_link_ends_with_the_account_of_whoever_made_it(desk, report):
    url = make(desk, report, "owner")
    Person.objects.filter(pk=desk.cast.owner.person.pk).update(is_active=False)
    assert fetch(url).status_code == 404


def test_each_use_of_an_advisers_link_stands_in_the_growers_log_without_the_link_itself(desk, report):
    url = make(desk, report)
    fetch(url)
    fetch(url)
    with transaction.atomic():
        set_context(farms=[desk.cast.farm.pk])
        read = Visit.objects.for_farm(desk.cast.farm).filter(method="GET", person=desk.cast.adviser.person)
        paths = list(read.values_list("path", flat=True))
    assert paths == [f"{desk.url}/{report['id']}/files/json by a link"] * 2


def test_the_token_of_a_link_stands_in_no_log(desk, report, caplog, time_machine):
    caplog.set_level("DEBUG")
    url = make(desk, report, valid_for_minutes=1)
    token = url.rpartition("/")[2]
    fetch(url)
    fetch(url + "x")
    time_machine.move_to(datetime.now(UTC) + timedelta(minutes=2))
    fetch(url)
    assert "/api/v1/report-links/{token}" in caplog.text
    assert token not in caplog.text
    assert token.split(".")[2] not in caplog.text


def test_a_link_counts_against_the_address_that_uses_it(desk, report, settings):
    url = make(desk, report)
    assert '"address"' in fetch(url).headers["RateLimit"]


def test_a_link_to_a_report_that_is_not_made_yet_says_so(desk):
    asked = desk.ask().json()
    waiting = fetch(make(desk, asked))
    assert (waiting.status_code, waiting.json()["code"]) == (409, "conflict")


def test_a_link_takes_nothing_but_reading(desk, report):
    url = make(desk, report)
    assert {fetch(url, method).status_code for method in ("post", "put", "patch", "delete")} == {405}
