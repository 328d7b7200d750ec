"""What is kept of a report: what was asked, what it says, its files, and by whom it is to be announced."""

from __future__ import annotations

from typing import Final

from django.contrib.postgres.fields import ArrayField
from django.contrib.postgres.functions import TransactionNow
from django.db import models
from django.db.models import Q

from balance.program_work.models import ProgramWork
from records.models import ApiKey, Job, Person, Program, PruningFormula
from records.models.base import FarmOwned, FarmQuerySet, UUIDv7, between, one_of
from records.models.farms import Hemisphere
from records.models.jobs import JobState


class UnitSystem(models.TextChoices):
    """The units that a report is written in, never mixed."""

    METRIC = "metric", "kilograms, metres and hectares"
    US = "us", "pounds, feet and acres"


class Form(models.TextChoices):
    """The forms in which a report is kept; all say the same."""

    PDF = "pdf", "PDF"
    HTML = "html", "HTML"
    JSON = "json", "JSON"
    CSV = "csv", "tables as CSV, in a ZIP"
    XLSX = "xlsx", "tables as a workbook"


class Event(models.TextChoices):
    """What a receiver of webhooks can be told of."""

    REPORT_READY = "report.ready", "a report is ready"
    REPORT_FAILED = "report.failed", "a report could not be made"
    SEASON_SUMMARY_CHANGED = "season_summary.changed", "records that the summaries of some seasons rest on changed"
    WORKLIST_DUE = "worklist.due", "a winter or summer has begun in which cases of cordons ask for work"


#: Of one farm; who wants more takes one away first.
MOST_ENDPOINTS: Final = 10


class Report(FarmOwned):
    """One season report of one farm: asked for once, made once, and kept as it was told.

    ``attempt`` names the attempt of the job whose files count; what it says stands in ``document``, and everything
    that can be fetched is rendered from that alone.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    season = models.PositiveSmallIntegerField(help_text="Harvest year.")
    units = models.CharField(max_length=10, choices=UnitSystem.choices)
    scheduled = models.BooleanField(default=False, help_text="A schedule asked for it.")
    attempt = models.PositiveSmallIntegerField(null=True, help_text="Empty until it is made.")
    taken_at = models.DateTimeField(null=True, help_text="The one point in time that everything in it stands for.")
    document = models.JSONField(null=True)
    check_code = models.CharField(max_length=64, blank=True, help_text="SHA-256 of what it says.")
    made_by_version = models.CharField(max_length=60, blank=True, help_text="The service's version that made it.")

    class Meta:
        db_table = "report"
        constraints = [
            one_of("report_units_known", "units", UnitSystem.values),
            between("report_season_1900_to_2100", "season", 1900, 2100),
            models.CheckConstraint(
                name="report_made_as_a_whole",
                condition=Q(attempt__isnull=True, taken_at__isnull=True, document__isnull=True, check_code="")
                | (Q(attempt__isnull=False, taken_at__isnull=False, document__isnull=False) & ~Q(check_code="")),
            ),
        ]
        indexes = [
            models.Index(name="report_in_order", fields=["farm", "-received_at", "-id"]),
            models.Index(name="report_of_a_job", fields=["farm", "job"]),
        ]

    def __str__(self) -> str:
        return f"season {self.season}, {self.units}"


class ReportFile(models.Model):
    """One form of one report, as one attempt wrote it."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    farm = models.ForeignKey("records.Farm", on_delete=models.PROTECT, related_name="+", db_index=False)
    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    attempt = models.PositiveSmallIntegerField()
    form = models.CharField(max_length=5, choices=Form.choices)
    content = models.BinaryField()
    size = models.PositiveIntegerField(help_text="[bytes]")
    sha256 = models.CharField(max_length=64)

    objects = FarmQuerySet.as_manager()

    class Meta:
        db_table = "report_file"
        constraints = [
            one_of("report_file_form_known", "form", Form.values),
            models.UniqueConstraint(name="report_file_once_a_form", fields=["farm", "report", "attempt", "form"]),
        ]

    def __str__(self) -> str:
        return f"{self.form} of {self.report_id}"


class ProgramReport(ProgramWork):
    """One season report of one program, and the work of making it: what it says has been through the privacy rules.

    Nothing of one farm can be had from what it says (see ``balance.formulas.privacy``).
    """

    without_lead = "Whoever asked for the report does not lead the program any more. Another lead may ask for it."

    units = models.CharField(max_length=10, choices=UnitSystem.choices)
    taken_at = models.DateTimeField(null=True)
    document = models.JSONField(null=True)
    check_code = models.CharField(max_length=64, blank=True)
    made_by_version = models.CharField(max_length=60, blank=True)

    class Meta:
        db_table = "program_report"
        constraints = [
            one_of("program_report_units_known", "units", UnitSystem.values),
            one_of("program_report_state_known", "state", JobState.values),
            between("program_report_season_1900_to_2100", "season", 1900, 2100),
        ]
        indexes = [
            models.Index(name="program_report_in_order", fields=["program", "-received_at", "-id"]),
            models.Index(
                name="program_report_to_be_made",
                fields=["leased_until"],
                condition=Q(state__in=[JobState.QUEUED, JobState.RUNNING]),
            ),
        ]

    def __str__(self) -> str:
        return f"program {self.program_id}, season {self.season}"


class ProgramReportFile(models.Model):
    """One form of one program report, as one attempt wrote it."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    report = models.ForeignKey(ProgramReport, on_delete=models.CASCADE, related_name="files", db_index=False)
    attempt = models.PositiveSmallIntegerField()
    form = models.CharField(max_length=5, choices=Form.choices)
    content = models.BinaryField()
    size = models.PositiveIntegerField(help_text="[bytes]")
    sha256 = models.CharField(max_length=64)

    class Meta:
        db_table = "program_report_file"
        constraints = [
            one_of("program_report_file_form_known", "form", Form.values),
            models.UniqueConstraint(name="program_report_file_once_a_form", fields=["report", "attempt", "form"]),
        ]

    def __str__(self) -> str:
        return f"{self.form} of {self.report_id}"


class ReportFormula(FarmOwned):
    """One version of a formula that a report rests on, so that the report is recalled with it."""

    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    formula = models.ForeignKey(PruningFormula, on_delete=models.PROTECT, related_name="+", db_index=False)

    class Meta:
        db_table = "report_formula"
        constraints = [models.UniqueConstraint(name="report_formula_once", fields=["farm", "report", "formula"])]
        indexes = [models.Index(name="report_by_formula", fields=["farm", "formula"])]

    def __str__(self) -> str:
        return f"{self.formula_id} in {self.report_id}"


class ReportSchedule(FarmOwned):
    """One person's wish to be made a season report of one farm on a day of every year, and to be told by e-mail."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", db_index=False)
    month = models.PositiveSmallIntegerField()
    day = models.PositiveSmallIntegerField()
    units = models.CharField(max_length=10, choices=UnitSystem.choices)
    by_email = models.BooleanField(default=True)
    next_on = models.DateField(help_text="The day on the farm on which the next one is made.")
    job = models.ForeignKey(
        Job, null=True, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )

    class Meta:
        db_table = "report_schedule"
        constraints = [
            models.UniqueConstraint(name="report_schedule_once_a_person", fields=["farm", "person"]),
            one_of("report_schedule_units_known", "units", UnitSystem.values),
            between("report_schedule_month_1_to_12", "month", 1, 12),
            between("report_schedule_day_1_to_28", "day", 1, 28),
        ]

    def __str__(self) -> str:
        return f"every year on {self.day}.{self.month}."


class ProgramReportSchedule(models.Model):
    """A program's wish for a season report on a day of every year, in the name of the lead who said it last."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="+", db_index=False)
    asked_by = models.ForeignKey(Person, null=True, on_delete=models.SET_NULL, related_name="+", db_index=False)
    hemisphere = models.CharField(max_length=5, choices=Hemisphere.choices)
    month = models.PositiveSmallIntegerField()
    day = models.PositiveSmallIntegerField()
    units = models.CharField(max_length=10, choices=UnitSystem.choices)
    next_at = models.DateTimeField(null=True, help_text="When the next one is asked for; empty once it has ended.")
    ended_because = models.CharField(max_length=400, blank=True)
    received_at = models.DateTimeField(db_default=TransactionNow(), editable=False)
    changed_at = models.DateTimeField(db_default=TransactionNow())

    class Meta:
        db_table = "program_report_schedule"
        constraints = [
            models.UniqueConstraint(name="program_report_schedule_once_a_program", fields=["program"]),
            one_of("program_report_schedule_units_known", "units", UnitSystem.values),
            one_of("program_report_schedule_hemisphere_known", "hemisphere", Hemisphere.values),
            between("program_report_schedule_month_1_to_12", "month", 1, 12),
            between("program_report_schedule_day_1_to_28", "day", 1, 28),
        ]
        indexes = [models.Index(name="program_report_schedule_due", fields=["next_at"])]

    def __str__(self) -> str:
        return f"every year on {self.day}.{self.month}."


class WebhookEndpoint(FarmOwned):
    """One address of a farm's own choosing that is told of events, and the secret by which it knows us."""

    url = models.CharField(max_length=2000)
    secret = models.CharField(max_length=120, help_text="Signs each message; shown once.")
    former_secret = models.CharField(
        max_length=120, blank=True, db_default="", help_text="Signs each message, too, until its time is over."
    )
    former_secret_until = models.DateTimeField(
        null=True, blank=True, help_text="Until then messages are signed by the former secret, too."
    )
    events = ArrayField(models.CharField(max_length=40))
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", db_index=False)
    api_key = models.ForeignKey(
        ApiKey, null=True, blank=True, on_delete=models.SET_NULL, related_name="+", db_index=False
    )
    told_versions = models.JSONField(
        null=True, blank=True, help_text="By season, the versions of its summaries when it was told of them last."
    )
    failing_since = models.DateTimeField(null=True, blank=True)
    disabled_at = models.DateTimeField(null=True, blank=True)
    disabled_because = models.CharField(max_length=400, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        db_table = "webhook_endpoint"
        constraints = [
            models.CheckConstraint(
                name="webhook_endpoint_events_known", condition=Q(events__contained_by=list(Event.values))
            ),
        ]
        indexes = [models.Index(name="webhook_endpoint_in_order", fields=["farm", "received_at", "id"])]

    def __str__(self) -> str:
        return self.url


class DeliveryState(models.TextChoices):
    """Where the delivery of one message stands."""

    WAITING = "waiting", "to be sent, or sent again"
    DELIVERED = "delivered", "taken by the receiver"
    FAILED = "failed", "given up"


class WebhookDelivery(FarmOwned):
    """One message to one endpoint: its id stays the same however often it is sent."""

    endpoint = models.ForeignKey(
        WebhookEndpoint, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )
    event = models.CharField(max_length=40, choices=Event.choices)
    about = models.UUIDField(help_text="The report, or an id of what else happened.")
    payload = models.JSONField()
    state = models.CharField(max_length=10, choices=DeliveryState.choices, default=DeliveryState.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField(null=True, blank=True)
    last_status = models.PositiveSmallIntegerField(null=True, blank=True, help_text="HTTP status of the last answer.")
    last_failure = models.CharField(max_length=400, blank=True)
    delivered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        db_table = "webhook_delivery"
        constraints = [
            one_of("webhook_delivery_event_known", "event", Event.values),
            one_of("webhook_delivery_state_known", "state", DeliveryState.values),
            models.UniqueConstraint(
                name="webhook_delivery_once_an_event", fields=["farm", "endpoint", "event", "about"]
            ),
        ]
        indexes = [models.Index(name="webhook_delivery_in_order", fields=["farm", "endpoint", "-received_at", "-id"])]

    def __str__(self) -> str:
        return f"{self.event} to {self.endpoint_id}: {self.state}"
