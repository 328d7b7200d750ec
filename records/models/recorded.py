"""What every record of a year has in common: who saw what, when, by which app, and whether it still stands."""

from __future__ import annotations

from collections.abc import Iterator

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q

from records.kinds import KINDS, Place
from records.kinds.members import STAGE_SCALES, Choice, Count, Measured, Member, Number, Several, Stage
from records.kinds.naming import range_name
from records.models.base import Followed, between, in_order_of_change, one_of, together
from records.models.imports import Import
from records.models.people import ApiKey, Person
from records.models.vineyards import Block, Vine


class Source(models.TextChoices):
    """The way a record came in."""

    API = "api", "sent by an app"
    IMPORT = "import", "from an imported file"


class Recorded(Followed):
    """Base of every record: one observation of one thing in one season, as somebody wrote it down.

    A correction is a new version, and the old one stays readable; a withdrawn record stays as a tombstone.
    """

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)
    season = models.PositiveSmallIntegerField(help_text="Calendar year of the harvest that the record belongs to.")
    observed_at = models.DateTimeField(null=True, blank=True, help_text="When it was seen, by the observer's clock.")
    observed_offset_minutes = models.SmallIntegerField(null=True, blank=True, help_text="The clock's offset from UTC.")
    note = models.TextField(blank=True, max_length=4000)
    recorded_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+", db_index=False
    )
    api_key = models.ForeignKey(
        ApiKey, null=True, blank=True, on_delete=models.SET_NULL, related_name="+", db_index=False
    )
    app_name = models.CharField(max_length=80, blank=True, help_text="The app that sent it, as its key names it.")
    device = models.CharField(max_length=80, blank=True, help_text="The device that sent it, as the app names it.")
    source = models.CharField(max_length=10, choices=Source.choices, default=Source.API)
    imported_from = models.ForeignKey(
        Import,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    imported_line = models.PositiveIntegerField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(
        null=True, blank=True, help_text="When it was withdrawn; from then on it is a tombstone."
    )
    line_digest = models.UUIDField(
        null=True, blank=True, editable=False, help_text="Of the line that brought it in bulk, byte by byte."
    )

    class Meta:
        abstract = True

    @property
    def is_withdrawn(self) -> bool:
        return self.withdrawn_at is not None


class OfAVine(Recorded):
    """Base of every record about one vine."""

    vine = models.ForeignKey(Vine, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False)

    class Meta:
        abstract = True


class OfABlockOrVine(Recorded):
    """Base of every record about a block, or about one vine in it."""

    vine = models.ForeignKey(
        Vine, null=True, blank=True, on_delete=models.PROTECT, related_name="+", db_constraint=False, db_index=False
    )

    class Meta:
        abstract = True


LIVE = Q(withdrawn_at__isnull=True)


def as_sent() -> models.DecimalField:  # type: ignore[type-arg]
    """Give the column of a value as sent."""
    return models.DecimalField(max_digits=27, decimal_places=12, null=True, blank=True)


def unit_sent() -> models.CharField:  # type: ignore[type-arg]
    """Give the column of a unit as sent."""
    return models.CharField(max_length=20, null=True, blank=True)


def exact() -> models.DecimalField:  # type: ignore[type-arg]
    """Give the column of an exact canonical value."""
    return models.DecimalField(max_digits=30, decimal_places=24, null=True, blank=True)


def wide() -> models.DecimalField:  # type: ignore[type-arg]
    """Give the column of an exact canonical value that may be a whole block's, up to a hundred thousand tons."""
    return models.DecimalField(max_digits=34, decimal_places=24, null=True, blank=True)


def counted() -> models.PositiveIntegerField:  # type: ignore[type-arg]
    """Give the column of a count that may not have been made."""
    return models.PositiveIntegerField(null=True, blank=True)


def worded(longest: int = 30) -> models.CharField:  # type: ignore[type-arg]
    """Give the column of a word from a list, empty where nothing was said."""
    return models.CharField(max_length=longest, null=True, blank=True)


def worded_list() -> ArrayField:  # type: ignore[type-arg]
    """Give the column of several words from a list, empty where nobody looked."""
    return ArrayField(models.CharField(max_length=30), null=True, blank=True)


def rules_of_a_record(table: str) -> list[models.BaseConstraint]:
    """Give the constraints that every record keeps."""
    return [
        between(f"{table}_season_1900_to_2100", "season", 1900, 2100),
        between(f"{table}_offset_within_a_day", "observed_offset_minutes", -1439, 1439),
        together(f"{table}_observed_with_offset", "observed_at", "observed_offset_minutes"),
        models.CheckConstraint(
            name=f"{table}_observed_unless_imported",
            condition=Q(observed_at__isnull=False) | Q(source=Source.IMPORT),
        ),
        one_of(f"{table}_source_known", "source", Source.values),
    ]


def places_of_a_record(table: str, kind: str) -> list[models.Index]:
    """Give the indexes by which records are read: of a block, of a vine, in the order of a list."""
    short = table.replace("inspection", "insp").replace("record", "rec")
    indexes = [
        models.Index(name=f"{short}_of_a_block", fields=["farm", "block", "season", "id"]),
        models.Index(name=f"{short}_in_order", fields=["farm", "season", "id"]),
        in_order_of_change(table),
    ]
    if KINDS[kind].place is Place.VINE or kind == "harvest_record":
        indexes.append(models.Index(name=f"{short}_of_a_vine", fields=["farm", "vine", "season"]))
    return indexes


def rules_of_members(kind: str) -> list[models.BaseConstraint]:
    """Give the constraints that the members of a kind keep, named as the sentences they keep."""
    return [rule for member in KINDS[kind].members for rule in _rules(kind, member)]


def _rules(table: str, member: Member) -> Iterator[models.BaseConstraint]:
    name = f"{table}_{member.name}"
    if isinstance(member, Measured):
        yield together(f"{name}_whole", *member.columns)
    if isinstance(member, Stage):
        yield together(f"{name}_whole", *member.columns)
        for scale, codes in STAGE_SCALES.items():
            yield models.CheckConstraint(
                name=f"{name}_code_of_{scale}",
                condition=~Q(**{f"{name_of_scale(member)}": scale})
                | Q(**{f"{name_of_code(member)}__regex": f"^({codes})$"}),
            )
        yield _words(f"{name}_scale_known", name_of_scale(member), list(STAGE_SCALES), may_miss=True)
    if isinstance(member, Count | Number | Measured):
        column = member.canonical if isinstance(member, Measured) else member.name
        yield between(range_name(table, member), column, member.low, member.high)
    if isinstance(member, Choice):
        yield _words(f"{name}_known", member.name, list(member.words), may_miss=not member.required)
    if isinstance(member, Several):
        known = Q(**{f"{member.name}__contained_by": list(member.words)})
        yield models.CheckConstraint(name=f"{name}_known", condition=Q(**{f"{member.name}__isnull": True}) | known)


def _words(name: str, column: str, words: list[str], *, may_miss: bool) -> models.CheckConstraint:
    known = Q(**{f"{column}__in": words})
    return models.CheckConstraint(name=name, condition=Q(**{f"{column}__isnull": True}) | known if may_miss else known)


def name_of_scale(member: Stage) -> str:
    """Give the column of a stage's scale."""
    return f"{member.name}_scale"


def name_of_code(member: Stage) -> str:
    """Give the column of a stage's code."""
    return f"{member.name}_code"
