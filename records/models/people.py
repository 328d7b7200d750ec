"""People and the keys by which they, or apps on their behalf, call."""

from __future__ import annotations

from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.contrib.postgres.fields import ArrayField
from django.contrib.postgres.functions import TransactionNow
from django.db import models

from records.models.base import UUIDv7


class PersonManager(BaseUserManager["Person"]):
    """Make people; a person without a password can only call by key."""

    def create_user(self, email: str, name: str, password: str | None = None, **more: Any) -> Person:
        person = self.model(email=self.normalize_email(email), name=name, **more)
        person.set_password(password)  # None: no password fits
        person.save(using=self._db)
        return person

    def create_superuser(self, email: str, name: str, password: str, **more: Any) -> Person:
        return self.create_user(email, name, password, is_staff=True, is_superuser=True, **more)


class Person(AbstractBaseUser, PermissionsMixin):
    """One person who uses the service: a grower, a worker, an adviser or a program's lead."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    email = models.EmailField(unique=True, help_text="How the person is known to the service.")
    name = models.CharField(max_length=120, help_text="How the person is called.")
    is_active = models.BooleanField(default=True, help_text="Off: no key and no login of theirs works.")
    is_staff = models.BooleanField(default=False, help_text="May enter the program staff's pages.")
    joined_at = models.DateTimeField(db_default=TransactionNow(), editable=False)

    objects = PersonManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    class Meta:
        db_table = "person"

    def __str__(self) -> str:
        return self.name


class ApiKey(models.Model):
    """One key, by which a person or an app in their name calls; only a hash of its secret is kept."""

    id = models.UUIDField(primary_key=True, db_default=UUIDv7(), editable=False)
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="keys")
    prefix = models.CharField(max_length=12, unique=True, help_text="The public part, by which it is found.")
    secret_hash = models.CharField(max_length=64, help_text="SHA-256 of the secret part.")
    label = models.CharField(max_length=80, help_text="What the key is for, in its owner's words.")
    app_name = models.CharField(
        max_length=80, blank=True, help_text="The app that uses it; every record sent with the key names it."
    )
    scopes = ArrayField(models.CharField(max_length=20), help_text="What the key may do: read, record, manage.")
    farm_ids = ArrayField(
        models.UUIDField(),
        default=list,
        blank=True,
        help_text="The only farms it opens; empty: all of the person's.",
    )
    created_at = models.DateTimeField(db_default=TransactionNow(), editable=False)
    expires_at = models.DateTimeField(help_text="From then on it opens nothing.")
    revoked_at = models.DateTimeField(null=True, blank=True, help_text="When it was taken back.")
    last_used_at = models.DateTimeField(null=True, blank=True, help_text="Kept to within five minutes.")
    former_secret_hash = models.CharField(
        max_length=64,
        blank=True,
        db_default="",
        help_text="SHA-256 of the secret before the last rotation, while it still opens.",
    )
    former_secret_until = models.DateTimeField(
        null=True, blank=True, help_text="From then on the secret before the last rotation opens nothing."
    )
    made_by = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        db_index=False,
        help_text="The key by which it was asked for; empty: it was made by a login or on the command line.",
    )
    version = models.PositiveIntegerField(db_default=1, help_text="Counts rotation and revocation, from 1.")

    #: The key was found by the secret before its last rotation.
    by_former_secret = False

    class Meta:
        db_table = "api_key"
        constraints = [
            models.CheckConstraint(
                name="api_key_scopes_are_known",
                condition=models.Q(scopes__contained_by=["read", "record", "manage"]),
            ),
            models.CheckConstraint(name="api_key_has_a_scope", condition=~models.Q(scopes=[])),
            models.CheckConstraint(
                name="api_key_former_secret_ends",
                condition=models.Q(former_secret_hash="", former_secret_until=None)
                | (~models.Q(former_secret_hash="") & models.Q(former_secret_until__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.label} ({self.prefix})"
