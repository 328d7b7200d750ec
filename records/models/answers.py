"""Answers kept for requests that may be sent again."""

from __future__ import annotations

from django.contrib.postgres.functions import TransactionNow
from django.db import models
from django.db.models import Q

from records.models.base import FarmQuerySet, UUIDv7


class KeptAnswer(models.Model):
    """One request that took effect, as an ``Idempotency-Key`` names it, with its answer: kept for thirty days.

    It belongs to the farm that the request was sent to, and goes with it; the nil UUID stands for no farm.  It is
    written in the transaction of the effect, so there is never one without the other.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    farm_id = models.UUIDField(help_text="The farm of the request; nil where it names none.")
    person_id = models.UUIDField(help_text="Who sent it.")
    scope = models.CharField(max_length=64, help_text="SHA-256 of method, path and key.")
    fingerprint = models.CharField(max_length=64, help_text="SHA-256 of what the request said.")
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField(default=dict, help_text="Those of the answer that a client acts on.")
    body = models.BinaryField(null=True, help_text="Empty where it showed a secret, or was too large.")
    deflated = models.BooleanField(default=False, help_text="The body is compressed (zlib).")
    received_at = models.DateTimeField(db_default=TransactionNow(), editable=False)

    objects = FarmQuerySet.as_manager()

    class Meta:
        db_table = "kept_answer"
        constraints = [
            models.UniqueConstraint(name="kept_answer_once_a_request", fields=["farm_id", "person_id", "scope"]),
            models.CheckConstraint(name="kept_answer_of_a_success", condition=Q(status__gte=200) & Q(status__lt=300)),
        ]
        # The sweep names no farm; PostgreSQL skips through the few farms of the index (skip scan).
        indexes = [models.Index(name="kept_answer_by_age", fields=["farm_id", "received_at"])]

    def __str__(self) -> str:
        return f"{self.status} to {self.person_id}"
