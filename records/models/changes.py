"""What stood in a record before it was changed."""

from __future__ import annotations

from django.contrib.postgres.functions import TransactionNow
from django.db import models

from records.models.base import FarmQuerySet, UUIDv7


class FeedEpoch(models.Model):
    """The one row that says which life of the database the feed's positions belong to; a restore begins the next.

    A database that was never restored has none.
    """

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    epoch = models.PositiveIntegerField(default=1)
    began_at = models.DateTimeField(db_default=TransactionNow())

    class Meta:
        db_table = "feed_epoch"
        constraints = [models.CheckConstraint(name="feed_epoch_is_one_row", condition=models.Q(id=1))]

    def __str__(self) -> str:
        return f"epoch {self.epoch}"


class RecordChange(models.Model):
    """One version of one record that a later one replaced: the old row, who changed it, and why.

    Written by the database itself (see ``records.walls``), so no code path can forget it; the role that
    serves may read and add, never change or remove.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    farm = models.ForeignKey("records.Farm", on_delete=models.PROTECT, related_name="+", db_index=False)
    entity = models.CharField(max_length=40, help_text="The table of the record.")
    entity_id = models.UUIDField()
    version = models.PositiveIntegerField(help_text="The version that was replaced.")
    old_row = models.JSONField()
    reason = models.TextField(blank=True)
    person_id = models.UUIDField(null=True)
    api_key_id = models.UUIDField(null=True)
    request_id = models.CharField(max_length=64, blank=True)
    changed_at = models.DateTimeField(db_default=TransactionNow())

    objects = FarmQuerySet.as_manager()

    class Meta:
        db_table = "record_change"
        indexes = [models.Index(name="record_change_of_a_record", fields=["farm", "entity", "entity_id", "version"])]

    def __str__(self) -> str:
        return f"{self.entity} {self.entity_id}, version {self.version}"
