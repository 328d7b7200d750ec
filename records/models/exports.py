"""What a farm takes out, what was erased, and the register of farms for the program's staff."""

from __future__ import annotations

from django.contrib.postgres.functions import TransactionNow
from django.db import models

from records.models.base import FarmOwned, FarmQuerySet, UUIDv7
from records.models.farms import Program
from records.models.jobs import Job


class Export(FarmOwned):
    """One time that somebody asked for everything of a farm, and the file that came of it until it expires."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    attempt = models.PositiveSmallIntegerField(
        null=True, help_text="The attempt of the job whose parts are the file; empty until it is whole."
    )
    taken_at = models.DateTimeField(null=True, help_text="The one point in time that everything in it stands for.")
    rows = models.PositiveIntegerField(default=0, help_text="How many rows of all tables it holds.")
    size = models.PositiveBigIntegerField(default=0, help_text="Of the file [bytes].")
    sha256 = models.CharField(max_length=64, blank=True, help_text="Of the file.")
    expires_at = models.DateTimeField(null=True, help_text="From then on the file is gone.")

    class Meta:
        db_table = "export"
        indexes = [models.Index(name="export_in_order", fields=["farm", "-received_at", "-id"])]

    def __str__(self) -> str:
        return f"export {self.pk}"


class ExportPart(models.Model):
    """One piece of an export's file, in the order of its number."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    farm = models.ForeignKey("records.Farm", on_delete=models.PROTECT, related_name="+", db_index=False)
    export = models.ForeignKey(Export, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    attempt = models.PositiveSmallIntegerField(help_text="The attempt of the job that wrote it.")
    number = models.PositiveIntegerField(help_text="From 0.")
    content = models.BinaryField()

    objects = FarmQuerySet.as_manager()

    class Meta:
        db_table = "export_part"
        constraints = [
            models.UniqueConstraint(name="export_part_once_a_number", fields=["farm", "export", "attempt", "number"]),
        ]

    def __str__(self) -> str:
        return f"part {self.number} of {self.export_id}"


class Erasure(models.Model):
    """One farm that was erased: which, when, who asked, how many rows of which table; nothing of its content.

    Written by the database's ``erase_farm`` alone.  It is not the farm's own, so that it outlives the farm; after
    a restore of an older backup the farms that it names are erased again.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    erased_farm_id = models.UUIDField(help_text="The farm that there is no more.")
    erased_at = models.DateTimeField(db_default=TransactionNow(), help_text="When it was first erased.")
    asked_by_id = models.UUIDField(null=True, help_text="The person who asked; empty: whoever runs the machine.")
    counts = models.JSONField(default=dict, help_text="How many rows of which table.")

    class Meta:
        db_table = "erasure"
        constraints = [models.UniqueConstraint(name="erasure_one_line_a_farm", fields=["erased_farm_id"])]

    def __str__(self) -> str:
        return f"farm {self.erased_farm_id}"


class RegisteredFarm(models.Model):
    """One farm as the program's staff may know of it: its name and its program, and nothing else.

    A view of the database: it shows rows only to active staff who asked for the register, and opens no farm.
    """

    id = models.UUIDField(primary_key=True)
    name = models.CharField(max_length=120)
    program = models.ForeignKey(Program, null=True, on_delete=models.DO_NOTHING, related_name="+", db_constraint=False)

    class Meta:
        managed = False
        db_table = "farm_register"
        verbose_name = "farm"
        ordering = ("name", "id")

    def __str__(self) -> str:
        return self.name
