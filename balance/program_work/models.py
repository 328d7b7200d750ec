"""What every piece of work for a program is kept as: its own row is the truth, and carries the lease."""

from __future__ import annotations

from typing import ClassVar, Final

from django.contrib.postgres.functions import TransactionNow
from django.db import models

from records.models import Person, Program
from records.models.base import UUIDv7
from records.models.jobs import JobState

UNFINISHED: Final = (JobState.QUEUED, JobState.RUNNING)


class ProgramWork(models.Model):
    """One thing that is made for a program of one season, and the work of making it.

    It belongs to no farm, so it has no job of a farm and no ticket: the row is both (see ``balance.program_work``).
    """

    #: What is said where whoever asked does not lead the program any more.
    without_lead: ClassVar[str] = (
        "Whoever asked for it does not lead the program any more. Another lead may try it again."
    )

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="+", db_index=False)
    season = models.PositiveSmallIntegerField(help_text="Harvest year.")
    asked_by = models.ForeignKey(Person, null=True, on_delete=models.SET_NULL, related_name="+", db_index=False)
    request_id = models.CharField(max_length=64, blank=True)
    created_digest = models.CharField(max_length=64, blank=True, editable=False)
    received_at = models.DateTimeField(db_default=TransactionNow(), editable=False)
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.QUEUED)
    attempts = models.PositiveSmallIntegerField(default=0)
    leased_until = models.DateTimeField(
        db_default=TransactionNow(), help_text="A worker holds it until then; afterwards anybody may take it up."
    )
    cancel_asked_at = models.DateTimeField(null=True, blank=True, help_text="When somebody asked to cancel it.")
    progress_done = models.PositiveIntegerField(default=0)
    progress_total = models.PositiveIntegerField(null=True, blank=True)
    failure = models.TextField(blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True
