"""What is announced arrives signed, once or more under one id, and stops where it is not wanted."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import transaction
from django.utils import timezone
from standardwebhooks import Webhook, WebhookVerificationError

from balance.models import WebhookDelivery, WebhookEndpoint
from balance.reports.webhooks import delivering
from balance.reports.webhooks.connecting import Answer
from balance.reports.webhooks.delivering import PAUSES, body_of, pause_asked_for
from records.access import open_for_work
from records.context import set_context
from records.errors import NotValid
from records.models import Membership
from records.services import jobs
from tests.balance.reports.receiver import let_in, make_json_only, queued, work


@pytest.fixture(autouse=True)
def json_only(monkeypatch):
    make_json_only(monkeypatch)


@pytest.fixture
def receiver(tmp_path, settings):
    with let_in(tmp_path, settings) as receiver:
        yield receiver


@pytest.fixture
def endpoint(desk, receiver):
    """A receiver that is told of everything, as it was shown when it was made."""
    url, events = f"{desk.yard.url}/webhook-endpoints", ["report.ready", "report.failed"]
    made = desk.cast.owner.client.post(url, {"url": receiver.url, "events": events}, format="json")
    assert made.status_code == 201, made.json()
    return made.json()


@pytest.fixture
def place(desk, endpoint):
    return f"{desk.yard.url}/webhook-endpoints/{endpoint['id']}"


def deliveries(desk, place):
    return desk.cast.owner.client.get(f"{place}/deliveries").json()["results"]


def shown(desk, place):
    return desk.cast.owner.client.get(place).json()


def fail_report(desk, monkeypatch):
    """Ask for a report whose making goes wrong for good."""

    def refuse():
        raise NotValid("Nothing can be made of it.")

    def nothing(*_):
        yield refuse()

    monkeypatch.setitem(jobs.KINDS, "season_report", nothing)
    asked = desk.ask().json()
    jobs.run(desk.cast.farm.pk, uuid.UUID(asked["job"]))
    return asked


def test_a_finished_report_is_told_in_a_signed_message_without_figures(desk, receiver, endpoint):
    report = desk.made()
    assert work(desk.cast.farm) == 1
    (message,) = receiver.received
    assert message.path == "/told?by=farm"
    said = Webhook(endpoint["secret"]).verify(message.body, message.headers)
    assert said["type"] == "report.ready"
    farm = str(desk.cast.farm.pk)
    assert said["data"] == {"farm": farm, "report": report["id"], "season": 2027, "state": "succeeded"}
    assert len(message.body) < 20_000


def test_the_message_is_known_by_the_id_of_its_delivery(desk, receiver, endpoint, place):
    desk.made()
    work(desk.cast.farm)
    (delivery,) = deliveries(desk, place)
    assert receiver.received[0].headers["webhook-id"] == delivery["id"]
    assert (delivery["state"], delivery["attempts"], delivery["last_status"]) == ("delivered", 1, 204)


def test_a_message_that_was_changed_on_its_way_or_signed_by_another_secret_does_not_verify(desk, receiver, endpoint):
    desk.made()
    work(desk.cast.farm)
    (message,) = receiver.received
    for secret, body in (
        (endpoint["secret"], message.body.replace(b"2027", b"2026")),
        ("whsec_" + "QUFB" * 11, message.body),
    ):
        with pytest.raises(WebhookVerificationError):
            Webhook(secret).verify(body, message.headers)


def test_a_message_that_somebody_replays_later_is_refused_by_its_time(desk, receiver, endpoint, time_machine):
    desk.made()
    work(desk.cast.farm)
    (message,) = receiver.received
    time_machine.move_to(datetime.now(UTC) + timedelta(minutes=6))
    with pytest.raises(WebhookVerificationError, match="too old"):
        Webhook(endpoint["secret"]).verify(message.body, message.headers)


def test_a_worker_whose_clock_is_wrong_signs_by_the_time_of_the_database(desk, receiver, endpoint, time_machine):
    desk.made()
    now = datetime.now(UTC)
    time_machine.move_to(now + timedelta(hours=2))
    work(desk.cast.farm)
    time_machine.move_to(now)
    (message,) = receiver.received
    assert Webhook(endpoint["secret"]).verify(message.body, message.headers)


def test_a_report_that_could_not_be_made_is_told_too(desk, receiver, endpoint, monkeypatch):
    asked = fail_report(desk, monkeypatch)
    work(desk.cast.farm)
    said = json.loads(receiver.received[0].body)
    assert (said["type"], said["data"]["report"], said["data"]["state"]) == ("report.failed", asked["id"], "failed")


def test_what_a_receiver_did_not_ask_for_is_not_sent(desk, receiver, place):
    desk.cast.owner.client.patch(place, {"events": ["report.failed"]}, format="json", headers={"If-Match": "*"})
    desk.made()
    assert work(desk.cast.farm) == 0
    assert receiver.received == []


def test_a_receiver_that_fails_is_tried_again_later_and_later_under_the_same_id_and_the_same_words(
    desk, receiver, endpoint, place
):
    receiver.status = 500
    desk.made()
    pauses = []
    while queued(desk.cast.farm, "deliver_webhook"):
        before = timezone.now()
        work(desk.cast.farm)
        pauses += [due - before for _, due in queued(desk.cast.farm, "deliver_webhook")]
    assert len(receiver.received) == len(PAUSES) + 1 == 10
    assert len({(each.headers["webhook-id"], each.body) for each in receiver.received}) == 1
    assert [round(pause.total_seconds()) for pause in pauses] == pytest.approx(
        [pause.total_seconds() for pause in PAUSES], abs=3
    )
    (delivery,) = deliveries(desk, place)
    assert (delivery["state"], delivery["attempts"], delivery["last_failure"]) == ("failed", 10, "It answered 500.")


def test_a_receiver_that_recovers_gets_the_message_and_is_failing_no_more(desk, receiver, place):
    receiver.status = 503
    desk.made()
    work(desk.cast.farm)
    assert shown(desk, place)["failing_since"] is not None
    receiver.status = 200
    work(desk.cast.farm)
    assert deliveries(desk, place)[0]["state"] == "delivered"
    assert shown(desk, place)["failing_since"] is None


@pytest.mark.parametrize(("status", "asked", "seconds"), [(429, "3600", 3_600), (503, "999999999", 86_400)])
def test_a_busy_receiver_is_left_alone_as_long_as_it_asks_within_a_day(
    desk, receiver, endpoint, status, asked, seconds
):
    receiver.status, receiver.answer_headers = status, {"Retry-After": asked}
    desk.made()
    work(desk.cast.farm)
    ((_, due),) = queued(desk.cast.farm, "deliver_webhook")
    assert (due - timezone.now()).total_seconds() == pytest.approx(seconds, abs=10)


def test_a_pause_is_asked_for_in_seconds_or_by_a_date_and_nonsense_asks_for_none():
    in_an_hour = (datetime.now(UTC) + timedelta(hours=1)).strftime("%a, %d %b %Y %H:%M:%S GMT")
    assert pause_asked_for(in_an_hour).total_seconds() == pytest.approx(3_600, abs=3)
    for nonsense in ("", "soon", "-5", "1e9", "٣", "Mon, 01 Jan 0001 00:00:00 GMT", "9" * 400 + "x"):
        assert pause_asked_for(nonsense) == timedelta(0)


def test_a_redirect_is_a_failure_and_is_not_followed(desk, receiver, place):
    receiver.status, receiver.answer_headers = 302, {"Location": receiver.url.replace("told", "elsewhere")}
    desk.made()
    work(desk.cast.farm)
    assert [each.path for each in receiver.received] == ["/told?by=farm"]
    assert deliveries(desk, place)[0]["last_failure"].startswith("It answered 302; a message follows no redirect.")


def test_a_receiver_that_says_it_is_gone_is_switched_off(desk, receiver, place):
    receiver.status = 410
    desk.made()
    work(desk.cast.farm)
    assert shown(desk, place)["disabled_because"].startswith("It answered 410")
    desk.made(units="us")
    assert work(desk.cast.farm) == 0
    assert len(receiver.received) == 1


def test_a_receiver_that_failed_for_five_days_is_switched_off_with_the_reason(desk, receiver, endpoint, place):
    receiver.status = 500
    desk.made()
    work(desk.cast.farm)
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        rows = WebhookEndpoint.objects.for_farm(desk.cast.farm).filter(pk=endpoint["id"])
        rows.update(failing_since=timezone.now() - timedelta(days=5))
    work(desk.cast.farm)
    assert shown(desk, place)["disabled_because"] == "It took nothing for 5 days."
    assert deliveries(desk, place)[0]["state"] == "failed"
    assert work(desk.cast.farm) == 0
    assert len(receiver.received) == 2


def test_nothing_is_sent_once_whoever_made_the_receiver_may_no_longer_manage_the_farm(desk, receiver, endpoint, place):
    with transaction.atomic():
        set_context(person=desk.cast.owner.person.pk, farms=[desk.cast.farm.pk])
        Membership.objects.for_farm(desk.cast.farm).filter(person=desk.cast.owner.person).update(role="viewer")
    desk.made()
    work(desk.cast.farm)
    assert receiver.received == []
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        kept = WebhookEndpoint.objects.for_farm(desk.cast.farm).get(pk=endpoint["id"])
        message = WebhookDelivery.objects.for_farm(desk.cast.farm).get(endpoint_id=endpoint["id"])
    assert kept.disabled_because == "Whoever made it may no longer manage the farm."
    assert message.state == "failed"


def test_a_test_message_is_signed_and_sent_once(desk, receiver, endpoint, place):
    receiver.status = 500
    assert desk.cast.owner.client.post(f"{place}/test").status_code == 202
    assert work(desk.cast.farm) == 1
    assert work(desk.cast.farm) == 0
    (message,) = receiver.received
    assert Webhook(endpoint["secret"]).verify(message.body, message.headers)["type"] == "test"
    assert deliveries(desk, place)[0]["state"] == "failed"


def test_a_message_is_sent_again_by_hand_under_the_same_id(desk, receiver, place):
    desk.made()
    work(desk.cast.farm)
    (delivery,) = deliveries(desk, place)
    again = desk.cast.owner.client.post(f"{place}/deliveries/{delivery['id']}/redelivery")
    assert (again.status_code, again.json()["state"]) == (202, "waiting")
    work(desk.cast.farm)
    assert [each.headers["webhook-id"] for each in receiver.received] == [delivery["id"]] * 2


def another_secret(desk, place):
    changed = desk.cast.owner.client.patch(place, {"new_secret": True}, format="json", headers={"If-Match": "*"})
    assert changed.status_code == 200, changed.json()
    return changed.json()


def signed_by(message, *secrets):
    """Tell of each secret whether whoever holds it alone takes the message."""
    taken = []
    for secret in secrets:
        try:
            Webhook(secret).verify(message.body, message.headers)
            taken.append(True)
        except WebhookVerificationError:
            taken.append(False)
    return taken


def test_for_a_day_the_former_secret_signs_too_so_that_a_receiver_can_change_in_its_time(
    desk, receiver, endpoint, place
):
    changed = another_secret(desk, place)
    until = datetime.fromisoformat(changed["former_secret_until"]) - timezone.now()
    assert timedelta(hours=23, minutes=59) < until <= timedelta(days=1)
    desk.cast.owner.client.post(f"{place}/test")
    assert work(desk.cast.farm) == 1
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        WebhookEndpoint.objects.for_farm(desk.cast.farm).update(former_secret_until=timezone.now())
    desk.cast.owner.client.post(f"{place}/test")
    assert work(desk.cast.farm) == 1
    first, later = receiver.received
    assert signed_by(first, endpoint["secret"], changed["secret"]) == [True, True]
    assert signed_by(later, endpoint["secret"], changed["secret"]) == [False, True]


def test_a_secret_replaced_twice_signs_no_more(desk, receiver, endpoint, place):
    second, third = (another_secret(desk, place)["secret"] for _ in range(2))
    desk.cast.owner.client.post(f"{place}/test")
    work(desk.cast.farm)
    (message,) = receiver.received
    assert signed_by(message, endpoint["secret"], second, third) == [False, True, True]


def test_a_receiver_that_is_removed_leaves_neither_secret(desk, place):
    another_secret(desk, place)
    removed = desk.cast.owner.client.delete(place, headers={"If-Match": "*"})
    assert removed.status_code == 204
    with transaction.atomic():
        open_for_work(desk.cast.farm.pk)
        kept = WebhookEndpoint.objects.for_farm(desk.cast.farm).get()
    assert (kept.secret, kept.former_secret, kept.former_secret_until) == ("", "", None)


def test_the_secret_of_now_signs_what_was_queued_before_it(desk, receiver, place):
    desk.made()
    changed = desk.cast.owner.client.patch(place, {"new_secret": True}, format="json", headers={"If-Match": "*"})
    work(desk.cast.farm)
    (message,) = receiver.received
    assert Webhook(changed.json()["secret"]).verify(message.body, message.headers)


def test_a_job_that_is_delivered_twice_sends_one_message(desk, receiver, endpoint):
    desk.made()
    ((job_id, _),) = queued(desk.cast.farm, "deliver_webhook")
    jobs.run(desk.cast.farm.pk, job_id)
    jobs.run(desk.cast.farm.pk, job_id)
    list(delivering.carry_out(desk.cast.farm.pk, job_id))
    assert len(receiver.received) == 1


def test_a_try_that_goes_wrong_by_a_fault_of_ours_is_followed_by_the_next(desk, receiver, endpoint, place, monkeypatch):
    desk.made()
    ((job_id, _),) = queued(desk.cast.farm, "deliver_webhook")

    def broken(*_):
        raise RuntimeError

    monkeypatch.setattr(delivering, "post", broken)
    for _ in range(jobs.MOST_ATTEMPTS):
        monkeypatch.setattr(jobs, "FIRST_PAUSE", timedelta(0))
        with pytest.raises(RuntimeError):
            jobs.run(desk.cast.farm.pk, job_id)
    monkeypatch.undo()
    (delivery,) = deliveries(desk, place)
    assert (delivery["state"], delivery["attempts"]) == ("waiting", 1)
    work(desk.cast.farm)
    assert deliveries(desk, place)[0]["state"] == "delivered"


def test_the_words_of_an_answer_are_kept_and_shown_nowhere(desk, receiver, place, caplog):
    receiver.status, receiver.answer_body = 500, b"a secret of the receiver"
    desk.made()
    work(desk.cast.farm)
    shown_to_owner = desk.cast.owner.client.get(f"{place}/deliveries").content
    assert b"a secret" not in shown_to_owner
    assert "a secret" not in caplog.text


def test_neither_the_address_nor_the_secret_stands_in_the_log(desk, receiver, endpoint, caplog):
    caplog.set_level("DEBUG", logger="vineyard")
    desk.made()
    work(desk.cast.farm)
    assert "webhook" in caplog.text
    for hidden in (endpoint["secret"], receiver.place, "told?by"):
        assert hidden not in caplog.text


def test_a_receiver_whose_certificate_nobody_known_signed_gets_nothing(desk, receiver, place, settings):
    settings.WEBHOOKS_CA_FILE = ""
    desk.made()
    work(desk.cast.farm)
    assert receiver.received == []
    assert deliveries(desk, place)[0]["last_failure"].startswith("The certificate of the receiver")


def test_any_success_takes_a_message_and_nothing_else_does():
    judged = {status: delivering._judge(Answer(status)).failure for status in (200, 204, 299, 199, 300, 404, 500)}
    assert [status for status, failure in judged.items() if not failure] == [200, 204, 299]


def test_the_bytes_of_a_message_do_not_hang_on_the_order_in_which_it_is_kept():
    assert body_of({"b": "ä", "a": 1}) == body_of({"a": 1, "b": "ä"}) == '{"a":1,"b":"ä"}'.encode()
