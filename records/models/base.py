"""What every farm-owned row has, and the one way to begin a query on it."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any, Self

from django.contrib.postgres.functions import TransactionNow
from django.db import models
from django.db.models import Q

if TYPE_CHECKING:
    from records.models.farms import Farm


class UUIDv7(models.Func):
    """PostgreSQL's time-ordered UUID (RFC 9562), so that new rows lie together in the index."""

    function = "uuidv7"
    template = "%(function)s()"
    output_field = models.UUIDField()


class RandomText(models.Func):
    """PostgreSQL's random UUID as text: 122 bits that nobody guesses."""

    function = "gen_random_uuid"
    template = "(%(function)s())::text"
    output_field = models.CharField()


class FarmQuerySet(models.QuerySet[Any]):
    """A queryset that begins with one farm; ``tests/test_one_door.py`` lets no query begin otherwise."""

    def for_farm(self, farm: Farm | uuid.UUID) -> Self:
        """Narrow to the rows of one farm."""
        return self.filter(farm_id=farm if isinstance(farm, uuid.UUID) else farm.pk)


class FarmOwned(models.Model):
    """Base of every row that belongs to one farm.

    The database's primary key is ``(farm_id, id)`` (see ``records.walls``): two farms may use the same
    id without ever learning of each other, and the table can be spread over machines by farm.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    farm = models.ForeignKey("records.Farm", on_delete=models.PROTECT, related_name="+", db_index=False)
    version = models.PositiveIntegerField(db_default=1, help_text="Counts the changes of this row, from 1.")
    received_at = models.DateTimeField(
        db_default=TransactionNow(), editable=False, help_text="When the service first received it."
    )
    changed_at = models.DateTimeField(db_default=TransactionNow(), help_text="When it was last changed.")
    created_digest = models.CharField(
        max_length=64,
        blank=True,
        editable=False,
        help_text="Of what the creating request said, so that the same request is known again for ever.",
    )

    objects = FarmQuerySet.as_manager()

    class Meta:
        abstract = True


class ChangePosition(models.Func):
    """Where the transaction stands in the feed of changes (see ``records.services.feed``)."""

    function = "change_position"
    template = "%(function)s()"
    output_field = models.BigIntegerField()


class Followed(FarmOwned):
    """Base of every row that the feed of changes tells of; the database sets its place at every write."""

    change_position = models.BigIntegerField(db_default=ChangePosition(), editable=False)

    class Meta:
        abstract = True


def in_order_of_change(table: str) -> models.Index:
    """Give the index by which the feed of changes reads a table."""
    short = table.replace("inspection", "insp").replace("record", "rec")
    return models.Index(name=f"{short}_by_change", fields=["farm", "change_position", "id"])


def together(name: str, *columns: str) -> models.CheckConstraint:
    """Give the constraint that these columns are all set or all empty."""
    none = Q(**{f"{column}__isnull": True for column in columns})
    every = Q(**{f"{column}__isnull": False for column in columns})
    return models.CheckConstraint(name=name, condition=none | every)


def between(name: str, column: str, low: Any, high: Any) -> models.CheckConstraint:
    """Give the constraint that a column, where it is set, lies between two bounds."""
    inside = Q(**{f"{column}__gte": low, f"{column}__lte": high})
    return models.CheckConstraint(name=name, condition=Q(**{f"{column}__isnull": True}) | inside)


def one_of(name: str, column: str, values: list[str]) -> models.CheckConstraint:
    """Give the constraint that a column holds one of the listed words."""
    return models.CheckConstraint(name=name, condition=Q(**{f"{column}__in": values}))
