"""The job that makes one try to send one message, and what follows from how it went.

The delivery is the truth: a try that is behind what it says does nothing.  A worker that dies between sending and
noting it lets the message be sent again, under the same id, by which a receiver knows it; so it is with every sender.
"""

from __future__ import annotations

import json
import logging
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Now
from standardwebhooks import Webhook

from balance.models import WebhookDelivery, WebhookEndpoint
from balance.reports.errands import queue_try, row_of_try
from balance.reports.models import DeliveryState
from balance.reports.webhooks.connecting import Answer, NotReached, post
from balance.reports.webhooks.endpoints import KIND, TEST, disable, secrets_at
from balance.reports.webhooks.places import place_of_url
from records.access import Right, open_for_work, require_still
from records.errors import NotAllowed, NotValid
from records.models.jobs import JobState
from records.services import cancelling, jobs

log = logging.getLogger("vineyard.webhooks")

#: Standard Webhooks 1.0: how long after each failed try the next one comes; after the last there is none.
PAUSES: Final = tuple(
    timedelta(seconds=seconds)
    for seconds in (5, 5 * 60, 30 * 60, 2 * 3_600, 5 * 3_600, 10 * 3_600, 14 * 3_600, 20 * 3_600, 24 * 3_600)
)
#: No receiver puts the next try off longer than this.
LONGEST_PAUSE: Final = timedelta(hours=24)
#: A receiver that took nothing for so long is switched off.
FAILING_FOR: Final = timedelta(days=5)
GONE: Final = 410
_BUSY: Final = (429, 503)


@dataclass(frozen=True)
class _Try:
    """One try, with all that it needs, so that nothing of the database is held while it is on its way."""

    delivery: WebhookDelivery
    endpoint: WebhookEndpoint
    number: int
    at: datetime
    """By the clock of the database: a receiver refuses what a worker with a wrong clock would sign."""


@dataclass(frozen=True)
class _Outcome:
    """How a try went; no failure is success."""

    failure: str = ""
    status: int | None = None
    not_before: timedelta = timedelta(0)


def carry_out(farm_id: uuid.UUID, job_id: uuid.UUID) -> Iterator[jobs.Progress]:
    """Make one try."""
    with transaction.atomic():
        open_for_work(farm_id)
        current = _take(farm_id, job_id)
    if current is None:
        return
    outcome = _send(current)
    with transaction.atomic():
        open_for_work(farm_id)
        _note(current, outcome)
    log.info("webhook %s: try %d %s", current.delivery.pk, current.number, "failed" if outcome.failure else "taken")
    yield 1, 1


def _take(farm_id: uuid.UUID, job_id: uuid.UUID) -> _Try | None:
    """Give the try that a job is to make, unless it was made, or nobody lets it be made any more."""
    current = _try_of(farm_id, job_id)
    if current is None:
        return None
    try:
        require_still(farm_id, current.endpoint.made_by, Right.MANAGE)
    except NotAllowed:
        disable(current.endpoint, "Whoever made it may no longer manage the farm.")
        return None
    return current


def _try_of(farm_id: uuid.UUID, job_id: uuid.UUID) -> _Try | None:
    found = row_of_try(WebhookDelivery.objects.for_farm(farm_id).annotate(at=Now()), job_id)
    if found is None:
        return None
    delivery, number = found
    if delivery.state != DeliveryState.WAITING or number != delivery.attempts + 1:
        return None
    endpoint = WebhookEndpoint.objects.for_farm(farm_id).select_related("made_by").get(pk=delivery.endpoint_id)
    return _Try(delivery, endpoint, number, delivery.at)


def _send(current: _Try) -> _Outcome:
    body = body_of(current.delivery.payload)
    message_id = str(current.delivery.pk)
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "vineyard-webhooks/1",
        "webhook-id": message_id,
        "webhook-timestamp": str(int(current.at.timestamp())),
        "webhook-signature": " ".join(
            Webhook(secret).sign(message_id, current.at, body.decode())
            for secret in secrets_at(current.endpoint, current.at)
        ),
    }
    try:
        return _judge(post(place_of_url(current.endpoint.url), headers, body))
    except (NotReached, NotValid) as failure:
        return _Outcome(str(failure))


def body_of(payload: Any) -> bytes:
    """Give the bytes that are signed and sent: the same at every try."""
    return json.dumps(payload, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()


def _judge(answer: Answer) -> _Outcome:
    if 200 <= answer.status < 300:
        return _Outcome(status=answer.status)
    if 300 <= answer.status < 400:
        failure = f"It answered {answer.status}; a message follows no redirect. Give the address that it leads to."
    else:
        failure = f"It answered {answer.status}."
    pause = pause_asked_for(answer.retry_after) if answer.status in _BUSY else timedelta(0)
    return _Outcome(failure, answer.status, pause)


def pause_asked_for(retry_after: str) -> timedelta:
    """Give how long a receiver asks to be left alone, within bounds; nothing where it says nothing of sense."""
    text = retry_after.strip()
    if text.isascii() and text.isdecimal():
        return timedelta(seconds=min(int(text[:9]), LONGEST_PAUSE.total_seconds()))
    try:
        until = parsedate_to_datetime(text)
    except (TypeError, ValueError):
        return timedelta(0)
    pause = (until if until.tzinfo else until.replace(tzinfo=UTC)) - datetime.now(UTC)
    return min(max(pause, timedelta(0)), LONGEST_PAUSE)


def _note(current: _Try, outcome: _Outcome) -> None:
    """Write how a try went, once, and queue the next where there is one."""
    delivery = current.delivery
    # The receiver before its messages, as everywhere, so that two tries never wait for each other.
    endpoint = WebhookEndpoint.objects.for_farm(delivery.farm_id).select_for_update().get(pk=delivery.endpoint_id)
    off_because = _why_off(endpoint, outcome, current.at)
    again = None if off_because else _pause_after(current, outcome)
    waiting = WebhookDelivery.objects.for_farm(delivery.farm_id).filter(
        pk=delivery.pk, state=DeliveryState.WAITING, attempts=current.number - 1
    )
    went_on = DeliveryState.WAITING if again is not None else DeliveryState.FAILED
    noted = waiting.update(
        attempts=current.number, last_status=outcome.status, last_failure=outcome.failure[:400],
        state=went_on if outcome.failure else DeliveryState.DELIVERED,
        next_attempt_at=None if again is None else Now() + again, delivered_at=None if outcome.failure else Now(),
        version=F("version") + 1, changed_at=Now(),
    )  # fmt: skip
    if not noted:
        return
    if again is not None:
        queue_try(delivery.farm_id, KIND, delivery.pk, current.number + 1, pause=again)
    since = (endpoint.failing_since or current.at) if outcome.failure else None
    if since != endpoint.failing_since:
        WebhookEndpoint.objects.for_farm(endpoint.farm_id).filter(pk=endpoint.pk).update(failing_since=since)
    if off_because:
        disable(endpoint, off_because)


def _why_off(endpoint: WebhookEndpoint, outcome: _Outcome, now: datetime) -> str:
    """Give why a receiver is to be switched off: it is gone, or has failed for long; nothing where it is not."""
    if not outcome.failure or endpoint.disabled_at is not None or endpoint.removed_at is not None:
        return ""
    if outcome.status == GONE:
        return "It answered 410: it is gone and wants nothing more."
    if endpoint.failing_since is not None and now - endpoint.failing_since >= FAILING_FOR:
        return f"It took nothing for {FAILING_FOR.days} days."
    return ""


def _pause_after(current: _Try, outcome: _Outcome) -> timedelta | None:
    """Give how long after this try the next one comes, if one does; a test is sent once."""
    is_last = current.number > len(PAUSES) or current.delivery.payload["type"] == TEST
    if not outcome.failure or is_last:
        return None
    return max(PAUSES[current.number - 1], outcome.not_before)


def _note_lost(farm_id: uuid.UUID, job_id: uuid.UUID, state: str, _: str) -> None:
    """Let a try whose workers all died, or that went wrong by a fault of ours, count as one that failed."""
    current = _try_of(farm_id, job_id)
    if current is not None:
        said = "was cancelled" if state == JobState.CANCELLED else "came to no end"
        _note(current, _Outcome(f"The try {said}."))


jobs.KINDS[KIND] = carry_out
jobs.ENDED_IN_VAIN[KIND] = _note_lost
cancelling.BY_ITSELF[KIND] = "Messages are sent by the service itself: remove their receiver, or send one again there."
