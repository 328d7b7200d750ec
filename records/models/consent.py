"""Who, beyond the farm's own people, may see its records, and who of them did."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.contrib.postgres.functions import TransactionNow
from django.db import models
from django.db.models import F, Q

from records.models.base import FarmOwned, FarmQuerySet, UUIDv7, one_of, together
from records.models.farms import Program
from records.models.people import Person


class Purpose(models.TextChoices):
    """What a consent is for; it opens nothing else."""

    ADVICE = "advice", "advice"
    RECORDS = "records", "records"
    SUMMARIES = "summaries", "summaries"
    BENCHMARKS = "benchmarks", "benchmarks"


class Consent(FarmOwned):
    """One permission that a farm's owner gave to one adviser or one program, for one purpose.

    It is never removed: when it ends by ``valid_until`` or by withdrawal, the row stays and says so.
    """

    purpose = models.CharField(
        max_length=10,
        choices=Purpose.choices,
        help_text="advice: an adviser reads, and records where that is given; records: the program's leads read; "
        "summaries: the program may count the farm in its summaries, and reads nothing; benchmarks: the program may "
        "count the farm in what its growers who take part are held against, and reads nothing.",
    )
    person = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
        help_text="The adviser, for the purpose advice.",
    )
    program = models.ForeignKey(
        Program,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_index=False,
        help_text="The program, for the purposes records, summaries and benchmarks.",
    )
    name = models.CharField(max_length=120, blank=True, help_text="How the farm calls the adviser.")
    rights = ArrayField(
        models.CharField(max_length=10),
        default=list,
        blank=True,
        help_text="What it allows: read, or read and record for an adviser; nothing for summaries and benchmarks.",
    )
    valid_from = models.DateTimeField(db_default=TransactionNow(), help_text="It opens nothing before.")
    valid_until = models.DateTimeField(
        null=True, blank=True, help_text="It opens nothing from then on; empty: until it is withdrawn."
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True, help_text="When it was taken back.")
    text_version = models.CharField(max_length=40, help_text="The version of the text that was agreed to.")
    given_by = models.ForeignKey(
        Person, null=True, on_delete=models.PROTECT, related_name="+", db_index=False, help_text="The owner who did."
    )
    withdrawn_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )

    class Meta:
        db_table = "consent"
        constraints = [
            one_of("consent_purpose_known", "purpose", Purpose.values),
            models.CheckConstraint(
                name="consent_to_an_adviser_or_a_program",
                condition=Q(purpose=Purpose.ADVICE, person__isnull=False, program__isnull=True)
                | (~Q(purpose=Purpose.ADVICE) & Q(person__isnull=True, program__isnull=False)),
            ),
            models.CheckConstraint(
                name="consent_rights_fit_the_purpose",
                condition=Q(purpose=Purpose.ADVICE, rights__in=[["read"], ["read", "record"]])
                | Q(purpose=Purpose.RECORDS, rights=["read"])
                | Q(purpose__in=[Purpose.SUMMARIES, Purpose.BENCHMARKS], rights=[]),
            ),
            models.CheckConstraint(
                name="consent_ends_after_it_begins",
                condition=Q(valid_until__isnull=True) | Q(valid_until__gt=F("valid_from")),
            ),
            together("consent_withdrawn_by_somebody", "withdrawn_at", "withdrawn_by"),
        ]
        indexes = [
            models.Index(name="consent_of_a_person", fields=["farm", "person"]),
            models.Index(name="consent_of_a_program", fields=["farm", "program"]),
            models.Index(name="consent_in_order", fields=["farm", "-received_at", "-id"]),
        ]

    def __str__(self) -> str:
        return f"{self.purpose} for {self.person_id or self.program_id}"


class Visit(models.Model):
    """One request by which an adviser or a program's lead reached a farm: the grower's own access log.

    Added to and never changed; what it says of the visitor is who they are today.
    """

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    farm = models.ForeignKey("records.Farm", on_delete=models.PROTECT, related_name="+", db_index=False)
    consent = models.ForeignKey(
        Consent,
        on_delete=models.DO_NOTHING,
        related_name="+",
        db_index=False,
        db_constraint=False,  # held together with the farm by records.walls
        help_text="The consent that let them in.",
    )
    person = models.ForeignKey(
        Person,
        null=True,
        on_delete=models.DO_NOTHING,
        related_name="+",
        db_index=False,
        db_constraint=False,  # the log outlives an account
    )
    method = models.CharField(max_length=10, help_text="What the request did, e.g. GET.")
    path = models.CharField(max_length=300, help_text="Which address it asked for.")
    request_id = models.CharField(max_length=64, blank=True, help_text="Names the request in the service's log.")
    visited_at = models.DateTimeField(db_default=TransactionNow(), help_text="When.")

    objects = FarmQuerySet.as_manager()

    class Meta:
        db_table = "visit"
        indexes = [models.Index(name="visit_in_order", fields=["farm", "-visited_at", "-id"])]

    def __str__(self) -> str:
        return f"{self.method} {self.path}"
