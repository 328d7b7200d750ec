"""Programs, farms and who may do what on a farm."""

from __future__ import annotations

from django.contrib.postgres.functions import TransactionNow
from django.db import models

from records.models.base import FarmOwned, RandomText, UUIDv7, one_of
from records.models.catalogue import PruningFormula
from records.models.people import Person


class Role(models.TextChoices):
    """What a person of the farm is on it; an adviser or a program is let in by consent instead."""

    OWNER = "owner", "owner"
    WORKER = "worker", "worker"
    VIEWER = "viewer", "viewer"


class Hemisphere(models.TextChoices):
    """Which half of the earth a farm lies on: it decides which harvest a winter belongs to."""

    NORTH = "north", "north"
    SOUTH = "south", "south"


class Program(models.Model):
    """One program that brings many growers' data together, such as an extension service's."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    name = models.CharField(max_length=120, unique=True)
    region = models.CharField(max_length=120, blank=True)
    join_code = models.CharField(
        max_length=36,
        unique=True,
        db_default=RandomText(),
        editable=False,
        help_text="Its leads give it to growers: whoever has it may give the program a consent.",
    )
    created_at = models.DateTimeField(db_default=TransactionNow(), editable=False)

    class Meta:
        db_table = "program"

    def __str__(self) -> str:
        return self.name


class ProgramMembership(models.Model):
    """One person's part in one program: today only its leads."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="memberships")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+")
    role = models.CharField(max_length=10, choices=[("lead", "lead")], default="lead")

    class Meta:
        db_table = "program_membership"
        constraints = [
            models.UniqueConstraint(name="program_membership_once_a_person", fields=["program", "person"]),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} in {self.program_id}"


class Farm(models.Model):
    """One farm: the tenant. Everything written down about its vines belongs to it and to nobody else."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    name = models.CharField(max_length=120, help_text="How the farm is called.")
    program = models.ForeignKey(
        Program,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text="The program that the farm takes part in, if any.",
    )
    region = models.CharField(max_length=120, blank=True, help_text="Where it lies, no closer than a district.")
    hemisphere = models.CharField(max_length=5, choices=Hemisphere.choices)
    time_zone = models.CharField(max_length=60, help_text="IANA name: seasons go by the farm's own dates.")
    pruning_formula = models.ForeignKey(
        PruningFormula,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The formula for blocks that name none of their own.",
    )
    version = models.PositiveIntegerField(db_default=1)
    received_at = models.DateTimeField(db_default=TransactionNow(), editable=False)
    changed_at = models.DateTimeField(db_default=TransactionNow())

    class Meta:
        db_table = "farm"
        constraints = [
            one_of("farm_hemisphere_north_or_south", "hemisphere", Hemisphere.values),
            models.CheckConstraint(name="farm_has_a_name", condition=~models.Q(name="")),
        ]

    def __str__(self) -> str:
        return self.name


class Membership(FarmOwned):
    """One person's role on one farm."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="+", db_index=False)
    role = models.CharField(max_length=10, choices=Role.choices)
    name = models.CharField(max_length=120, blank=True, db_default="", help_text="How the farm calls the person.")

    class Meta:
        db_table = "membership"
        constraints = [
            models.UniqueConstraint(name="membership_one_role_a_person", fields=["farm", "person"]),
            one_of("membership_role_known", "role", Role.values),
        ]

    def __str__(self) -> str:
        return f"{self.person_id}: {self.role}"
