"""The receivers of a farm: made, changed, tested and removed by whoever may manage it."""

from __future__ import annotations

import base64
import secrets
import uuid
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any, Final

from django.db.models import F, QuerySet
from django.db.models.functions import Now
from django.utils import timezone

from balance.models import WebhookDelivery, WebhookEndpoint
from balance.reports.errands import queue_try
from balance.reports.models import MOST_ENDPOINTS, DeliveryState, Event
from balance.reports.webhooks.alarms import keep_worklist_alarm
from balance.reports.webhooks.places import place_of_url
from balance.summaries.versions import versions_of
from records.access import OpenFarm, Right, hold
from records.errors import Conflict, NotFound, Stale

KIND: Final = "deliver_webhook"
#: A message that tells of nothing: by it, whoever runs a receiver sees that it works.
TEST: Final = "test"
#: Of one message, all in all.
MOST_SENDINGS: Final = 100
_BY_HAND: Final = "It was switched off by hand."
_SECRET_BYTES: Final = 32
#: Standard Webhooks: for a while a message bears the signatures of both, so that no receiver misses any meanwhile.
FORMER_SIGNS_FOR: Final = timedelta(days=1)


def endpoints_of(opened: OpenFarm) -> QuerySet[WebhookEndpoint]:
    """Give the receivers of the open farm."""
    found: QuerySet[WebhookEndpoint] = WebhookEndpoint.objects.for_farm(opened.farm).filter(removed_at=None)
    return found


def endpoint_of(opened: OpenFarm, endpoint_id: uuid.UUID) -> WebhookEndpoint:
    """Give one receiver of the open farm."""
    opened.require(Right.MANAGE)
    endpoint = endpoints_of(opened).filter(pk=endpoint_id).first()
    if endpoint is None:
        raise NotFound
    return endpoint


def make_endpoint(opened: OpenFarm, url: str, events: Iterable[str]) -> WebhookEndpoint:
    """Make a receiver; its secret may be shown now, and never again.

    Raises
    ------
    NotValid
        The address is none that messages may go to.
    Conflict
        The farm has as many as it may have.
    """
    opened.require(Right.MANAGE)
    place_of_url(url)
    hold(opened)  # who makes two at once is counted twice
    if endpoints_of(opened).count() >= MOST_ENDPOINTS:
        raise Conflict(f"A farm has at most {MOST_ENDPOINTS} receivers. Remove one that is not used any more.")
    made: WebhookEndpoint = WebhookEndpoint.objects.create(
        farm=opened.farm, url=url, secret=_new_secret(), events=sorted(set(events)), made_by=opened.caller.person,
        api_key=opened.caller.key,
    )  # fmt: skip
    _begin(opened, made)
    made.refresh_from_db()
    return made


def change_endpoint(
    opened: OpenFarm, endpoint_id: uuid.UUID, wanted: Mapping[str, Any], *, version: int | None
) -> WebhookEndpoint:
    """Change a receiver: ``url``, ``events``, ``enabled``, ``new_secret``; the former secret signs, too, for a day.

    Raises
    ------
    Stale
        It was changed since.
    NotValid
        The address is none that messages may go to.
    """
    endpoint = _held(opened, endpoint_id, version)
    told_before = _is_told_of_summaries(endpoint)
    changed: dict[str, Any] = {}
    if "url" in wanted:
        place_of_url(wanted["url"])
        changed["url"] = wanted["url"]
    if "events" in wanted:
        changed["events"] = sorted(set(wanted["events"]))
    if wanted.get("new_secret"):
        former = {"former_secret": endpoint.secret, "former_secret_until": Now() + FORMER_SIGNS_FOR}
        changed |= {"secret": _new_secret(), **former}
    if wanted.get("enabled") is True:
        changed |= {"disabled_at": None, "disabled_because": "", "failing_since": None}
    _update(endpoint, **changed)
    if wanted.get("enabled") is False and endpoint.disabled_at is None:
        disable(endpoint, _BY_HAND)
    endpoint.refresh_from_db()
    _begin(opened, endpoint, told_before=told_before)
    return endpoint


def remove_endpoint(opened: OpenFarm, endpoint_id: uuid.UUID, *, version: int | None) -> None:
    """Remove a receiver: nothing is sent to it any more, and its secrets are forgotten."""
    endpoint = _held(opened, endpoint_id, version)
    _update(endpoint, removed_at=timezone.now(), secret="", former_secret="", former_secret_until=None)
    _end_what_waits(endpoint, "The receiver was removed.")
    keep_worklist_alarm(opened.farm)


def secrets_at(endpoint: WebhookEndpoint, at: datetime) -> list[str]:
    """Give the secrets that sign a message at an instant: that of now, and the former one while it does."""
    until = endpoint.former_secret_until
    return [endpoint.secret, *([endpoint.former_secret] if until is not None and at < until else [])]


def _begin(opened: OpenFarm, endpoint: WebhookEndpoint, *, told_before: bool = False) -> None:
    """Begin with what a receiver is told of beside reports, as the farm stands now; or end it with the last one."""
    if _is_told_of_summaries(endpoint) and not told_before:
        rows = WebhookEndpoint.objects.for_farm(opened.farm).filter(pk=endpoint.pk)
        rows.update(told_versions=versions_of(opened.farm.pk))
    keep_worklist_alarm(opened.farm)


def _is_told_of_summaries(endpoint: WebhookEndpoint) -> bool:
    return endpoint.disabled_at is None and Event.SEASON_SUMMARY_CHANGED in endpoint.events


def disable(endpoint: WebhookEndpoint, because: str) -> None:
    """Send nothing more to a receiver until somebody switches it on again; what waited for it is given up."""
    _update(endpoint, disabled_at=timezone.now(), disabled_because=because)
    _end_what_waits(endpoint, f"The receiver was switched off. {because}")


def send_test(opened: OpenFarm, endpoint_id: uuid.UUID) -> WebhookDelivery:
    """Send a message that tells of nothing, once."""
    endpoint = _in_use(endpoint_of(opened, endpoint_id))
    about = uuid.uuid4()
    return queue_message(endpoint, endpoint.events[0], about, message_of(TEST, {"farm": str(opened.farm.pk)}))


def message_of(kind: str, data: Mapping[str, Any]) -> dict[str, Any]:
    """Give a message as Standard Webhooks shapes it: what happened, when, and where to read it."""
    when = timezone.now().isoformat(timespec="seconds").replace("+00:00", "Z")
    return {"type": kind, "timestamp": when, "data": dict(data)}


def queue_message(
    endpoint: WebhookEndpoint, event: str, about: uuid.UUID, message: Mapping[str, Any]
) -> WebhookDelivery:
    """Note a message to a receiver and queue its first try, in the open transaction."""
    delivery: WebhookDelivery = WebhookDelivery.objects.create(
        farm_id=endpoint.farm_id, endpoint=endpoint, event=event, about=about, payload=dict(message),
        next_attempt_at=Now(),
    )  # fmt: skip
    delivery.refresh_from_db()
    queue_try(endpoint.farm_id, KIND, delivery.pk, 1)
    return delivery


def deliveries_of(opened: OpenFarm, endpoint_id: uuid.UUID) -> QuerySet[WebhookDelivery]:
    """Give the messages to one receiver."""
    endpoint = endpoint_of(opened, endpoint_id)
    found: QuerySet[WebhookDelivery] = WebhookDelivery.objects.for_farm(opened.farm).filter(endpoint_id=endpoint.pk)
    return found


def send_again(opened: OpenFarm, endpoint_id: uuid.UUID, delivery_id: uuid.UUID) -> WebhookDelivery:
    """Send a message again under the same id, at least once; one that waits for its next try already is left to it.

    Raises
    ------
    Conflict
        The receiver is switched off, or the message was sent too often.
    """
    endpoint = _in_use(endpoint_of(opened, endpoint_id))
    held = deliveries_of(opened, endpoint.pk).select_for_update(of=("self",)).filter(pk=delivery_id)
    delivery = held.first()
    if delivery is None:
        raise NotFound
    if delivery.state != DeliveryState.WAITING:
        if delivery.attempts >= MOST_SENDINGS:
            raise Conflict(f"The message was sent {delivery.attempts} times. Read what it tells of instead.")
        WebhookDelivery.objects.for_farm(opened.farm).filter(pk=delivery.pk).update(
            state=DeliveryState.WAITING, next_attempt_at=Now(), version=F("version") + 1, changed_at=Now()
        )
        queue_try(opened.farm.pk, KIND, delivery.pk, delivery.attempts + 1)
        delivery.refresh_from_db()
    return delivery


def _in_use(endpoint: WebhookEndpoint) -> WebhookEndpoint:
    if endpoint.disabled_at is not None:
        raise Conflict(f"The receiver is switched off. {endpoint.disabled_because} Switch it on first: PATCH enabled.")
    return endpoint


def _held(opened: OpenFarm, endpoint_id: uuid.UUID, version: int | None) -> WebhookEndpoint:
    opened.require(Right.MANAGE)
    hold(opened)  # before the receiver, as where one is made
    endpoint = endpoints_of(opened).select_for_update(of=("self",)).filter(pk=endpoint_id).first()
    if endpoint is None:
        raise NotFound
    if version is not None and endpoint.version != version:
        sentence = f"The receiver is at version {endpoint.version}, not {version}. Read it again."
        raise Stale(sentence, current=endpoint)
    return endpoint


def _update(endpoint: WebhookEndpoint, **columns: Any) -> None:
    if columns:
        rows = WebhookEndpoint.objects.for_farm(endpoint.farm_id).filter(pk=endpoint.pk)
        rows.update(**columns, version=F("version") + 1, changed_at=Now())


def _end_what_waits(endpoint: WebhookEndpoint, because: str) -> None:
    waiting = WebhookDelivery.objects.for_farm(endpoint.farm_id).filter(
        endpoint_id=endpoint.pk, state=DeliveryState.WAITING
    )
    waiting.update(
        state=DeliveryState.FAILED, next_attempt_at=None, last_failure=because[:400], version=F("version") + 1,
        changed_at=Now(),
    )  # fmt: skip


def _new_secret() -> str:
    return "whsec_" + base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode()
