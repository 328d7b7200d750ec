"""Work that nobody waits for. The job row is the truth; the broker only wakes a worker."""

from __future__ import annotations

from django.contrib.postgres.functions import TransactionNow
from django.db import models

from records.models.base import FarmOwned, UUIDv7, one_of
from records.models.people import Person


class JobState(models.TextChoices):
    """Where a job stands."""

    QUEUED = "queued", "queued"
    RUNNING = "running", "running"
    SUCCEEDED = "succeeded", "succeeded"
    FAILED = "failed", "failed"
    CANCELLED = "cancelled", "cancelled"


class Job(FarmOwned):
    """One piece of background work for one farm, with its progress and its outcome."""

    kind = models.CharField(max_length=40, help_text="What the job does, e.g. import_vines.")
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.QUEUED)
    attempts = models.PositiveSmallIntegerField(default=0, help_text="How often a worker took it up.")
    progress_done = models.PositiveIntegerField(default=0)
    progress_total = models.PositiveIntegerField(null=True, blank=True)
    failure = models.TextField(blank=True, help_text="Why it failed, as a sentence.")
    asked_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+", db_index=False
    )
    request_id = models.CharField(
        max_length=64,
        blank=True,
        default="",
        db_default="",
        help_text="The request that asked for it, as it stands in the logs.",
    )
    cancel_asked_at = models.DateTimeField(null=True, blank=True, help_text="When somebody asked to cancel it.")
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        db_table = "job"
        constraints = [one_of("job_state_known", "state", JobState.values)]
        indexes = [models.Index(name="job_in_order", fields=["farm", "-received_at", "-id"])]

    def __str__(self) -> str:
        return f"{self.kind}: {self.state}"


class JobTicket(models.Model):
    """One unfinished job, as far as the sweeper may know of it: no more than whose it is and since when.

    It stands outside row-level security, so that one sweeper can wake jobs of every farm while the job
    itself stays behind its farm's wall.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    job_id = models.UUIDField()
    farm_id = models.UUIDField()
    leased_until = models.DateTimeField(
        db_default=TransactionNow(),
        help_text="A worker holds it until then; afterwards anybody may take it up.",
    )

    class Meta:
        db_table = "job_ticket"
        constraints = [models.UniqueConstraint(name="job_ticket_one_a_job", fields=["farm_id", "job_id"])]
        indexes = [models.Index(name="job_ticket_by_lease", fields=["leased_until"])]

    def __str__(self) -> str:
        return f"job {self.job_id}"
