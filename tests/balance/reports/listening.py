"""A farm with a receiver that listens to some events, and the passing of time until it is told."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Now

from balance.models import WebhookDelivery
from records.access import open_for_work
from records.models import JobTicket
from records.services import jobs
from tests.balance.reports.receiver import Receiver, queued, work


def going_wrong(*_: Any) -> Iterator[jobs.Progress]:
    """Stand for the work of a job that goes wrong by a fault of ours."""
    raise RuntimeError


class Listening:
    """What a receiver is told of one farm."""

    def __init__(self, cast: Any, receiver: Receiver) -> None:
        self.cast, self.receiver, self.farm = cast, receiver, cast.farm
        self.url = f"/api/v1/farms/{cast.farm.pk}/webhook-endpoints"

    def listen(self, *events: str) -> dict[str, Any]:
        made = self.cast.owner.client.post(self.url, {"url": self.receiver.url, "events": events}, format="json")
        assert made.status_code == 201, made.json()
        shown: dict[str, Any] = made.json()
        return shown

    def change(self, endpoint: dict[str, Any], **said: Any) -> None:
        place = f"{self.url}/{endpoint['id']}"
        changed = self.cast.owner.client.patch(place, said, format="json", headers={"If-Match": "*"})
        assert changed.status_code == 200, changed.json()

    def remove(self, endpoint: dict[str, Any]) -> None:
        removed = self.cast.owner.client.delete(f"{self.url}/{endpoint['id']}", headers={"If-Match": "*"})
        assert removed.status_code == 204

    def alarms(self, kind: str) -> list[tuple[uuid.UUID, Any]]:
        return queued(self.farm, kind)

    def minutes_pass(self, minutes: float) -> None:
        """Let every job of the farm and every message of it be so much older."""
        with transaction.atomic():
            open_for_work(self.farm.pk)
            passed = timedelta(minutes=minutes)
            JobTicket.objects.filter(farm_id=self.farm.pk).update(leased_until=F("leased_until") - passed)
            WebhookDelivery.objects.for_farm(self.farm).update(received_at=F("received_at") - passed)

    def carry_out_what_is_due(self, kind: str) -> int:
        due = [job for job, _ in self.alarms(kind)]
        due = [job for job in due if JobTicket.objects.filter(job_id=job, leased_until__lte=Now()).exists()]
        for job in due:
            jobs.run(self.farm.pk, job)
        return len(due)

    def told(self) -> list[dict[str, Any]]:
        """Send what waits to be sent, and give what has come in so far."""
        work(self.farm)
        return [json.loads(each.body) for each in self.receiver.received]
